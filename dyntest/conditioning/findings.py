"""What a check on a record is and what it finds, in numbers; `presenting.finding_words` makes the sentences."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

SEVERITIES = ("note", "warning", "reject")
"""From mild to bad: good to know; use with care; these blows cannot be trusted."""

FEW_BLOWS = 0.05
"""A warning on no more than this share of the blows is only noted [1]: choose another blow, trust the drive
(common practice, no source)."""


@dataclass(frozen=True)
class Finding:
    """Something about a record that the engineer must know.

    Parameters
    ----------
    check : str
        Name of the check.
    severity : str
        What it means for the drive: ``"note"``, ``"warning"`` or ``"reject"`` (the blows named cannot be trusted).
    blows : tuple of int
        Numbers of the blows it was found on [1]; empty where it concerns the drive as a whole.
    value : float
        The worst number among them [SI unit of the check].
    threshold : float
        The limit it is beyond [SI unit of the check].
    gauge : str
        The channel, or the two channels, that it was found on; empty where it is none.
    case : str
        Which limit it is, of a check that has several.
    n_blows : int
        How many blows were looked at [1].
    at_blow : str
        What it means for a blow that it names, one of the severities; a warning on a few blows is a note for the drive.
    more : mapping of str to float or str
        Further numbers [SI unit of each] and words that belong to it.
    """

    check: str
    severity: str
    blows: tuple[int, ...]
    value: float
    threshold: float
    gauge: str = ""
    case: str = ""
    n_blows: int = 0
    at_blow: str = ""
    more: Mapping[str, float | str] = field(default_factory=dict, hash=False)

    def __post_init__(self) -> None:
        """Take the severity for the blows too where nothing else is said."""
        if not self.at_blow:
            object.__setattr__(self, "at_blow", self.severity)


@dataclass(frozen=True)
class Check:
    """One check: a number for each blow (and channel), a limit, and how bad it is to lie beyond it.

    Parameters
    ----------
    name : str
        Its name.
    measure : callable
        Function of `Channels`, of all channels of a kind or of `Record` that gives the numbers, shape (n_blows, 2)
        for a check of channels and (n_blows,) else [any unit]; not a number where a blow cannot be judged.
    threshold : float
        The limit [SI unit of the check].
    beyond : str
        ``"above"`` or ``"below"``: on which side of the limit a number is bad.
    severity : str
        One of `SEVERITIES`.
    case : str
        Which limit it is, of a check that has several.
    """

    name: str
    measure: Callable[..., np.ndarray]
    threshold: float
    beyond: str
    severity: str
    case: str = ""


def judge_check(check: Check, numbers: np.ndarray, blow: np.ndarray, gauge: str = "") -> Finding | None:
    """Hold the numbers of one check against its limit.

    Examples
    --------
    >>> check = Check("noisy channel", np.abs, 0.03, "above", "warning")
    >>> found = judge_check(check, np.array([0.01, 0.05]), np.array([1, 2]), "strain_1")
    >>> found.severity, found.blows, found.value
    ('warning', (2,), 0.05)
    """
    with np.errstate(invalid="ignore"):
        bad = numbers > check.threshold if check.beyond == "above" else numbers < check.threshold
    if not bad.any():
        return None
    worst = float(numbers[bad].max() if check.beyond == "above" else numbers[bad].min())
    few = check.severity == "warning" and bad.sum() <= FEW_BLOWS * len(blow)
    numbered = tuple(int(number) for number in blow[bad])
    return Finding(
        check.name,
        "note" if few else check.severity,
        numbered,
        worst,
        check.threshold,
        gauge,
        check.case,
        len(blow),
        check.severity,
    )


def weighed(findings: tuple[Finding, ...], looked_at: np.ndarray) -> tuple[Finding, ...]:
    """Give the findings with the share of blows judged among those that are looked at.

    A warning on few blows of a long drive is a note, but not where those few are among the blows from which the one
    that stands for the drive is taken.

    Examples
    --------
    >>> late = Finding("spikes", "note", tuple(range(791, 801)), 0.3, 0.1, n_blows=800, at_blow="warning")
    >>> weighed((late,), np.arange(781, 801))[0].severity, weighed((late,), np.arange(1, 21))[0].severity
    ('warning', 'note')
    """
    near = {int(number) for number in looked_at}

    def judged(finding: Finding) -> Finding:
        many = len(near.intersection(finding.blows)) > FEW_BLOWS * len(near)
        worse = SEVERITIES.index(finding.at_blow) > SEVERITIES.index(finding.severity)
        return replace(finding, severity=finding.at_blow) if many and worse else finding

    return tuple(judged(finding) for finding in findings)
