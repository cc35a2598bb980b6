"""When to stop and restrike instead of driving on, from what waiting was measured to do to the test pile."""

from collections.abc import Sequence

from dyntest.decisions.bearing_oddities import DEPTH_TOLERANCE
from dyntest.decisions.criterion import CriterionRow, RestrikeRule
from dyntest.decisions.setup import Setup
from dyntest.units import unit_factor

JUDGED_INCHES = 1
"""Length of a restrike that is judged, its first [in]: what was gained fades blow by blow (common practice, no
source)."""

MOST_INCHES = 3
"""Length after which a restrike stops at the latest [in] (from memory: agencies stop at 3 or 6 in)."""

SETUP, RELAXATION, NO_CHANGE, NOT_MEASURED = "setup", "relaxation", "no sure change", "not measured"


def restrike_rule(
    required: float,
    setups: Sequence[Setup] = (),
    penetration: float | None = None,
    rows: Sequence[CriterionRow] = (),
    *,
    system: str = "SI",
) -> RestrikeRule:
    """Give the rule for piles whose count falls short, and for piles that are struck again.

    Parameters
    ----------
    required : float
        Required nominal resistance [N].
    setups : sequence of Setup
        Every restrike held against the initial drive.
    penetration : float or None
        Length of the test pile in the ground, along it, at the end of its initial drive [m].
    rows : sequence of CriterionRow
        Sets that show the required resistance at a restrike; none where only a dynamic test can tell.
    system : str
        ``"SI"`` or ``"US"``: lengths in 25 mm or inches.

    Returns
    -------
    RestrikeRule
        A pile without the count is stopped `DEPTH_TOLERANCE` below the test pile. Where that pile set up, waiting as
        long and striking again may show what driving on would only buy with length; where it relaxed, waiting helps
        nobody, and piles that met the count are struck again to show that they kept it.

    Notes
    -----
    Any restrike with a loss makes it relaxation; a gain counts only where the lower end of its range is above 1.

    Examples
    --------
    >>> rule = restrike_rule(1.7e6, penetration=18.0)
    >>> rule.change, rule.stop_penetration
    ('not measured', 19.5)
    """
    inch = unit_factor("in", "length") if system == "US" else 0.025
    stop = None if penetration is None or penetration != penetration else penetration + DEPTH_TOLERANCE
    change, wait = _change(setups)
    return RestrikeRule(change, stop, wait, required, tuple(rows), JUDGED_INCHES * inch, MOST_INCHES * inch)


def _change(setups: Sequence[Setup]) -> tuple[str, float | None]:
    """Give what waiting did, and after which wait."""
    measured = [setup for setup in setups if setup.setup_factor is not None]
    if not measured:
        return NOT_MEASURED, None
    lost = [setup for setup in measured if setup.setup_factor.value < 1.0]
    if lost:
        return RELAXATION, min(lost, key=lambda setup: setup.setup_factor.low).wait
    last = measured[-1]
    return (SETUP if last.setup_factor.low > 1.0 else NO_CHANGE), last.wait
