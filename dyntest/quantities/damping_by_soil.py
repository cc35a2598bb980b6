"""Case damping factors to begin with, by the soil at the toe.

The factors are from memory, after FHWA-HI-97-013 (1996), chapter 17, which lists the ranges of 1975 and narrower
ones of 1996. They belong to the resistance at the first peak. They are a start only: a factor calibrated by signal
matching or by a static load test on the site goes before them. The factor is not Smith's damping and has no unit;
overall it reaches from about 0.1 in sand to about 1.0 in clay (UFC 3-220-20, section 6-9.2).
"""

from dataclasses import dataclass

SOURCE = "from memory, after FHWA-HI-97-013 (1996), chapter 17"
"""Where the table stands; shown wherever a suggested factor is used."""

FACTORS = {
    "clean sand": ((0.05, 0.20), (0.10, 0.15)),
    "silty sand, sandy silt": ((0.15, 0.30), (0.15, 0.25)),
    "silt": ((0.20, 0.45), (0.25, 0.40)),
    "silty clay, clayey silt": ((0.40, 0.70), (0.40, 0.70)),
    "clay": ((0.60, 1.10), (0.70, None)),
}
"""Soil at the toe: range of 1975 and range of 1996 [1]; the last has no upper end ("0.70 or higher")."""

ADDED_FOR_MAXIMUM, LEAST_FOR_MAXIMUM = 0.2, 0.4
"""What the factor of the largest resistance over time has above that of the first peak, and its usual least [1]; from
memory, common practice. With the factor of the first peak the largest over time comes out too high."""

_ROW = {"sand": "clean sand", "silt": "silt", "clay": "clay"}
"""The row of the table for the soils that a test sheet may name; rock is not in the table."""


@dataclass(frozen=True)
class SuggestedDamping:
    """A damping factor suggested by the soil at the toe.

    Parameters
    ----------
    damping_factor : float
        Case damping factor J to begin with [1].
    lowest : float
        Lower end of the range [1].
    highest : float or None
        Upper end of the range [1]; none where the source gives none.
    soil : str
        The row of the table.
    source : str
        Where the range comes from.
    """

    damping_factor: float
    lowest: float
    highest: float | None
    soil: str
    source: str = SOURCE

    @property
    def factor_for_maximum(self) -> float:
        """Damping factor to begin with for the largest resistance over time [1]."""
        return max(self.damping_factor + ADDED_FOR_MAXIMUM, LEAST_FOR_MAXIMUM)


def suggested_damping(toe_soil: str | None) -> SuggestedDamping | None:
    """Give the damping factor suggested by the soil at the toe: the middle of the range of 1996.

    Parameters
    ----------
    toe_soil : str or None
        ``"sand"``, ``"silt"``, ``"clay"``, ``"rock"`` or a row of `FACTORS`.

    Returns
    -------
    SuggestedDamping or None
        The factor and its range; nothing for rock or an unknown soil, for which the table has no row. For clay,
        whose range has no upper end, the lower end is given, which makes the resistance an upper estimate.

    Examples
    --------
    >>> round(suggested_damping("sand").damping_factor, 3), suggested_damping("clay").damping_factor
    (0.125, 0.7)
    >>> suggested_damping("sand").factor_for_maximum
    0.4
    >>> suggested_damping("rock") is None
    True
    """
    row = _ROW.get(toe_soil, toe_soil)
    if row not in FACTORS:
        return None
    lowest, highest = FACTORS[row][1]
    middle = lowest if highest is None else 0.5 * (lowest + highest)
    return SuggestedDamping(middle, lowest, highest, row)
