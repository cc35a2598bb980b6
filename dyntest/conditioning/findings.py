"""What a check on a record is, what it finds, and how a finding is put into words."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

SEVERITIES = ("note", "warning", "reject")
"""From mild to bad: good to know; use with care; these blows cannot be trusted."""

FEW_BLOWS = 0.05
"""A warning on no more than this share of the blows is only noted [1]: choose another blow, trust the drive
(common practice, no source)."""

MOST_NUMBERS = 5
"""A message names no more blow numbers than this [1]; the finding carries them all."""


@dataclass(frozen=True)
class Finding:
    """Something about a record that the engineer must know.

    Parameters
    ----------
    check : str
        Name of the check.
    severity : str
        ``"note"``, ``"warning"`` or ``"reject"`` (the blows named cannot be trusted).
    blows : tuple of int
        Numbers of the blows it was found on [1].
    value : float
        The worst number among them [SI unit of the check].
    threshold : float
        The limit it is beyond [SI unit of the check].
    message : str
        One sentence with the number, its unit, its limit and the blows.
    cure : str
        What to do.
    """

    check: str
    severity: str
    blows: tuple[int, ...]
    value: float
    threshold: float
    message: str
    cure: str


@dataclass(frozen=True)
class Check:
    """One check: a number for each blow (and channel), a limit, and words for what lies beyond it.

    Parameters
    ----------
    name : str
        Its name.
    measure : callable
        Function of `Channels` or `Record` that gives the numbers, shape (n_blows, 2) for a check of channels and
        (n_blows,) else [any unit]; not a number where a blow cannot be judged.
    threshold : float
        The limit [SI unit of the check].
    beyond : str
        ``"above"`` or ``"below"``: on which side of the limit a number is bad.
    severity : str
        One of `SEVERITIES`.
    problem : str
        Sentence with the fields ``{who}`` (channel or kind), ``{value}``, ``{limit}`` and ``{where}`` (the blows).
    cure : str
        What to do; may have the same fields.
    scale : float
        Factor from the SI number to the one in the message [1].
    digits : str
        How the number is written, with its unit.
    """

    name: str
    measure: Callable[..., np.ndarray]
    threshold: float
    beyond: str
    severity: str
    problem: str
    cure: str
    scale: float = 1.0
    digits: str = "{:.2f}"


def blow_words(numbers: np.ndarray, n_blows: int) -> str:
    """Put into words which blows a finding is about.

    Such as ``"blow 3"``.

    Examples
    --------
    >>> blow_words(np.array([3]), 20), blow_words(np.array([3, 4]), 20), blow_words(np.arange(1, 301), 300)
    ('blow 3', 'blows 3 and 4', 'all 300 blows')
    >>> blow_words(np.arange(7, 19), 300)
    '12 of 300 blows (7, 8, 9, 10, 11, …)'
    """
    listed = [str(int(number)) for number in numbers[:MOST_NUMBERS]]
    if len(numbers) == 1:
        return f"blow {listed[0]}"
    if len(numbers) == n_blows:
        return f"all {n_blows} blows"
    if len(numbers) <= MOST_NUMBERS:
        return f"blows {', '.join(listed[:-1])} and {listed[-1]}"
    return f"{len(numbers)} of {n_blows} blows ({', '.join(listed)}, …)"


def judge_check(check: Check, numbers: np.ndarray, blow: np.ndarray, who: str) -> Finding | None:
    """Hold the numbers of one check against its limit.

    Examples
    --------
    >>> check = Check("noise", np.abs, 0.03, "above", "warning", "{who}: {value} > {limit} in {where}", "")
    >>> judge_check(check, np.array([0.01, 0.05]), np.array([1, 2]), "strain_1").message
    'strain_1: 0.05 > 0.03 in blow 2'
    """
    with np.errstate(invalid="ignore"):
        bad = numbers > check.threshold if check.beyond == "above" else numbers < check.threshold
    if not bad.any():
        return None
    worst = float(numbers[bad].max() if check.beyond == "above" else numbers[bad].min())
    severity = check.severity
    if severity == "warning" and bad.sum() <= FEW_BLOWS * len(blow):
        severity = "note"
    words = {
        "who": who,
        "value": check.digits.format(worst * check.scale),
        "limit": check.digits.format(check.threshold * check.scale),
        "where": blow_words(blow[bad], len(blow)),
    }
    numbers_found = tuple(int(number) for number in blow[bad])
    message = check.problem.format(**words)
    return Finding(check.name, severity, numbers_found, worst, check.threshold, message, check.cure.format(**words))
