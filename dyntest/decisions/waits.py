"""How long a pile waited between the end of its initial drive and a restrike, from the clocks of the sheet."""

from datetime import datetime

from dyntest.errors import InputError

SECONDS_PER_DAY = 86400.0
"""Length of a day [s], exact."""


def wait(initial_end: datetime | None, restrike_start: datetime | None, source: str = "test sheet") -> float | None:
    """Give the time from the end of the initial drive to the start of a restrike.

    Parameters
    ----------
    initial_end : datetime or None
        Clock at the end of the initial drive.
    restrike_start : datetime or None
        Clock at the start of the restrike.
    source : str
        The sheet, for messages.

    Returns
    -------
    float or None
        The wait [s]; None where either clock is not given.

    Raises
    ------
    InputError
        If the restrike starts before the initial drive ends, or only one clock has a time zone.

    Examples
    --------
    >>> wait(datetime(2026, 5, 4, 14), datetime(2026, 5, 9, 14)) / SECONDS_PER_DAY
    5.0
    """
    if initial_end is None or restrike_start is None:
        return None
    if (initial_end.utcoffset() is None) != (restrike_start.utcoffset() is None):
        problem = "one clock of the drives has a time zone and another has none"
        raise InputError(source, "[[drive]] start and end", problem, "write all with the same local clock")
    seconds = (restrike_start - initial_end).total_seconds()
    if seconds <= 0.0:
        problem = f"the restrike starts at {restrike_start:%Y-%m-%d %H:%M}, not after the end of the initial drive at "
        problem += f"{initial_end:%Y-%m-%d %H:%M}"
        raise InputError(source, "[[drive]] start and end", problem, "correct the clocks")
    return seconds


def show_wait(seconds: float | None) -> str:
    """Write a wait as an engineer reads it.

    Parameters
    ----------
    seconds : float or None
        The wait [s].

    Returns
    -------
    str
        In days, in hours below two days; a dash where it is not known.

    Examples
    --------
    >>> show_wait(5 * SECONDS_PER_DAY), show_wait(5400.0), show_wait(None)
    ('5.0 days', '1.5 hours', '–')
    """
    if seconds is None:
        return "–"
    if seconds < 2.0 * SECONDS_PER_DAY:
        return f"{seconds / 3600.0:.1f} hours"
    return f"{seconds / SECONDS_PER_DAY:.1f} days"
