"""Tidy frames of the driving criterion: counts against stroke, the measured blows beside them, and the table."""

import numpy as np
import pandas as pd

from dyntest.decisions.criterion import PRACTICAL_REFUSAL_SET, blow_count
from dyntest.decisions.driving_criterion import DrivingCriterion
from dyntest.names import show
from dyntest.presenting.frames import shown, title
from dyntest.presenting.sentences import CRITERION_HEADS, criterion_cells

ASKED, GRAPH, GATES = "asked of the inspector", "bearing graph", "modified Gates formula, a check only"
"""Lines of the chart: what is asked, what it is rounded up from, and a public formula."""


def count_title(system: str) -> str:
    """Give the title of an axis of blow counts.

    Parameters
    ----------
    system : str
        ``"SI"`` or ``"US"``.

    Returns
    -------
    str
        Words with what the count is per.

    Examples
    --------
    >>> count_title("US"), count_title("SI")
    ('blows per inch', 'blows per 25 mm')
    """
    return f"blows per {'inch' if system == 'US' else '25 mm'}"


def criterion_lines(found: DrivingCriterion, system: str) -> pd.DataFrame:
    """Give the counts asked at each stroke that can be used, and what stands beside them.

    Parameters
    ----------
    found : DrivingCriterion
        The criterion.
    system : str
        ``"SI"`` or ``"US"``.

    Returns
    -------
    pandas.DataFrame
        Columns stroke [m or ft], count, `line`.
    """
    rows = [row for row in found.rows if not row.ruled_out]
    strokes = shown("stroke", [row.stroke for row in rows], system)
    lines = {ASKED: "set_per_blow", GRAPH: "graph_set", GATES: "gates_set"}
    parts = [
        pd.DataFrame(
            {
                title("stroke", system): strokes,
                count_title(system): blow_count(np.array([getattr(row, name) for row in rows]), system),
                "line": line,
            }
        )
        for line, name in lines.items()
    ]
    return pd.concat(parts, ignore_index=True)


def measured_counts(found: DrivingCriterion, system: str) -> pd.DataFrame:
    """Give the measured blows at the end of the initial drive.

    Parameters
    ----------
    found : DrivingCriterion
        The criterion.
    system : str
        ``"SI"`` or ``"US"``.

    Returns
    -------
    pandas.DataFrame
        Columns stroke [m or ft] and count; only blows that have both.
    """
    counts = blow_count(found.measured.set_per_blow, system)
    frame = pd.DataFrame({title("stroke", system): shown("stroke", found.measured.stroke, system)})
    return frame.assign(**{count_title(system): counts}).dropna(ignore_index=True)


def refusal_count(system: str) -> float:
    """Give the count at practical refusal.

    Parameters
    ----------
    system : str
        ``"SI"`` or ``"US"``.

    Returns
    -------
    float
        Blows per 25 mm or per inch [1].

    Examples
    --------
    >>> round(refusal_count("US"), 6)
    10.0
    """
    return float(blow_count(np.array(PRACTICAL_REFUSAL_SET), system))


def criterion_rows(found: DrivingCriterion, system: str) -> pd.DataFrame:
    """Give the table of the criterion as an inspector reads it.

    Parameters
    ----------
    found : DrivingCriterion
        The criterion.
    system : str
        ``"SI"`` or ``"US"``.

    Returns
    -------
    pandas.DataFrame
        A row a stroke: count, stresses, and why a stroke cannot be used.
    """
    heads = [head or "not to be used because" for head in CRITERION_HEADS]
    return pd.DataFrame([criterion_cells(row, system) for row in found.rows], columns=heads)


def formula_rows(found: DrivingCriterion, system: str) -> pd.DataFrame:
    """Give what other ways make of the measured blows.

    Parameters
    ----------
    found : DrivingCriterion
        The criterion.
    system : str
        ``"SI"`` or ``"US"``.

    Returns
    -------
    pandas.DataFrame
        Columns `way`, `resistance`, `source`.
    """
    rows = [("bearing graph, from the measured blows", found.graph_resistance, "calibrated to the matched blow")]
    rows += [(one.formula, one.resistance, one.source) for one in found.formulas]
    shown_rows = [(way, show("matched_resistance", value, system), source) for way, value, source in rows]
    return pd.DataFrame(shown_rows, columns=["way", "resistance", "source"])
