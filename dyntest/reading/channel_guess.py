"""Probable meaning of a channel in a recorder's file, by its name, unit, steps and the shape of its record."""

import re
from dataclasses import dataclass, replace

import numpy as np

from dyntest.errors import InputError
from dyntest.reading.formats.contents import Contents
from dyntest.reading.parts import Channel
from dyntest.reading.streams import running_median
from dyntest.reading.text_tables import header_parts, is_unit_of
from dyntest.reading.values import FORCE, SAMPLE_RATE
from dyntest.units import unit_factor

SAMPLES_LOOKED_AT = 4_000_000
"""Samples of each channel that are examined, from the beginning [1]. Our own, no source."""

ONE_SIDED = 0.35
"""Net area over area of a record above which it is taken as a strain [1]; an acceleration nearly sums to zero.
Our own, no source."""

STREAM_SAMPLES = 8000
"""Samples of a channel above which it is looked at as a stream [1]. Our own, no source."""

QUIET_SAMPLES = 100
"""Samples without movement before an impact in a stream [1]. Our own, no source."""

_NAME_HINTS = (
    ("time", re.compile(r"^(t|time|zeit|temps|tiempo|seconds?|sec|ms)$|\btime\b", re.IGNORECASE)),
    ("blow", re.compile(r"^(no\.?|n|nr\.?|blow.*|hit.*|impact.*|shot.*|schlag.*|coups?\b.*|golpe.*)$", re.IGNORECASE)),
    ("clock", re.compile(r"clock|elapsed", re.IGNORECASE)),
    ("penetration", re.compile(r"penetration|\bdepth\b", re.IGNORECASE)),
    ("strain", re.compile(r"strain|eps|^e\d|^s\d|dms|ε|µe|^sg|dehnung|d[eé]form|应变", re.IGNORECASE)),
    ("acceleration", re.compile(r"acc|^a[cx_ ]?\d|beschl|^acel|加速", re.IGNORECASE)),
    ("force", re.compile(r"force|kraft|fuerza", re.IGNORECASE)),
    ("velocity", re.compile(r"veloc|^v\d?$|geschw|vitesse", re.IGNORECASE)),
)

_OTHER_NAME = re.compile(
    r"temp(er|$|\b)|press|druck|presi[oó]n|batter|supply|humid|gps|latit|longit|trigger|\brpm\b|micro(ph|f)|sound|温度|压力",
    re.IGNORECASE,
)
_OTHER_UNIT = re.compile(r"[°º]\s*[CF]?|deg\s?[CF]?|[ck]?N ?m|m?bar|hPa|m?A|k?Hz|rpm|1/min|dB|% ?RH", re.IGNORECASE)
"""Names and units of what a recorder stores beside the gauges."""

SMALLEST_SHARE = 0.01
"""Share of the usual peak of a kind below which a channel without name or unit is noise [1]. Our own, no source."""

_VALUE = r"(?P<value>\d+(?:[.,]\d+)?(?:e[+-]?\d+)?)"
_HERTZ = r"(?P<scale>k|M)?\s*(?:Hz|S/s|Sa/s|samples?\s*(?:/|per)\s*s)"
_RATES = tuple(
    re.compile(pattern, re.IGNORECASE)
    for pattern in (
        rf"{_VALUE}\s*{_HERTZ}",
        rf"(?:rate|freq\w*|\bfs)\b\W*{_HERTZ}\W*{_VALUE}",
        rf"(?:rate|freq\w*|\bfs)\b\W*{_VALUE}\W*$",
    )
)
"""Lines above a table that give the sampling rate."""

_SINGLES = {
    "rate": ("fs", "rate", "sample_rate", "samplerate", "sampling_rate", "samplingrate", "sample_frequency"),
    "step": ("dt", "delta_t", "deltat", "time_step", "timestep", "wf_increment", "interval", "sample_interval"),
}
"""Usual names of a rate [Hz] and of a time step [s] that a file holds as a single number."""

_NO_RATE = re.compile(r"filter|pass\b|cut-?off|alias|bandwidth|carrier|excit|resonan|natural", re.IGNORECASE)
"""Words beside other frequencies than the sampling rate."""

_INTERVAL = re.compile(
    rf"(?:interval|period|increment|time step|\bd(?:elta )?[tx]|Δt)\b\W*(?:(?P<before>[mµμu]?s(?:ec)?)\W+)?{_VALUE}"
    r"\W*(?P<after>[mµμu]?s(?:ec)?)?\W*$",
    re.IGNORECASE,
)
"""A line above a table that gives the time step."""

GAUGE_ROLES = ("strain", "acceleration", "force", "velocity")


@dataclass(frozen=True)
class Reason:
    """A reason for a guess, or a doubt.

    Parameters
    ----------
    kind : str
        What it is, such as ``"header unit"`` or ``"steady steps"``; the words for it are in `presenting`.
    value : float
        Its number [unit that goes with the kind].
    text : str
        Its word, such as the unit in the header.
    """

    kind: str
    value: float = float("nan")
    text: str = ""


@dataclass(frozen=True)
class ChannelGuess:
    """Probable meaning of a channel of a file.

    Parameters
    ----------
    number : int
        Its number in the file, from 1 [1].
    name : str
        Its name in the file; empty where it has none.
    role : str
        ``"time"``, ``"blow"``, ``"clock"``, ``"penetration"``, ``"strain"``, ``"acceleration"``, ``"force"``,
        ``"velocity"``, or empty if nothing fits.
    target : str
        Its name in the sheet, such as ``"strain_1"``; empty if not used.
    shape : tuple of int
        Samples, or blows and samples [1].
    low, high : float
        Range of the numbers in the file [unit of the file]; not a number for text.
    channel : Channel or None
        How to read it, for the sheet; None if not used.
    reasons, doubts : tuple of Reason
        Reasons for the guess, and doubts.
    """

    number: int
    name: str
    role: str
    target: str
    shape: tuple[int, ...]
    low: float
    high: float
    channel: Channel | None = None
    reasons: tuple[Reason, ...] = ()
    doubts: tuple[Reason, ...] = ()


@dataclass(frozen=True)
class ChannelLook:
    """A channel's numbers, the first blow cut from them, and their properties."""

    values: np.ndarray
    blow: np.ndarray
    start: int
    peak: float
    one_sided: float
    flat: bool


def numbers_of(contents: Contents, place: int) -> np.ndarray:
    """Give the numbers of a channel to be examined; none if it has no numbers or has gaps."""
    channel = contents.channels[place]
    if not channel.numbers or len(channel.shape) > 2:
        return np.empty(0)
    try:
        if len(channel.shape) == 1:
            return contents.part([place], 0, min(channel.shape[0], SAMPLES_LOOKED_AT))[0]
        return np.asarray(contents.column(place), dtype=float)
    except (InputError, ValueError, TypeError):
        return np.empty(0)


def first_guess(contents: Contents, place: int, values: np.ndarray) -> ChannelGuess:
    """Guess from name, unit and steps alone."""
    channel = contents.channels[place]
    name, unit = header_parts(channel.name.rpartition("/")[2])
    unit = channel.unit or unit
    finite = values[np.isfinite(values)]
    low, high = (float(finite.min()), float(finite.max())) if finite.size else (float("nan"), float("nan"))
    role, reasons, doubts = "", [], []
    hinted = hinted_role(name)
    if values.size == 1:
        doubts.append(Reason("one number"))
    elif not finite.size:
        trouble = _why_unread(contents, place)
        doubts.append(Reason("not read", text=trouble) if trouble else Reason("no numbers"))
    elif _counts_blows(values) and hinted not in GAUGE_ROLES:
        role = "blow"
        reasons.append(Reason("counts blows", float(np.count_nonzero(np.diff(values)) + 1)))
    elif steady_step(values) is not None and hinted not in GAUGE_ROLES:
        step = steady_step(values)
        if step == 1.0 and hinted != "time" and not is_unit_of(unit, "time"):
            doubts.append(Reason("sample counter"))
        else:
            role = "time"
            reasons.append(Reason("steady steps", float(step or 0.0)))
    elif hinted in ("clock", "penetration") and len(np.unique(finite[:SAMPLES_LOOKED_AT])) < len(finite) / 50:
        role = hinted
        reasons.append(Reason("name", text=name))
    elif _is_other(name, unit):
        doubts.append(Reason("other", text=_bracketed(name) or unit or name))
    else:
        by_unit = next((kind for kind in GAUGE_ROLES if is_unit_of(unit, kind)), "")
        if unit == "N" and (hinted in ("strain", "acceleration") or max(-low, high) < FORCE.low):
            by_unit, unit = "", ""  # the gauge on the north face
        if by_unit and not (by_unit == "strain" and unit in ("m/m", "%") and hinted not in ("", "strain")):
            role = by_unit
            reasons.append(Reason("header unit", text=unit))
        elif hinted in GAUGE_ROLES:
            role = hinted
            reasons.append(Reason("name", text=name))
        if channel.scale != 1.0:
            reasons.append(Reason("file scale", channel.scale))
        if channel.untold:
            doubts.append(Reason("file factor", text=channel.untold))
        if finite.size < values.size:
            doubts.append(Reason("gaps", float(values.size - finite.size)))
    return ChannelGuess(
        place + 1,
        channel.name,
        role,
        "",
        channel.shape,
        low,
        high,
        Channel(place + 1, unit or None),
        tuple(reasons),
        tuple(doubts),
    )


def _bracketed(name: str) -> str:
    """Give the unit at the end of a name that no gauge has; empty if there is none."""
    match = re.search(r"[\[(]([^\[\]()]*)[\])]\s*$", name)
    return match[1] if match and _OTHER_UNIT.fullmatch(match[1].strip()) else ""


def _is_other(name: str, unit: str) -> bool:
    """Whether a channel has the unit, or without a gauge's unit the name, of something else than a gauge."""
    if any(is_unit_of(unit, kind) for kind in GAUGE_ROLES):
        return False
    measured = any(is_unit_of(unit, kind) for kind in ("length", "time", "stress"))
    return bool(measured or _OTHER_UNIT.fullmatch(unit) or _bracketed(name) or _OTHER_NAME.search(name))


def _why_unread(contents: Contents, place: int) -> str:
    """Give the message for a channel of numbers that cannot be read; empty if it can."""
    if not contents.channels[place].numbers:
        return ""
    try:
        contents.column(place)
    except InputError as trouble:
        return f"{trouble.place}: {trouble.problem}"
    return ""


def hinted_role(name: str) -> str:
    """Give what a name alone suggests; empty if it suggests nothing."""
    return next((word for word, pattern in _NAME_HINTS if pattern.search(name)), "")


def one_of_each(guesses: list[ChannelGuess]) -> list[ChannelGuess]:
    """Use one channel each of time, blow, clock and penetration; a second one is doubtful."""
    seen: set[str] = set()
    kept = []
    for one in guesses:
        if one.role in ("time", "blow", "clock", "penetration"):
            if one.role in seen:
                one = replace(one, role="", doubts=(*one.doubts, Reason("second", text=one.role)))
            seen.add(one.role)
        kept.append(one)
    return kept


def _counts_blows(values: np.ndarray) -> bool:
    if values.ndim != 1 or len(values) < 128 or not np.array_equal(values, np.rint(values)):
        return False
    steps = np.diff(values)
    changes = np.count_nonzero(steps)
    return bool((steps >= 0).all() and len(values) / (changes + 1) >= 64 and (changes > 0 or values[0] == 1))


def steady_step(values: np.ndarray) -> float | None:
    """Give the step of evenly rising numbers, which may restart with every blow; None for others."""
    flat = values if values.ndim == 1 else values[0]
    if len(flat) < 16:
        return None
    steps = np.diff(flat)
    usual = float(np.median(steps))
    if usual <= 0.0:
        return None
    even = np.abs(steps - usual) < 0.3 * usual
    return float(np.mean(steps[even])) if even.mean() > 0.98 else None


def look_at_impact(values: np.ndarray, blow_length: int) -> ChannelLook:
    """Cut out the part of a channel around its first impact, without its baseline."""
    nothing = ChannelLook(values, np.zeros(1), 0, 0.0, 0.0, True)
    if values.size < 32 or not np.isfinite(values).all():
        return nothing
    flat = values
    if values.ndim == 2:
        flat = values[0] if values.shape[1] == blow_length else values[:, 0]
    flat = flat[:blow_length] if len(flat) > blow_length else flat
    stream = len(flat) > STREAM_SAMPLES
    if stream:  # it may drift, and begin within a blow
        moved = flat - running_median(flat, STREAM_SAMPLES // 2)
    else:
        moved = flat - float(np.median(flat[: max(16, min(len(flat) // 30, 200))]))
    size = np.abs(moved)
    top = float(size.max())
    if top == 0.0:
        return nothing
    usual = float(np.quantile(size, 0.5))
    start = int(np.argmax(size > max(0.3 * top, 4.0 * usual) if top > 8.0 * usual else size > 0.3 * top))
    if stream:
        above = np.flatnonzero(size > max(0.3 * top, 4.0 * usual) if top > 8.0 * usual else size > 0.3 * top)
        fresh = np.flatnonzero(np.diff(above, prepend=-1) > QUIET_SAMPLES)
        start = int(above[fresh[0]]) if fresh.size else start
    begin = max(0, start - 40)
    blow = moved[begin : start + 500]
    area = float(np.abs(blow).sum())
    return ChannelLook(values, moved, start, top, abs(float(blow.sum())) / area if area else 0.0, False)


def guess_by_shape(guess: ChannelGuess, look: ChannelLook) -> ChannelGuess:
    """Distinguish strain from acceleration by whether the record nearly sums to zero."""
    if look.flat:
        known = guess.role if guess.role in ("strain", "acceleration") and look.values.size else ""
        return replace(guess, role=known, doubts=(*guess.doubts, Reason("flat")))
    if guess.role in ("force", "velocity"):
        return guess
    kind = "strain" if look.one_sided >= ONE_SIDED else "acceleration"
    if not guess.role:
        return replace(guess, role=kind, reasons=(*guess.reasons, Reason("shape", look.one_sided, kind)))
    if guess.role in ("strain", "acceleration") and guess.role != kind:
        return replace(guess, doubts=(*guess.doubts, Reason("shape", look.one_sided, kind)))
    return replace(guess, reasons=(*guess.reasons, Reason("shape", look.one_sided, guess.role)))


def without_noise(guesses: list[ChannelGuess], looks: dict[int, ChannelLook]) -> list[ChannelGuess]:
    """Do not use channels that are gauges by their shape alone and far smaller than two others of their kind."""
    peaks = {one.number: looks[one.number - 1].peak for one in guesses if one.number - 1 in looks}
    kept = []
    for one in guesses:
        others = sorted(peaks[other.number] for other in guesses if other.role == one.role and other.number in peaks)
        alone = bool(one.reasons) and one.reasons[0].kind == "shape" and not is_unit_of(_unit(one), one.role)
        if alone and len(others) > 2 and peaks.get(one.number, 0.0) < SMALLEST_SHARE * others[-2]:
            one = replace(one, role="", reasons=(), doubts=(*one.doubts, Reason("small", peaks[one.number])))
        kept.append(one)
    return kept


def _unit(guess: ChannelGuess) -> str:
    return (guess.channel.unit or "") if guess.channel is not None else ""


def one_kind_of_record(guesses: list[ChannelGuess]) -> list[ChannelGuess]:
    """Use force and velocity only where there are no strains and accelerations, and one channel of each."""
    roles = [one.role for one in guesses]
    gauges = "strain" in roles and "acceleration" in roles
    seen: set[str] = set()
    kept = []
    for one in guesses:
        if one.role in ("force", "velocity"):
            if gauges:
                one = replace(one, role="", reasons=(), doubts=(*one.doubts, Reason("computed", text=one.role)))
            elif one.role in seen:
                one = replace(one, role="", doubts=(*one.doubts, Reason("second", text=one.role)))
            elif roles.count(one.role) > 1:
                one = replace(one, doubts=(*one.doubts, Reason("one of several", roles.count(one.role), one.role)))
            seen.add(one.role)
        kept.append(one)
    return kept


def first_sign(look: ChannelLook) -> float:
    """Give the sign of the first large excursion [1]."""
    return float(np.sign(look.blow[int(np.argmax(np.abs(look.blow) > 0.5 * look.peak))]))


def sum_to_peak(strain: ChannelLook, acceleration: ChannelLook) -> float:
    """Give the sum of an acceleration from before its start to the first peak of a strain [unit of the file]."""
    begin = max(0, min(strain.start, acceleration.start) - 40)
    above = np.abs(strain.blow[strain.start : strain.start + 200])
    peak = strain.start + int(above.argmax())
    return float(acceleration.blow[begin : peak + 1].sum())


def rate_in_value(name: str, values: np.ndarray) -> float | None:
    """Give the sampling rate from a single number in a file that is named as a rate or a time step [Hz]."""
    if values.size != 1 or not float(values.flat[0]) > 0.0:
        return None
    number = float(values.flat[0])
    rate = {"rate": number, "step": 1.0 / number}.get(
        next((word for word, names in _SINGLES.items() if name.lower() in names), "")
    )
    return rate if rate is not None and SAMPLE_RATE.low <= rate <= SAMPLE_RATE.high else None


def rate_in_line(line: str) -> float | None:
    """Give the sampling rate in a line above a table, from the rate or from the time step [Hz].

    Examples
    --------
    >>> rate_in_line("Rate;20 kHz"), rate_in_line("Sampling rate [Hz]: 5000"), rate_in_line("dt = 50 µs")
    (20000.0, 5000.0, 20000.0)
    """
    return next(iter(rates_in_line(line)), None)


def rates_in_line(line: str) -> list[float]:
    """Give every sampling rate in a line above a table [Hz].

    Examples
    --------
    >>> rates_in_line("strain 10 kHz; acceleration 20 kHz")
    [10000.0, 20000.0]
    """
    clauses = [one for one in re.split(r"[,;](?!\d)", line) if not _NO_RATE.search(one)]
    found = [match for one in clauses for pattern in _RATES for match in pattern.finditer(one)]
    rates = []
    for match in found:
        scale = {"k": 1e3, "m": 1e6}.get((match.groupdict().get("scale") or "").lower(), 1.0)
        value = match["value"]
        for number in (value.replace(",", "."), re.sub(r"[.,](?=\d{3}$)", "", value)):
            rate = float(number.replace(",", ".")) * scale
            if SAMPLE_RATE.low <= rate <= SAMPLE_RATE.high:
                rates.append(rate)
                break
    told = None if found else _INTERVAL.search(line)
    if told:
        step = float(told["value"].replace(",", ".")) * unit_factor(told["after"] or told["before"] or "s", "time")
        if step and SAMPLE_RATE.low <= 1.0 / step <= SAMPLE_RATE.high:
            rates.append(round(1.0 / step, 6))
    return rates
