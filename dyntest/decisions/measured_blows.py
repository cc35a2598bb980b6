"""The measured blows of a test pile beside the bearing graph, and what public formulas make of the same blows."""

from dataclasses import dataclass

import numpy as np

from dyntest.decisions.dynamic_formulas import energy_approach, modified_gates
from dyntest.wave_equation.bearing_graph import BearingGraph

AGREEMENT = 0.15
"""Share by which the resistance that the bearing graph reads from the measured blows may differ from the matched one
[1]; common practice, no source."""


@dataclass(frozen=True)
class MeasuredBlows:
    """Measured blows of the end of the initial drive, to be laid beside the bearing graph.

    Parameters
    ----------
    stroke : numpy.ndarray
        Strokes, shape (n_blows,) [m].
    set_per_blow : numpy.ndarray
        Sets from the driving log, shape (n_blows,) [m].
    transferred_energy : numpy.ndarray or None
        Transferred energies, shape (n_blows,) [J]; for the energy approach.
    peak_displacement : numpy.ndarray or None
        Peak displacements at the gauges, shape (n_blows,) [m]; for the energy approach.
    """

    stroke: np.ndarray
    set_per_blow: np.ndarray
    transferred_energy: np.ndarray | None = None
    peak_displacement: np.ndarray | None = None


@dataclass(frozen=True)
class FormulaResistance:
    """What a public formula gives for the measured blows: a sanity check, nothing to drive by.

    Parameters
    ----------
    formula : str
        Its name.
    resistance : float
        Median over the blows [N].
    source : str
        Where it is published, and what to know about it.
    """

    formula: str
    resistance: float
    source: str


def read_back(graph: BearingGraph, measured: MeasuredBlows, matched: float) -> tuple[float, bool | None]:
    """Read the measured blows off the bearing graph and hold that against the match.

    Parameters
    ----------
    graph : BearingGraph
        The bearing graph.
    measured : MeasuredBlows
        The measured blows.
    matched : float
        Matched resistance at the end of driving [N].

    Returns
    -------
    resistance : float
        Median of what the graph reads from the blows [N]; not a number where none can be read.
    agrees : bool or None
        Whether it is within `AGREEMENT` of the match; None where it could not be compared. Blows that lie outside the
        graph on the whole do not agree.
    """
    known = np.isfinite(measured.stroke) & np.isfinite(measured.set_per_blow)
    if not known.any():
        return float("nan"), None
    read = graph.resistance_at(measured.stroke[known], measured.set_per_blow[known])
    if np.isfinite(read).sum() * 2 < known.sum():
        return float("nan"), False
    middle = float(np.nanmedian(read))
    return middle, bool(abs(middle / matched - 1.0) <= AGREEMENT)


def formula_resistances(measured: MeasuredBlows, ram_weight: float) -> tuple[FormulaResistance, ...]:
    """Give what public formulas make of the measured blows.

    Parameters
    ----------
    measured : MeasuredBlows
        The measured blows.
    ram_weight : float
        Weight of the ram [N].

    Returns
    -------
    tuple of FormulaResistance
        Those for which the blows have what they need.

    Examples
    --------
    >>> blows = MeasuredBlows(np.array([2.0]), np.array([0.006]), np.array([30e3]), np.array([0.024]))
    >>> [(found.formula, round(found.resistance / 1e3)) for found in formula_resistances(blows, 25e3)]
    [('FHWA-modified Gates', 1987), ('energy approach', 2000)]
    """
    given = modified_gates(ram_weight * measured.stroke, measured.set_per_blow)
    found = [
        ("FHWA-modified Gates", given, "from memory, after the FHWA manuals; stroke times ram weight as its energy")
    ]
    if measured.transferred_energy is not None and measured.peak_displacement is not None:
        given = energy_approach(measured.transferred_energy, measured.set_per_blow, measured.peak_displacement)
        note = "Paikowsky et al. (1994), without a reduction: high in easy driving, for it holds the dynamic part too"
        found.append(("energy approach", given, note))
    return tuple(
        FormulaResistance(name, float(np.nanmedian(values)), source)
        for name, values, source in found
        if np.isfinite(values).any()
    )
