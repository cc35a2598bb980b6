"""A caution that goes with a decision, as data: its kind and its numbers. What it says stands in `presenting`."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class Caution:
    """Something the engineer has to weigh before a decision stands.

    Parameters
    ----------
    kind : str
        What was looked at, such as ``"moved too little"``; its words stand in `dyntest.presenting.caution_words`.
    value : float or None
        The number that was judged [SI unit of the quantity]; None where there is none.
    threshold : float or None
        What it was held against [SI unit of the quantity].
    facts : mapping of str to object
        Further numbers in SI and names of drives, piles and parts, by name.
    pile : str
        Test pile it is about, where several stand together; empty where there is only one.
    """

    kind: str
    value: float | None = None
    threshold: float | None = None
    facts: Mapping[str, Any] = field(default_factory=dict)
    pile: str = ""
