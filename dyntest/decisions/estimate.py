"""A number with the range it may lie in, and the ratio of two such numbers."""

from dataclasses import dataclass
from math import inf, isfinite


@dataclass(frozen=True)
class Estimate:
    """A number with the range it may lie in.

    Parameters
    ----------
    value : float
        The number [SI unit of the quantity].
    low, high : float
        Ends of its range [SI unit of the quantity]; equal to the value where no range is known.
    """

    value: float
    low: float
    high: float

    def __post_init__(self):
        """Refuse a range that does not hold its number."""
        if not self.low <= self.value <= self.high:
            raise ValueError(f"the range {self.low:g} to {self.high:g} does not hold {self.value:g}")

    @property
    def has_range(self) -> bool:
        """Whether a range is known."""
        return self.low < self.high


def exactly(value: float) -> Estimate:
    """Give an estimate whose range is not known.

    Examples
    --------
    >>> exactly(1.0e6).has_range
    False
    """
    return Estimate(value, value, value)


def ratio(numerator: Estimate | None, denominator: Estimate | None) -> Estimate | None:
    """Give the ratio of two estimates with the widest range their ranges allow.

    Ratio, from ``low/high`` to ``high/low`` [1]; the upper end is infinite where the denominator may be zero; None
    where either is absent, not a number or negative, or the denominator is zero.

    The ends take both errors at their worst and against each other, so the range is never too narrow.

    Examples
    --------
    >>> ratio(Estimate(3.0, 2.5, 4.0), Estimate(2.0, 1.6, 2.5))
    Estimate(value=1.5, low=1.0, high=2.5)
    """
    if numerator is None or denominator is None:
        return None
    if not _usable(numerator) or not _usable(denominator) or denominator.value <= 0.0:
        return None
    high = numerator.high / denominator.low if denominator.low > 0.0 else inf
    return Estimate(numerator.value / denominator.value, numerator.low / denominator.high, high)


def _usable(estimate: Estimate) -> bool:
    return estimate.low >= 0.0 and isfinite(estimate.high)
