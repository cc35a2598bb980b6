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

RULED_OUT = "stroke ruled out"
"""Points of the chart at strokes that are not to be used."""


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
    """Give the counts asked at each stroke, the strokes that are ruled out, and what stands beside them.

    Parameters
    ----------
    found : DrivingCriterion
        The criterion.
    system : str
        ``"SI"`` or ``"US"``.

    Returns
    -------
    pandas.DataFrame
        Columns stroke [m or ft], count, `line`; only points that exist. Nothing is asked at a stroke that is ruled out.
    """
    usable = [row for row in found.rows if not row.ruled_out]
    barred = [row for row in found.rows if row.ruled_out]
    lines = {
        ASKED: (usable, "set_per_blow"),
        GRAPH: (found.rows, "graph_set"),
        GATES: (found.rows, "gates_set"),
        RULED_OUT: (barred, "set_per_blow"),
    }
    parts = [
        _counts([row.stroke for row in rows], [getattr(row, name) for row in rows], system).assign(line=line)
        for line, (rows, name) in lines.items()
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
    return _counts(found.measured.stroke, found.measured.set_per_blow, system)


def _counts(stroke, set_per_blow, system: str) -> pd.DataFrame:
    """Give counts at strokes; a set of nothing has none."""
    with np.errstate(divide="ignore"):
        counts = blow_count(np.asarray(set_per_blow, dtype=float), system)
    frame = pd.DataFrame({title("stroke", system): shown("stroke", stroke, system), count_title(system): counts})
    return frame[np.isfinite(frame).all(axis=1)].reset_index(drop=True)


def refusal_count(found: DrivingCriterion, system: str) -> float:
    """Give the count at practical refusal.

    Parameters
    ----------
    found : DrivingCriterion
        The criterion; where no stroke is left, the usual refusal holds.
    system : str
        ``"SI"`` or ``"US"``.

    Returns
    -------
    float
        Blows per 25 mm or per inch [1].
    """
    refusal = PRACTICAL_REFUSAL_SET if found.criterion is None else found.criterion.refusal_set
    return float(blow_count(np.array(refusal), system))


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
