"""What stands behind each number: the sentences that findings, pages and the report show beside it."""

from dyntest.pile import Pile

ASSUMES_UNIFORM = {
    "total_resistance": "a uniform pile between gauges and toe",
    "case_resistance": "a uniform pile with all damping at the toe",
    "case_resistance_maximum": (
        "a uniform pile with all damping at the toe; with the damping factor of the first peak it is on the high side"
    ),
    "case_resistance_toe_at_rest": "a uniform pile without damping along the shaft",
    "case_resistance_unloading": "a uniform pile with all damping at the toe",
    "shaft_share": "a uniform pile, whose upward wave shows soil alone",
    "toe_compression_stress": "a uniform pile, whose upward wave shows soil alone",
    "peak_tension_stress": "a uniform pile without friction, its section everywhere that at the gauges",
    "integrity_factor": "a pile designed to be uniform",
}
"""What each number by formula takes for granted, by its name in code."""

DEFERS = (
    "Resistances, stresses and criteria are decision support. The governing specification and the licensed engineer"
    " in charge go before them."
)
"""Stands wherever a resistance or a limit is shown."""


def uniform_note(pile: Pile) -> str | None:
    """Give the caution that a pile of several sections needs; nothing where it is uniform.

    Parameters
    ----------
    pile : Pile
        The pile.

    Returns
    -------
    str or None
        A sentence or two for findings, pages and the report.

    Examples
    --------
    >>> from dyntest.pile import PilePart
    >>> uniform_note(Pile("A", "steel", (PilePart(10.0, 0.01, 210e9, 7850.0),))) is None
    True
    """
    if pile.uniform:
        return None
    return (
        f"the pile has {len(pile.parts)} parts of different section or material, but Case resistance, shaft share,"
        " toe stress, tension along the pile and integrity factor are formulas for a uniform one: they use the"
        " impedance at the gauges and the travel time of the whole, and take what a change of section sends up for"
        " soil or damage"
    )
