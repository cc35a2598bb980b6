"""What resistance a pile has to show at the end of driving, after what waiting was measured to change."""

from collections.abc import Sequence
from dataclasses import dataclass

from dyntest.decisions.caution import Caution
from dyntest.decisions.estimate import Estimate
from dyntest.decisions.setup import Setup, show_wait
from dyntest.names import show

LEAST_FACTOR = 0.3
"""Lower end of a factor below which a loss is too unsure to set a target by [1]; the target then rests on this; no
source."""


@dataclass(frozen=True)
class EndOfDriveTarget:
    """The resistance to be shown at the end of driving.

    Parameters
    ----------
    value : float
        Static resistance [N].
    how : str
        How it follows from the requirement, in one sentence.
    factor : Estimate or None
        Setup factor that was applied, by the lower end of its range [1]; None where none was.
    cautions : tuple of Caution
        What to weigh.
    required : float or None
        Required nominal resistance, which is the target where no waiting is counted on [N].
    with_credit : float or None
        What the target is, or would be, with measured setup credited [N]; None where no gain was measured for sure.
    """

    value: float
    how: str
    factor: Estimate | None = None
    cautions: tuple[Caution, ...] = ()
    required: float | None = None
    with_credit: float | None = None


def end_of_drive_target(
    required: float, setups: Sequence[Setup] = (), *, credit: bool | None = None, system: str = "SI"
) -> EndOfDriveTarget:
    """Give the resistance that has to be shown at the end of driving.

    Units: required [N].

    Only what a restrike of this test measured is credited, nothing of a time law. That a restrike's gain holds for
    other piles of the structure is the engineer's judgement.

    Examples
    --------
    >>> end_of_drive_target(1.0e6).value
    1000000.0
    """
    asked = show("matched_resistance", required, system)
    measured = [(setup, setup.setup_factor) for setup in setups if setup.setup_factor is not None]
    lost = [pair for pair in measured if pair[1].value < 1.0]
    if lost:
        return _relaxed(required, *min(lost, key=lambda pair: pair[1].low), system)
    if not measured:
        how = f"{asked} is asked for at the end of driving; no restrike measured any setup."
        return EndOfDriveTarget(required, how, required=required)
    setup, factor = measured[-1]
    shown = f"{_name(setup)} shows {_factor(factor)}"
    if factor.low <= 1.0:
        how = f"{asked} is asked for at the end of driving: {shown}, whose lower end is no gain."
        return EndOfDriveTarget(required, how, required=required)
    value = required / factor.low
    credited = show("matched_resistance", value, system)
    if not credit:
        how = f"{asked} is asked for at the end of driving. {shown}, not credited; with credit it would be {credited}."
        return EndOfDriveTarget(required, how, required=required, with_credit=value)
    how = (
        f"{asked} over the lower end of the setup factor of {_name(setup).lower()}, {_factor(factor)}, asks for "
        f"{credited} at the end of driving; without credit it would be {asked}."
    )
    wait = "" if setup.wait is None else f" after {show_wait(setup.wait)}"
    text = f"setup is credited as measured{wait}: a pile that is loaded or judged earlier has less"
    cure = "restrike some bearing piles to show that they gain as much"
    return EndOfDriveTarget(
        value, how, factor, (Caution("setup credited", text, cure, factor.low),), required, with_credit=value
    )


def _relaxed(required: float, setup: Setup, factor: Estimate, system: str) -> EndOfDriveTarget:
    """Give the higher target after a loss."""
    value = required / max(factor.low, LEAST_FACTOR)
    asked = show("matched_resistance", required, system)
    how = (
        f"{_name(setup)} lost resistance, {_factor(factor)}: {asked} over its lower end asks for "
        f"{show('matched_resistance', value, system)} at the end of driving."
    )
    cure = "restrike bearing piles, or drive to the higher target; ask whether relaxation goes on"
    found = [Caution("relaxation", how, cure, factor.value, 1.0)]
    if factor.low < LEAST_FACTOR:
        text = f"the range of the loss reaches below {LEAST_FACTOR:.2f}, too wide to set a target by"
        found.insert(0, Caution("loss not sure", text, "match other blows of both drives", factor.low, LEAST_FACTOR))
    return EndOfDriveTarget(value, how, factor, tuple(found), required)


def _name(setup: Setup) -> str:
    return setup.restrike.replace("_", " ").capitalize()


def _factor(factor: Estimate) -> str:
    return f"a factor of {factor.value:.2f} ({factor.low:.2f} to {factor.high:.2f})"
