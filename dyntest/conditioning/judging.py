"""Can the record be trusted? The numbers of every check, and what lies beyond its limit."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from dyntest.conditioning.catalogue import CHANNEL_CHECKS, DRIFT_CHECK, KIND_CHECKS, PAIR_CHECKS, RECORD_CHECKS
from dyntest.conditioning.channel_measures import gather_channels, sound
from dyntest.conditioning.condition import Conditioned
from dyntest.conditioning.findings import Check, Finding, judge_check
from dyntest.conditioning.settling_measures import gather_record
from dyntest.pile import Pile
from dyntest.signals import AveragedTraces, Signals, opposite_pairs

__all__ = ["Finding", "Measures", "check_numbers", "find", "join", "judge"]


@dataclass(frozen=True)
class Measures:
    """The numbers of every check, not yet judged, so that those of chunks can be put together.

    Parameters
    ----------
    blow : numpy.ndarray
        Blow numbers, shape (n_blows,) [1].
    checks : tuple of (Check, str)
        Each check with the channel it looks at, or with an empty text.
    numbers : tuple of numpy.ndarray
        The numbers of each check, shape (n_blows,) each [SI unit of the check].
    """

    blow: np.ndarray
    checks: tuple[tuple[Check, str], ...]
    numbers: tuple[np.ndarray, ...]


def check_numbers(
    signals: Signals | AveragedTraces, conditioned: Conditioned, pile: Pile, set_per_blow: np.ndarray | None = None
) -> Measures:
    """Give the numbers of every check for some blows.

    A pure function of each blow alone, so a long drive can be walked in chunks and put together with `join`.

    Units: set_per_blow [m].
    """
    found: list[tuple[Check, str, np.ndarray]] = []
    comparable = np.ones(signals.n_blows, dtype=bool)
    if isinstance(signals, Signals):
        for kind, names in (("strain", signals.strain_names), ("acceleration", signals.acceleration_names)):
            places = opposite_pairs(len(names))
            pairs = [gather_channels(kind, signals, conditioned, pair) for pair in places]
            for check in CHANNEL_CHECKS[kind]:
                for place, pair in zip(places, pairs, strict=True):
                    values = check.measure(pair)
                    found += [(check, names[channel], values[:, i]) for i, channel in enumerate(place)]
            for check in PAIR_CHECKS[kind]:
                for place, pair in zip(places, pairs, strict=True):
                    who = " and ".join(names[channel] for channel in place)
                    found.append((check, who, check.measure(pair, conditioned.waves.first_peak)))
            found += [(check, "", check.measure(pairs, conditioned.waves.first_peak)) for check in KIND_CHECKS[kind]]
            for pair in pairs:
                comparable &= sound(pair)
    record = gather_record(conditioned, pile, comparable, signals.penetration, set_per_blow)
    done: dict[Callable[..., np.ndarray], np.ndarray] = {}
    for check in RECORD_CHECKS:
        if check.measure not in done:
            done[check.measure] = check.measure(record)
        found.append((check, "", done[check.measure]))
    if isinstance(signals, Signals):
        values = DRIFT_CHECK.measure(record)
        found += [(DRIFT_CHECK, name, values[:, i]) for i, name in enumerate(signals.acceleration_names)]
    return Measures(signals.blow, tuple((c, who) for c, who, _ in found), tuple(numbers for _, _, numbers in found))


def join(parts: Sequence[Measures]) -> Measures:
    """Put the numbers of chunks of one drive together."""
    numbers = tuple(np.concatenate(each) for each in zip(*[part.numbers for part in parts], strict=True))
    return Measures(np.concatenate([part.blow for part in parts]), parts[0].checks, numbers)


def judge(measures: Measures) -> tuple[Finding, ...]:
    """Hold the numbers of a whole drive against the limits."""
    findings = (
        judge_check(check, numbers, measures.blow, gauge)
        for (check, gauge), numbers in zip(measures.checks, measures.numbers, strict=True)
    )
    return tuple(finding for finding in findings if finding is not None)


def find(
    signals: Signals | AveragedTraces, conditioned: Conditioned, pile: Pile, set_per_blow: np.ndarray | None = None
) -> tuple[Finding, ...]:
    """Give everything the engineer must know about a record before trusting it.

    Parameters
    ----------
    signals : Signals or AveragedTraces
        Raw records of a whole drive.
    conditioned : Conditioned
        What was made of them.
    pile : Pile
        The pile.
    set_per_blow : numpy.ndarray or None
        Set from the log, shape (n_blows,) [m]; not a number, or None, where unknown.

    Returns
    -------
    tuple of Finding
        One finding for each check and channel that has blows beyond its limit; empty for a clean record.

    Notes
    -----
    Each check gives one number a blow, held against a named limit of `dyntest.conditioning.catalogue`, beside which
    its source stands; most limits are common practice, no source. A warning on no more than a few blows is only
    noted.

    Examples
    --------
    >>> from dyntest.conditioning.condition import condition
    >>> from dyntest.pile import PilePart
    >>> pile = Pile("example", "steel", (PilePart(15.0, 0.01, 210e9, 7850.0),))
    >>> time = np.arange(2000) * 50e-6
    >>> rise = np.where((time > 5e-3) & (time < 9e-3), np.sin(np.pi * (time - 5e-3) / 4e-3) ** 2, 0.0)
    >>> strain = np.stack([1e-3 * rise, 0.0 * rise])[None]
    >>> acceleration = np.tile(1e-3 * np.gradient(rise, 50e-6) * pile.wave_speed, (1, 2, 1))
    >>> record = Signals("example", np.array([1]), time, strain, acceleration)
    >>> finding = find(record, condition(record, pile), pile)[0]
    >>> finding.check, finding.severity, finding.gauge, finding.blows, finding.threshold
    ('dead channel', 'reject', 'strain_2', (1,), 1e-05)
    """
    return judge(check_numbers(signals, conditioned, pile, set_per_blow))
