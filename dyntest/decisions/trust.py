"""Whether a record can be trusted, from the findings on it, and what has to be weighed before a decision stands.

Both are data; their words stand in `presenting`.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from dyntest.conditioning.findings import FEW_BLOWS, SEVERITIES, Finding

MOST_REJECTED = 0.5
"""Share of a drive's blows that may be rejected before the drive as a whole is [1]; common practice, no source."""

NO_SOUND_BLOW, MOST_BLOWS_REJECTED = "no sound blow", "most blows rejected"
"""Reasons that are of the drive and not of a check."""

ANSWERS = ("yes", "with care", "no")
"""From good to bad."""


@dataclass(frozen=True)
class Trust:
    """Whether a record can be trusted, and why not where it cannot.

    Parameters
    ----------
    answer : str
        One of `ANSWERS`.
    reasons : tuple of str
        The checks that limit it, worst first; empty where the answer is yes.
    at_blow : tuple of Finding
        Every finding on the representative blow, the worst first; given with the answer.
    rejected, blows : int
        How many blows are rejected, and of how many [1].
    """

    answer: str
    reasons: tuple[str, ...] = ()
    at_blow: tuple[Finding, ...] = ()
    rejected: int = 0
    blows: int = 0


@dataclass(frozen=True)
class Caution:
    """Something the engineer has to weigh before a decision stands.

    Parameters
    ----------
    kind : str
        What was looked at, such as ``"moved too little"``; its words stand in `dyntest.presenting.decision_words`.
    value : float or None
        The number that was judged [SI unit of the quantity]; None where there is none.
    threshold : float or None
        Its threshold [SI unit of the quantity].
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


def trust(findings: Iterable[Finding], n_blows: int, blow: int | None) -> Trust:
    """Judge the record of one drive.

    The answer is no where the representative blow is rejected, where there is none, or where more than
    `MOST_REJECTED` of the blows are; with care where any finding is a warning for the drive or for that blow, or
    rejects more than a few blows (`FEW_BLOWS`); else yes.

    Examples
    --------
    >>> trust((), 120, 118)
    Trust(answer='yes', reasons=(), at_blow=(), rejected=0, blows=120)
    """
    findings = tuple(findings)
    here = sorted((f for f in findings if blow in f.blows), key=lambda f: -SEVERITIES.index(f.at_blow))
    rejections = [finding for finding in findings if finding.at_blow == "reject"]
    rejected = {number for finding in rejections for number in finding.blows}
    counted = [finding for finding in rejections if len(finding.blows) > FEW_BLOWS * n_blows]
    counted += [f for f in findings if f.severity == "warning" or (f in here and f.at_blow == "warning")]
    reasons = tuple(dict.fromkeys(finding.check for finding in counted))
    numbers = (len(rejected), n_blows)
    if blow is None:
        return Trust("no", (NO_SOUND_BLOW, *reasons), (), *numbers)
    if blow in rejected:
        only = tuple(dict.fromkeys(finding.check for finding in here if finding.at_blow == "reject"))
        return Trust("no", only, tuple(here), *numbers)
    if len(rejected) > MOST_REJECTED * n_blows:
        return Trust("no", (MOST_BLOWS_REJECTED, *reasons), tuple(here), *numbers)
    return Trust("with care" if counted else "yes", reasons, tuple(here), *numbers)
