"""A caution that goes with a decision: what was seen, in one sentence, and what to do about it."""

from dataclasses import dataclass

GOVERNING_SPECIFICATION = (
    "Decision support only: the governing specification, the contract and the licensed engineer in charge decide."
)
"""Said beside every limit, factor and criterion that comes from a general code."""


@dataclass(frozen=True)
class Caution:
    """Something the engineer has to weigh before a decision stands.

    Parameters
    ----------
    check : str
        What was looked at, in words, such as ``"moved too little"``.
    message : str
        One sentence with its numbers and units.
    cure : str
        What to do.
    value : float or None
        The number that was judged [SI unit of the quantity]; None where there is none.
    threshold : float or None
        What it was held against [SI unit of the quantity].
    """

    check: str
    message: str
    cure: str
    value: float | None = None
    threshold: float | None = None
