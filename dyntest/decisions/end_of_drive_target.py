"""What resistance a pile has to show at the end of driving, after what waiting was measured to change."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import hypot, sqrt

from dyntest.decisions.estimate import Estimate
from dyntest.decisions.risk import margin, setup_scatter
from dyntest.decisions.setup import Setup, compared_for_sure, gained, lost
from dyntest.decisions.trust import Caution

LEAST_FACTOR = 0.3
"""Factor below which a loss is too unsure to set a target by [1]; the target then rests on this; no source."""

IN_FACTOR, LEAST_OWN = 0.07, 0.02
"""How far a match may be off by its own range, standard deviation of the logarithm [1], without anything being added.
Signal matching scatters by 0.17 (Likins and Rausche 2004) to 0.34 (NCHRP Report 507, at restrike) against static tests,
both from memory, and the resistance factor allows for that: it is not allowed for twice. What a match is less sure than
the first is added, and never less than the second, by which two records of one pile differ; our choice."""

LARGEST_DEVIATION = 0.30
"""An error counts as this large at the most, as standard deviation of the logarithm [1], so that a range without an end
sets no endless target; no source."""

KINDS = ("not measured", "no significant change", "not matched", "not credited", "credited", "relaxation")
"""How a target follows from the requirement."""


@dataclass(frozen=True)
class EndOfDriveTarget:
    """The resistance to be shown at the end of driving.

    Parameters
    ----------
    value : float
        Static resistance that a pile shows which just passes [N].
    required : float
        Required nominal resistance [N].
    kind : str
        How it follows from the requirement, one of `KINDS`.
    middle : float
        Resistance at the end of driving that becomes the requirement, as likely too low as too high [N].
    deviation : float
        Standard deviation of the logarithm of what such a pile will have over what is required [1].
    setup : Setup or None
        Restrike that it rests on.
    factor : Estimate or None
        Its setup factor [1].
    cautions : tuple of Caution
        What to weigh.
    with_credit : float or None
        What the target is, or would be, with measured setup credited [N]; None where no gain was measured for sure.
    """

    value: float
    required: float
    kind: str = KINDS[0]
    middle: float = float("nan")
    deviation: float = 0.0
    setup: Setup | None = None
    factor: Estimate | None = None
    cautions: tuple[Caution, ...] = ()
    with_credit: float | None = None

    def with_graph(self, deviation: float) -> "EndOfDriveTarget":
        """Give the target with the error of a bearing graph, from which its counts are read, in it.

        Units: deviation [1], of the logarithm.
        """
        if self.middle != self.middle:
            return self
        sigma = hypot(self.deviation, deviation)
        more = margin(sigma) / margin(self.deviation)
        credited = None if self.with_credit is None else more * self.with_credit
        return replace(self, value=more * self.value, deviation=sigma, with_credit=credited)


def end_of_drive_target(
    required: float,
    setups: Sequence[Setup] = (),
    *,
    credit: bool | None = None,
    matched: Estimate | None = None,
) -> EndOfDriveTarget:
    """Give the resistance that has to be shown at the end of driving.

    Units: required [N]; matched [N], at the end of driving.

    ``R_eod = R_n / k · max(1, t exp(z σ))`` with k the setup factor where one is credited, else 1, and σ the error of a
    bearing pile's resistance over what the count shows: that of the match and of k from pile to pile here, and that
    of the bearing graph where `EndOfDriveTarget.with_graph` puts it in. With credit the error of the match at the end
    of driving cancels, for the graph passes through that blow: ``R_n / k`` is ``R_eod,matched`` times
    ``R_n / R_restrike,matched``, so the restrike's match is what counts.

    Only what a restrike of this test measured by two fitted matches is credited, nothing of a time law. That a
    restrike's gain holds for other piles of the structure is the engineer's judgement.

    Examples
    --------
    >>> end_of_drive_target(1.0e6).value
    1000000.0
    """
    measured = compared_for_sure(setups)
    own = _deviation(matched)
    plain = required * margin(own)
    without = EndOfDriveTarget(plain, required, KINDS[0], required, own)
    if not measured:
        return without
    losses = [(setup, factor) for setup, factor in measured if lost(factor)]
    if losses:
        return _relaxed(required, *min(losses, key=lambda pair: pair[1].value))
    # A later restrike that was not matched says less than one before it, and takes nothing back.
    setup, factor = next((pair for pair in reversed(measured) if pair[0].matched), measured[-1])
    if not gained(factor):
        # Nothing changed for sure, so that both matches measured one resistance and the surer one says how well.
        own = min(own, _of_restrike(setup, factor)) if setup.matched and matched is not None else own
        return EndOfDriveTarget(required * margin(own), required, KINDS[1], required, own, setup, factor)
    if not setup.matched:
        found = (Caution("setup not matched", factor.value, None, {"restrike": setup.restrike}),)
        return EndOfDriveTarget(plain, required, KINDS[2], required, without.deviation, setup, factor, found)
    sigma = _after_wait(setup, factor)
    middle = required / _change(setup, factor)
    value = min(plain, middle * margin(sigma))
    if not credit:
        return EndOfDriveTarget(
            plain, required, KINDS[3], required, without.deviation, setup, factor, with_credit=value
        )
    found = (Caution("setup credited", factor.value, None, {"wait": setup.wait}),)
    return EndOfDriveTarget(value, required, KINDS[4], middle, sigma, setup, factor, found, value)


def _relaxed(required: float, setup: Setup, factor: Estimate) -> EndOfDriveTarget:
    """Give the higher target after a loss."""
    sigma = _after_wait(setup, factor)
    middle = required / max(_change(setup, factor), LEAST_FACTOR)
    found = [Caution("relaxation", factor.value, 1.0, {"restrike": setup.restrike, "high": factor.high})]
    if factor.low < LEAST_FACTOR:
        found.insert(0, Caution("relaxation uncertain", factor.low, LEAST_FACTOR))
    return EndOfDriveTarget(middle * margin(sigma), required, KINDS[5], middle, sigma, setup, factor, tuple(found))


def _change(setup: Setup, factor: Estimate) -> float:
    """Give the change that a count at the end of driving is judged by [1].

    The surest restrike resistance over the one at which the bearing graph passes through the measured blows.
    """
    before, after = setup.initial_resistance, setup.restrike_resistance
    return factor.value if before is None or after is None else after.value / before.value


def _after_wait(setup: Setup, factor: Estimate) -> float:
    """Error of a pile's resistance after the wait over what its count at the end of driving shows [1]."""
    return hypot(_of_restrike(setup, factor), setup_scatter(factor.value))


def _of_restrike(setup: Setup, factor: Estimate) -> float:
    """Error of the resistance after the wait, beyond what the resistance factor allows for [1]."""
    later = setup.restrike_resistance
    return _deviation(factor) if later is None or not later.has_range else _deviation(later)


def _deviation(estimate: Estimate | None) -> float:
    if estimate is None:
        return 0.0
    found = min(estimate.log_deviation, LARGEST_DEVIATION)
    return max(sqrt(max(found**2 - IN_FACTOR**2, 0.0)), LEAST_OWN) if found > 0.0 else 0.0
