"""Tidy frames of a whole drive: numbers of every blow that can be traced back to their blow, and findings on blows."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from dyntest.conditioning.check import SEVERITIES, Finding
from dyntest.names import NAMES
from dyntest.presenting.frames import shown, title
from dyntest.presenting.thinning import thinned
from dyntest.quantities.case_resistance import case_resistance, case_resistance_maximum
from dyntest.signals import Waves

FACTORS = np.round(np.linspace(0.0, 1.2, 25), 3)
"""Damping factors over which a resistance is drawn [1]: from none to beyond the highest published for any soil."""


def by_blow(
    tables: dict[str, pd.DataFrame], code: str, against: str, system: str, most: int | None = None
) -> pd.DataFrame:
    """Give one number of every blow of every drive, each with its drive and its blow.

    Parameters
    ----------
    tables : dict of str to pandas.DataFrame
        Table of blows by the name of its drive; columns are names in code.
    code : str
        The number, a name in code.
    against : str
        ``"blow"`` or ``"penetration"``.
    system : str
        ``"SI"`` or ``"US"``.
    most : int or None
        How many points of a drive may be drawn [1]; None: all.

    Returns
    -------
    pandas.DataFrame
        Columns `drive`, `blow`, `along` [display unit of `against`], `value` [display unit of the number], and, where
        the number has a range, `low` and `high`; only points that exist.

    Examples
    --------
    >>> by_blow({"initial": pd.DataFrame({"blow": [1, 2], "stroke": [2.0, np.nan]})}, "stroke", "blow", "SI")
         drive  blow  along  value
    0  initial     1    1.0    2.0
    """
    parts = []
    for drive, table in tables.items():
        if code not in table or against not in table:
            continue
        columns = {"drive": drive, "blow": table["blow"], "along": shown(against, table[against], system)}
        columns["value"] = shown(code, table[code], system)
        for end in ("low", "high"):
            if f"{code}_{end}" in table:
                columns[end] = shown(code, table[f"{code}_{end}"], system)
        parts.append(pd.DataFrame(columns).dropna(subset=["along", "value"]))
    if not parts:
        return pd.DataFrame(columns=["drive", "blow", "along", "value"])
    frame = pd.concat(parts, ignore_index=True)
    return frame if most is None else thinned(frame, "value", "drive", most)


def profile(tables: dict[str, pd.DataFrame], codes: Sequence[str], against: str, system: str) -> pd.DataFrame:
    """Give several numbers of every blow of every drive, each as `by_blow` gives it.

    Parameters
    ----------
    tables : dict of str to pandas.DataFrame
        Table of blows by the name of its drive; columns are names in code.
    codes : sequence of str
        Names in code; one that a table lacks is left out for that table.
    against : str
        ``"blow"`` or ``"penetration"``.
    system : str
        ``"SI"`` or ``"US"``.

    Returns
    -------
    pandas.DataFrame
        Columns `drive`, the title of `against`, `quantity` (a title) and `value`; only points that exist.

    Examples
    --------
    >>> table = pd.DataFrame({"blow": [1, 2], "stroke": [2.0, np.nan]})
    >>> profile({"initial": table}, ("stroke", "misfit"), "blow", "SI")
         drive  blow number               quantity  value
    0  initial          1.0  stroke of the ram [m]    2.0
    """
    parts = [by_blow(tables, code, against, system).assign(quantity=title(code, system)) for code in codes]
    known = [part for part in parts if len(part)]
    frame = pd.concat(known, ignore_index=True) if known else parts[0]
    columns = ["drive", title(against, system), "quantity", "value"]
    return frame.rename(columns={"along": columns[1]})[columns]


def resistance_against_factor(waves: Waves, row: int, return_time: float, system: str) -> pd.DataFrame:
    """Give the Case resistance of one blow against the damping factor.

    Parameters
    ----------
    waves : Waves
        Conditioned force and velocity.
    row : int
        Row of the blow in `waves` [1].
    return_time : float
        Time for the wave to the toe and back [s].
    system : str
        ``"SI"`` or ``"US"``.

    Returns
    -------
    pandas.DataFrame
        Columns damping factor, resistance [kN or kip], `method` (its name in words).
    """
    part = slice(row, row + 1)
    record = (waves.down[part], waves.up[part], waves.first_peak[part], return_time, waves.time_step, FACTORS)
    found = {
        "case_resistance": case_resistance(*record)[0],
        "case_resistance_maximum": case_resistance_maximum(*record)[0],
    }
    parts = [
        pd.DataFrame(
            {
                title("damping_factor", system): FACTORS,
                resistance_title(system): shown(code, values, system),
                "method": NAMES[code].words,
            }
        )
        for code, values in found.items()
    ]
    return pd.concat(parts, ignore_index=True)


def resistance_title(system: str) -> str:
    """Give the title of an axis of resistances of several kinds.

    Parameters
    ----------
    system : str
        ``"SI"`` or ``"US"``.

    Returns
    -------
    str
        ``resistance`` and its unit.

    Examples
    --------
    >>> resistance_title("SI")
    'resistance [kN]'
    """
    return title("shaft_resistance", system).replace("shaft ", "")


def findings_by_blow(findings: Sequence[Finding], blows: np.ndarray, most: int | None = None) -> pd.DataFrame:
    """Give which blows carry which finding.

    Parameters
    ----------
    findings : sequence of Finding
        Findings on a drive.
    blows : numpy.ndarray
        Its blow numbers, shape (n_blows,) [1].
    most : int or None
        How many marks of a finding may be drawn [1]; None: all.

    Returns
    -------
    pandas.DataFrame
        Columns `check`, `severity`, `blow`, `message`, the worst first; findings on no blow in particular are left out.
    """
    known = {int(blow) for blow in blows}
    ordered = sorted(findings, key=lambda finding: -SEVERITIES.index(finding.severity))
    parts = []
    for finding in ordered:
        named = [blow for blow in finding.blows if blow in known]
        step = 1 if most is None else max(1, -(-len(named) // most))
        parts.append(
            pd.DataFrame(
                {
                    "check": finding.check,
                    "severity": finding.severity,
                    "blow": named[::step],
                    "message": finding.message,
                }
            )
        )
    columns = ["check", "severity", "blow", "message"]
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=columns)
