"""Probable contents of a recorder's files: a guess for each channel, with its reasons and doubts, as data."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Literal

import numpy as np

from dyntest.errors import InputError
from dyntest.reading.blow_layout import MIN_SAMPLES, TIME_STEP_AGREEMENT
from dyntest.reading.channel_guess import (
    GAUGE_ROLES,
    ChannelGuess,
    ChannelLook,
    Reason,
    first_guess,
    first_sign,
    guess_by_shape,
    hinted_role,
    look_at_impact,
    numbers_of,
    one_kind_of_record,
    one_of_each,
    rate_in_line,
    rate_in_value,
    rates_in_line,
    steady_step,
    sum_to_peak,
    without_noise,
)
from dyntest.reading.formats import open_records
from dyntest.reading.formats.contents import (
    Contents,
    FileChannel,
    common_pattern,
    from_one_start,
    group_sizes,
    groups_alike,
    parts_of,
    pattern_of,
)
from dyntest.reading.formats.excel import read_sheets, sheets_with_numbers
from dyntest.reading.parts import Records
from dyntest.reading.recorder_files import LONGEST_BLOW
from dyntest.reading.text_tables import VOLTS, header_parts, is_unit_of
from dyntest.reading.wording import known_as
from dyntest.units import unit_factor

USUAL_RATES = (5e3, 10e3, 20e3, 25e3, 40e3, 50e3, 100e3)
"""Rates to which recorders of piles are commonly set [Hz]. Common practice, no source."""

USUAL_RECORD = 0.1
"""Usual length of the record of a blow [s]. Common practice, no source."""

WAVE_SPEEDS = (2500.0, 6500.0)
"""Accepted range of velocity over strain at the first peak [m/s]: the wave speed of any pile, widened for gauges that
are off. UFC 3-220-20, 6-9.2, widened."""

USUAL_WAVE_SPEED = 4800.0
"""Middle of the wave speeds of steel and concrete, in proportion [m/s]. Our own, no source."""

PEAK_STRAIN = (4e-5, 4e-3)
"""Range of the peak strain of a blow that drives a pile [m/m]. Common practice, no source."""

MOST_COLUMNS = 32
"""Most columns of a matrix that are taken as its channels [1]. Our own, no source."""

MOST_VOLTS = 50.0
"""Largest peak taken as a voltage if no unit fits [V]. Our own, no source."""


STRAIN_UNITS = ("µm/m", "m/m", "mm/m")
ACCELERATION_UNITS = ("m/s^2", "g")


@dataclass(frozen=True)
class Inspection:
    """Contents of a recorder's files.

    Parameters
    ----------
    sources : tuple of str
        The files, for messages.
    format : str
        By its word in the sheet.
    head : tuple of str
        First lines of the first file, if it is text.
    channels : tuple of ChannelGuess
        In the order of the file.
    n_samples : int
        Samples of the first file, or of one blow if blows are rows [1].
    sample_rate : float or None
        Samples a second [Hz].
    rate_reason : Reason
        Source of the rate.
    records : Records
        A mapping to start from.
    strain, acceleration : tuple of str
        Names for ``[gauges]``.
    doubts : tuple of Reason
        Doubts on the whole file.
    """

    sources: tuple[str, ...]
    format: str
    head: tuple[str, ...]
    channels: tuple[ChannelGuess, ...]
    n_samples: int
    sample_rate: float | None
    rate_reason: Reason
    records: Records
    strain: tuple[str, ...]
    acceleration: tuple[str, ...]
    doubts: tuple[Reason, ...] = field(default=())

    @property
    def flat(self) -> tuple[str, ...]:
        """Gauges that did not move, which are to be left out."""
        return tuple(one.target for one in self.channels if one.target and any(d.kind == "flat" for d in one.doubts))


def inspect_files(paths: Sequence[Path], decimal: str | None = None) -> Inspection:
    """Guess the contents of the files of a drive; they are assumed alike, and the first is examined.

    `decimal` is the decimal mark, as in ``[records]``, where no number of a text settles it.

    Raises
    ------
    InputError
        If a file cannot be read at all.
    """
    if not paths:
        raise InputError("inspect", "", "no file is named", "name the files of one drive")
    records, contents, several, of_groups = _open(paths[0], decimal)
    contents = _with_columns(_from_one_start(contents))
    columns = [numbers_of(contents, place) for place in range(len(contents.channels))]
    guesses = [first_guess(contents, place, values) for place, values in enumerate(columns)]
    guesses = _first_blow(contents, one_of_each(guesses))
    step, rate_reason = _step(contents, guesses, columns)
    blow_length = _blow_length(contents, guesses, columns)
    looks = {
        one.number - 1: look_at_impact(columns[one.number - 1], blow_length)
        for one in guesses
        if one.role in GAUGE_ROLES or not (one.role or any(why.kind in _NO_GAUGE for why in one.doubts + one.reasons))
    }
    guesses = [guess_by_shape(g, looks[g.number - 1]) if g.number - 1 in looks else g for g in guesses]
    guesses = one_kind_of_record(without_noise(guesses, looks))
    guesses, step, rate_reason = _units(contents, guesses, looks, step, rate_reason, blow_length)
    guesses = [_with_sign(g, looks, guesses) for g in guesses]
    guesses = _named(contents, guesses)
    layout, doubts = _layout(contents, guesses, len(paths), several, step)
    doubts = [
        *of_groups,
        *_other_times(guesses, columns),
        *_other_rates(contents, guesses),
        *_numbers_left_out(paths),
        *(one for one in doubts if not of_groups or one.kind != "one blow only"),
    ]
    kept = {g.target: g.channel for g in guesses if g.target and g.channel is not None}
    told = any(g.role == "time" for g in guesses) or rate_reason.kind == "file step"
    records = replace(
        records,
        format=contents.format,
        blows=layout,
        sample_rate=None if told or step is None else round(1.0 / step, 3),
        channels=kept,
    )
    strain = tuple(g.target for g in guesses if g.role == "strain" and g.target)
    acceleration = tuple(g.target for g in guesses if g.role == "acceleration" and g.target)
    averaged = {"force", "velocity"} <= set(kept) and not strain and not acceleration
    for kind, names in (("strain", strain), ("acceleration", acceleration)):
        if len(names) not in (2, 4) and not averaged:
            doubts.append(Reason("gauge count", len(names), kind))
    return Inspection(
        sources=tuple(known_as(path) for path in paths),
        format=contents.format,
        head=contents.head,
        channels=tuple(guesses),
        n_samples=blow_length,
        sample_rate=None if step is None else 1.0 / step,
        rate_reason=rate_reason,
        records=records,
        strain=strain,
        acceleration=acceleration,
        doubts=tuple(doubts),
    )


_NO_GAUGE = ("no numbers", "not read", "sample counter", "second", "one number", "next blow", "other")


def _open(path: Path, decimal: str | None) -> tuple[Records, Contents, int, list[Reason]]:
    """Open a file; of several sheets or groups of numbers use one, or a pattern that matches all, with the doubts."""
    try:
        opened = open_records(path, Records(decimal=decimal))
    except InputError as trouble:
        if "sheets with numbers" not in trouble.problem:
            raise
        sheets = read_sheets(path, None)
        wanted = pattern_of({name: len(sheets[name]) for name in sheets_with_numbers(sheets)}, list(sheets))
        asked = Records(sheet=wanted, decimal=decimal)
        opened = open_records(path, asked)
        return _settings(opened[0], asked), opened[0], len(opened), []
    contents = opened[0]
    sizes = group_sizes(contents)
    if contents.format in ("hdf5", "tdms") and any(sizes):
        group, alike = pattern_of(sizes, list(sizes)), groups_alike(contents)
        doubts = []
        apart = "*" not in group and _gauges_elsewhere(contents, group)
        if "*" not in group and not apart and len(alike) > 1:
            group = common_pattern(alike, list(sizes)) or group
            shown = ", ".join(alike[:3]) + (" …" if len(alike) > 3 else "")
            doubts = [Reason("groups by name" if "*" in group else "one of several groups", len(alike), shown)]
        if apart:
            return Records(), contents, len(opened), []
        opened = open_records(path, Records(group=group))
        return Records(group=group), opened[0], len(opened), doubts
    return _settings(contents, Records(decimal=decimal)), contents, len(opened), []


def _from_one_start(contents: Contents) -> Contents:
    """Give a file in which the channels of one length and rate begin at one time; those of UFF58 may be other blows."""
    names = [one.name for one in contents.channels]
    like = [place for place, one in enumerate(contents.channels) if len(one.shape) == 1 and one.numbers and one.step]
    starts = [contents.channels[place].start for place in like]
    if len(set(names)) < len(names) or not like or any(start is None for start in starts):
        return contents
    try:
        return from_one_start(contents, [like])
    except InputError:
        return contents


def _gauges_elsewhere(contents: Contents, group: str) -> bool:
    """Whether a group has too few channels for all gauges, and another has channels of the same length."""
    own = [one.shape for one in contents.channels if one.numbers and one.name.rpartition("/")[0] == group]
    longest = max(own)
    alike = sum(one.numbers and one.shape == longest for one in contents.channels)
    return own.count(longest) < 4 and alike > own.count(longest)


def _with_columns(contents: Contents) -> Contents:
    """Give a file in which the columns of a matrix of channels are channels, named as MATLAB does.

    A matrix with a column per blow is left as it is: then every gauge has one.
    """
    upright = [
        place
        for place, one in enumerate(contents.channels)
        if one.numbers and len(one.shape) == 2 and one.shape[0] >= 64 and 2 <= one.shape[1] <= MOST_COLUMNS
    ]
    if not upright or len(upright) > 2:
        return contents
    names = [hinted_role(contents.channels[place].name) for place in upright]
    if "force" in names or "velocity" in names:
        return contents
    channels: list[FileChannel] = []
    sources: list[tuple[int, int | None]] = []
    for place, one in enumerate(contents.channels):
        members: list[int | None] = list(range(one.shape[1])) if place in upright else [None]
        for member in members:
            name = one.name if member is None else f"{one.name}(:,{member + 1})"
            channels.append(one if member is None else replace(one, name=name, shape=one.shape[:1]))
            sources.append((place, member))

    def column(number: int) -> np.ndarray:
        place, member = sources[number]
        values = np.asarray(contents.column(place))
        return values if member is None else values[:, member]

    return replace(contents, channels=tuple(channels), column=column, part=parts_of(column), rows=None)


def _first_blow(contents: Contents, guesses: list[ChannelGuess]) -> list[ChannelGuess]:
    """Take data sets of one name as one blow each of a channel; only the first says what it is."""
    if contents.format != "uff58":
        return guesses
    seen: set[str] = set()
    kept = []
    for one in guesses:
        if one.name in seen:
            one = replace(one, role="", reasons=(Reason("next blow", text=one.name),), doubts=())
        seen.add(one.name)
        kept.append(one)
    return kept


MARKED = ("text", "excel")
"""Formats whose numbers may be text with a decimal mark."""


def _settings(contents: Contents, records: Records) -> Records:
    said = {"decimal": records.decimal if contents.format in MARKED else None} | contents.settings
    skip, delimiter, decimal, sheet = (said.get(key) for key in ("skip_lines", "delimiter", "decimal", "sheet"))
    return replace(
        records,
        skip_lines=skip if isinstance(skip, int) else None,
        delimiter=delimiter if isinstance(delimiter, str) else None,
        decimal=decimal if isinstance(decimal, str) else None,
        sheet=records.sheet or (sheet if isinstance(sheet, str) else None),
    )


def _step(contents: Contents, guesses: list[ChannelGuess], columns: list[np.ndarray]) -> tuple[float | None, Reason]:
    """Give the time step [s] and its source: the file, a time channel, or a line above the table."""
    for number, one in enumerate(guesses):
        if one.role == "time" and one.channel is not None:
            step = steady_step(columns[number]) or 0.0
            unit = one.channel.unit if one.channel.unit and is_unit_of(one.channel.unit, "time") else None
            said = unit is not None
            if unit is None:
                unit = min(("s", "ms", "us"), key=lambda u: abs(np.log(step * unit_factor(u, "time") * 20e3)))
            reasons = (*one.reasons, Reason("header unit", text=unit)) if said else one.reasons
            doubts = (
                one.doubts
                if said
                else (*one.doubts, Reason("usual rate", 1.0 / (step * unit_factor(unit, "time")), unit))
            )
            guesses[number] = replace(one, channel=replace(one.channel, unit=unit), reasons=reasons, doubts=doubts)
            return _round_step(step * unit_factor(unit, "time")), Reason("time channel", one.number)
    steps = [channel.step for channel in contents.channels if channel.step]
    if steps:
        return _round_step(steps[0]), Reason("file step", 1.0 / steps[0])
    for channel, values in zip(contents.channels, columns, strict=True):
        rate = rate_in_value(re.split(r"[/.]", channel.name)[-1], values)
        if rate is not None:
            return 1.0 / rate, Reason("file value", rate, channel.name)
    for line in contents.head:
        rate = rate_in_line(line)
        if rate is not None:
            return 1.0 / rate, Reason("head line", rate, line.strip())
    return None, Reason("not told")


def _other_times(guesses: Sequence[ChannelGuess], columns: Sequence[np.ndarray]) -> list[Reason]:
    """Say where a second channel of time, which is not used, has other times than the first."""
    first = next((one for one in guesses if one.role == "time" and one.channel), None)
    if first is None or first.channel is None:
        return []
    seconds = columns[first.number - 1] * unit_factor(first.channel.unit or "s", "time")
    for one in guesses:
        if any(why.kind == "second" and why.text == "time" for why in one.doubts) and one.number != first.number:
            unit = header_parts(one.name)[1]
            own = unit if is_unit_of(unit, "time") else first.channel.unit or "s"
            times = columns[one.number - 1] * unit_factor(own, "time")
            if times.shape != seconds.shape:
                return [Reason("other times", text=one.name)]
            late = times - seconds
            if np.abs(late).max() > 0.5 * (steady_step(seconds) or 0.0):
                return [Reason("other times", float(np.ravel(late)[0]), one.name)]
    return []


def _other_rates(contents: Contents, guesses: Sequence[ChannelGuess]) -> list[Reason]:
    """Say where a file gives several sampling rates for its gauges, or in the lines above a table."""
    steps = [contents.channels[one.number - 1].step for one in guesses if one.role in GAUGE_ROLES]
    rates = {round(1.0 / step, 3) for step in steps if step}
    if not any(one.role == "time" for one in guesses) and not rates:
        rates = {rate for line in contents.head for rate in rates_in_line(line)}
    if len(rates) < 2 or max(rates) / min(rates) - 1.0 < TIME_STEP_AGREEMENT:
        return []
    return [Reason("several rates", len(rates), " and ".join(f"{rate:g} Hz" for rate in sorted(rates)))]


def _numbers_left_out(paths: Sequence[Path]) -> list[Reason]:
    """Say which numbers the names of files leave out that differ in their number alone; times of day are none."""
    parts = [re.split(r"(\d+)", path.name) for path in paths]
    if len(paths) < 2 or len({len(one) for one in parts}) > 1:
        return []
    differ = [place for place, texts in enumerate(zip(*parts, strict=True)) if len(set(texts)) > 1]
    if len(differ) != 1 or not all(one[differ[0]].isdecimal() for one in parts):
        return []
    numbers = {int(one[differ[0]]) for one in parts}
    missing = [one for one in range(min(numbers), max(numbers)) if one not in numbers][: len(paths) + 1]
    if not missing or len(missing) > len(paths):
        return []
    return [Reason("file numbers", len(missing), ", ".join(map(str, missing[:5])) + (" …" if missing[5:] else ""))]


def _round_step(step: float) -> float:
    """Give a step with a round rate if it is close to one [s]."""
    rate = 1.0 / step
    for digits in (2, 3, 4):
        near = float(f"{rate:.{digits}g}")
        if abs(near / rate - 1.0) < 2e-5:
            return 1.0 / near
    return step


def _blow_length(contents: Contents, guesses: list[ChannelGuess], columns: list[np.ndarray]) -> int:
    """Give the samples of the first blow, or of the whole file if it is not divided [1]."""
    for number, one in enumerate(guesses):
        if one.role == "blow":
            changes = np.flatnonzero(np.diff(columns[number]))
            return int(changes[0]) + 1 if changes.size else len(columns[number])
    shapes = [one.shape for one in contents.channels if one.numbers]
    if not shapes:
        raise InputError(contents.source, "", "has no channel of numbers", "export the records again")
    two = [shape for shape in shapes if len(shape) == 2]
    return max(two[0]) if two else max(shape[-1] for shape in shapes)


def _units(
    contents: Contents,
    guesses: list[ChannelGuess],
    looks: dict[int, ChannelLook],
    step: float | None,
    reason: Reason,
    blow_length: int,
) -> tuple[list[ChannelGuess], float | None, Reason]:
    """Find units, and the rate if unknown, for which velocity over strain is a wave speed."""
    strains = [looks[g.number - 1] for g in guesses if g.role == "strain" and not looks[g.number - 1].flat]
    motions = [looks[g.number - 1] for g in guesses if g.role == "acceleration" and not looks[g.number - 1].flat]
    if not strains or not motions:
        return [_unit_by_size(g, looks) for g in guesses], step, reason
    said = {
        kind: next(
            (
                g.channel.unit
                for g in guesses
                if g.role == kind and g.channel and g.channel.unit and is_unit_of(g.channel.unit, kind)
            ),
            None,
        )
        for kind in ("strain", "acceleration")
    }
    peak = float(np.median([look.peak for look in strains]))
    total = float(np.median([abs(sum_to_peak(strains[0], look)) for look in motions]))
    rates = [1.0 / step] if step else list(USUAL_RATES)
    trials = []
    for strain_unit in [said["strain"]] if said["strain"] else STRAIN_UNITS:
        strain = peak * unit_factor(strain_unit, "strain")
        if not PEAK_STRAIN[0] <= strain <= PEAK_STRAIN[1] and not said["strain"]:
            continue
        for unit in [said["acceleration"]] if said["acceleration"] else ACCELERATION_UNITS:
            for rate in rates:
                speed = total * unit_factor(unit, "acceleration") / rate / strain
                cost = abs(np.log(speed / USUAL_WAVE_SPEED)) / 0.2
                if step is None and blow_length / rate < LONGEST_BLOW:
                    cost += abs(np.log(blow_length / rate / USUAL_RECORD)) / 0.8
                elif step is None:
                    cost += abs(np.log(rate / 20e3)) / 0.8
                if WAVE_SPEEDS[0] <= speed <= WAVE_SPEEDS[1]:
                    trials.append((cost, strain_unit, unit, rate, speed))
    volts = any(g.channel is not None and g.role in GAUGE_ROLES and g.channel.unit in VOLTS for g in guesses)
    if not trials or volts:  # a fit by chance is no calibration
        return _without_trial(guesses, looks, said, step, reason, blow_length)
    _, strain_unit, unit, rate, speed = min(trials)
    found = []
    for one in guesses:
        wanted = {"strain": strain_unit, "acceleration": unit}.get(one.role)
        if wanted and one.channel is not None:
            own = one.channel.unit if one.channel.unit and is_unit_of(one.channel.unit, one.role) else None
            doubts = (*one.doubts, Reason("pair unit", text=wanted)) if said[one.role] and not own else one.doubts
            reasons = (*one.reasons, Reason("wave speed", speed, own or wanted))
            one = replace(one, channel=replace(one.channel, unit=own or wanted), reasons=reasons, doubts=doubts)
        found.append(one)
    if step is None:
        return found, 1.0 / rate, Reason("wave speed", rate)
    return found, step, reason


def _without_trial(
    guesses: list[ChannelGuess],
    looks: dict[int, ChannelLook],
    said: dict[str, str | None],
    step: float | None,
    reason: Reason,
    blow_length: int,
) -> tuple[list[ChannelGuess], float | None, Reason]:
    """Give units if none fits the pair: volts if all is small, else by size alone."""
    small = all(looks[g.number - 1].peak < MOST_VOLTS for g in guesses if g.role in ("strain", "acceleration"))
    found = []
    for one in guesses:
        if one.role in ("strain", "acceleration") and one.channel is not None and not said[one.role]:
            volts = one.channel.unit in VOLTS or (small and looks[one.number - 1].peak > 0.02)
            if volts:
                unit = "µm/m" if one.role == "strain" else "m/s^2"
                doubt = Reason("volts", looks[one.number - 1].peak, one.channel.unit or "V")
                one = replace(one, channel=replace(one.channel, unit=unit), doubts=(*one.doubts, doubt))
            else:
                one = _unit_by_size(one, looks)
        elif one.role in ("strain", "acceleration") and one.channel is not None:
            own, doubts = one.channel.unit or "", (*one.doubts, Reason("no wave speed"))
            if not is_unit_of(own, one.role):
                own = said[one.role] or ""
                doubts = (*doubts, Reason("pair unit", text=own))
            one = replace(one, channel=replace(one.channel, unit=own), doubts=doubts)
        found.append(one)
    if step is None and blow_length:
        rate = min(USUAL_RATES, key=lambda rate: abs(np.log(blow_length / rate / USUAL_RECORD)))
        return found, 1.0 / rate, Reason("usual length", rate)
    return found, step, reason


def _unit_by_size(one: ChannelGuess, looks: dict[int, ChannelLook]) -> ChannelGuess:
    if one.role not in GAUGE_ROLES or one.channel is None or one.number - 1 not in looks:
        return one
    if one.channel.unit and is_unit_of(one.channel.unit, one.role):
        return one
    peak = looks[one.number - 1].peak
    if one.role == "strain":
        fitting = [
            unit for unit in STRAIN_UNITS if PEAK_STRAIN[0] <= peak * unit_factor(unit, "strain") <= PEAK_STRAIN[1]
        ]
        unit = fitting[0] if fitting else "µm/m"
    else:
        unit = {"acceleration": "m/s^2", "force": "kN", "velocity": "m/s"}[one.role]
    return replace(one, channel=replace(one.channel, unit=unit), doubts=(*one.doubts, Reason("size alone", peak, unit)))


def _with_sign(one: ChannelGuess, looks: dict[int, ChannelLook], guesses: list[ChannelGuess]) -> ChannelGuess:
    """Find the sign of a gauge: a blow first compresses the pile and moves it down."""
    if one.role not in GAUGE_ROLES or one.channel is None:
        return one
    look = looks[one.number - 1]
    if look.flat:
        return one
    if one.role in ("strain", "force"):
        sign = first_sign(look)
        positive: Literal["compression", "tension", "down", "up"] = "compression" if sign > 0 else "tension"
    else:
        strains = [looks[g.number - 1] for g in guesses if g.role == "strain" and not looks[g.number - 1].flat]
        total = sum_to_peak(strains[0], look) if strains and one.role == "acceleration" else 0.0
        sign = float(np.sign(total)) if total else first_sign(look)
        positive = "down" if sign > 0 else "up"
    reason = Reason("first movement", sign * look.peak, positive)
    return replace(one, channel=replace(one.channel, positive=positive), reasons=(*one.reasons, reason))


def _named(contents: Contents, guesses: list[ChannelGuess]) -> list[ChannelGuess]:
    """Give every channel in use its name in the sheet and in the file."""
    counts: dict[str, int] = {}
    by_number = contents.format in ("text", "excel") and contents.settings.get("header") is False
    names = [one.name for one in guesses]
    named = []
    for one in guesses:
        if not one.role or one.channel is None:
            named.append(replace(one, channel=None))
            continue
        target = one.role
        if one.role in ("strain", "acceleration"):
            counts[one.role] = counts.get(one.role, 0) + 1
            target = f"{one.role}_{counts[one.role]}"
        leaf = one.name.rpartition("/")[2] if contents.format in ("hdf5", "tdms") else one.name
        double = sum(name.rpartition("/")[2] == leaf for name in names) > 1
        if double and contents.format in ("hdf5", "tdms"):
            leaf = one.name
        double = names.count(one.name) > 1 and contents.format != "uff58"
        column: str | int = one.number if by_number or double or not leaf else leaf
        unit = one.channel.unit if one.role != "blow" else None
        named.append(replace(one, target=target, channel=replace(one.channel, column=column, unit=unit)))
    return named


def _layout(
    contents: Contents, guesses: list[ChannelGuess], files: int, several: int, step: float | None
) -> tuple[str, list[Reason]]:
    """Find the arrangement of blows in the files."""
    if any(one.role == "blow" for one in guesses):
        return "column", []
    used = [one for one in guesses if one.role in GAUGE_ROLES]
    beside = contents.settings.get("beside")
    if isinstance(beside, tuple):
        return "rows", [Reason("side by side", beside[0], beside[1])]
    if any(one.reasons and one.reasons[0].kind == "next blow" for one in guesses):
        return "rows", []
    if any(len(one.shape) == 2 for one in used):
        odd = [one for one in used if len(one.shape) == 2 and one.shape[0] > one.shape[1] >= MIN_SAMPLES]
        return "rows", [Reason("rows stand upright", odd[0].shape[0])] if odd else []
    length = max((one.shape[0] for one in used), default=0)
    if step is not None and length * step > LONGEST_BLOW:
        return "continuous", []
    doubts = [] if files > 1 or several > 1 else [Reason("one blow only")]
    return "one a file", doubts
