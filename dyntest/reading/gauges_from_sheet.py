"""The gauges of a test sheet, and the engineer's choices, which speak of gauges and drives by name."""

from collections.abc import Sequence

from dyntest.errors import InputError
from dyntest.reading.sheet_models import ChoicesTable, GaugesTable
from dyntest.reading.sheet_parts import Choices, Drive, Gauges
from dyntest.reading.wording import listed, nearest, shown

RESERVED = ("blow", "time", "clock", "penetration")
"""Columns of a signals table that are no gauge."""

_BOTH_WAYS = "write strain and acceleration, two names each, or force and velocity"


def gauges_from(table: GaugesTable, source: str) -> Gauges:
    """Give the gauges that the sheet names.

    Parameters
    ----------
    table : GaugesTable
        ``[gauges]`` as written.
    source : str
        The sheet's name for messages.

    Returns
    -------
    Gauges
        Two strains and two accelerations, or one force and one velocity.

    Raises
    ------
    InputError
        If neither set is whole, both are begun, a name comes twice, or both gauges of a pair are left out.
    """
    single = (table.strain, table.acceleration)
    averaged = (table.force, table.velocity)
    if any(single) and any(averaged):
        raise InputError(source, "[gauges]", "mixes single gauges with averaged traces", _BOTH_WAYS)
    if not (all(single) or all(averaged)):
        keys = ("strain", "acceleration", "force", "velocity")
        have = [key for key in keys if getattr(table, key)]
        problem = f"has only {' and '.join(have)}" if have else "names no columns"
        raise InputError(source, "[gauges]", problem, _BOTH_WAYS)
    for key, names in (("strain", table.strain), ("acceleration", table.acceleration)):
        if names and len(names) != 2:
            cure = "write both names of the pair; a gauge that failed goes into leave_out"
            raise InputError(source, f"[gauges] {key}", f"needs two names and has {len(names)}", cure)
    gauges = Gauges(
        strain=tuple(table.strain) if table.strain else None,
        acceleration=tuple(table.acceleration) if table.acceleration else None,
        force=table.force,
        velocity=table.velocity,
        leave_out=tuple(table.leave_out),
        calibration=dict(table.calibration),
    )
    _check_names(gauges, source)
    check_left_out(gauges, (), source)
    return gauges


def choices_from(table: ChoicesTable, gauges: Gauges, drives: Sequence[Drive], source: str) -> Choices:
    """Give the engineer's choices.

    Parameters
    ----------
    table : ChoicesTable
        ``[choices]`` as written.
    gauges : Gauges
        The gauges, for what is left out.
    drives : sequence of Drive
        The drives, for their representative blows.
    source : str
        The sheet's name for messages.

    Returns
    -------
    Choices
        In SI.

    Raises
    ------
    InputError
        If a drive or a gauge is not one of the sheet's, or a pair of gauges is left out whole.
    """
    check_left_out(gauges, table.leave_out, source)
    names = [drive.name for drive in drives]
    for name, blow in table.blow.items():
        place = f"[choices] blow.{shown(name)[1:-1]}"
        if name not in names:
            raise InputError(source, place, "is not a drive of this sheet", f"write {listed(names)}")
        if blow < 0:
            raise InputError(
                source, place, f"{shown(blow)} is not a blow number", "write the number of a recorded blow"
            )
    return Choices(**table.model_dump(exclude={"leave_out"}), leave_out=tuple(table.leave_out))


def check_left_out(gauges: Gauges, chosen: Sequence[str], source: str) -> None:
    """Refuse to leave out an unknown gauge, or both of a pair.

    Parameters
    ----------
    gauges : Gauges
        The gauges with those that they leave out themselves.
    chosen : sequence of str
        Further gauges to leave out, from ``[choices]``.
    source : str
        The sheet's name for messages.

    Raises
    ------
    InputError
        If that is asked for.
    """
    pairs = [pair for pair in (gauges.strain, gauges.acceleration) if pair]
    known = [name for pair in pairs for name in pair]
    for place, names in (("[gauges] leave_out", gauges.leave_out), ("[choices] leave_out", chosen)):
        for name in names:
            if name in known:
                continue
            if not known:
                raise InputError(source, place, "averaged traces have no single gauge to leave out", "take it out")
            cure = f"write {nearest(name, known) or listed(known)} if that is meant"
            raise InputError(source, place, f"{shown(name)} is not one of the gauges", cure)
    left_out = {*gauges.leave_out, *chosen}
    for pair in pairs:
        if left_out.issuperset(pair):
            place = "[choices] leave_out" if chosen else "[gauges] leave_out"
            problem = f"leaves out both {pair[0]} and {pair[1]}, so nothing of their kind is left"
            raise InputError(source, place, problem, "keep one of the two")


def _check_names(gauges: Gauges, source: str) -> None:
    """Refuse names that could not be told apart in a table, and calibration of a channel that is not there."""
    named = [n for n in (*(gauges.strain or ()), *(gauges.acceleration or ()), gauges.force, gauges.velocity) if n]
    for name in named:
        if "[" in name or "]" in name:
            cure = "write the name without its unit; the unit stands in the table's header"
            raise InputError(source, "[gauges]", f"{shown(name)} has square brackets", cure)
        if name in RESERVED:
            raise InputError(
                source, "[gauges]", f"{shown(name)} names a column of another meaning", "rename the column"
            )
        if named.count(name) > 1:
            raise InputError(source, "[gauges]", f"{shown(name)} comes twice", "give each gauge its own column")
    for channel in gauges.calibration:
        if channel not in (*named, "all"):
            place = f"[gauges] calibration.{shown(channel)[1:-1]}"
            raise InputError(source, place, "is not one of the gauges", f"write {listed(named)}, or all")
