"""The whole way from raw records to force and velocity, for any slice of blows."""

from dataclasses import dataclass, replace

import numpy as np

from dyntest.conditioning.corrections import baseline, drift_at, integrate, low_pass, remove_drift
from dyntest.conditioning.gas import MOVES, SLOW_RISE, gas_before_impact
from dyntest.conditioning.impact import (
    DEMANDED_QUIET_TIME,
    first_peak,
    foot_difference,
    lag,
    main_rise,
    onset_and_quiet,
    shift,
)
from dyntest.errors import InputError
from dyntest.pile import Pile
from dyntest.signals import AveragedTraces, Signals, Waves, opposite_pairs

FEWEST_SAMPLES = 64
"""A record with fewer samples cannot hold quiet, blow and rest [1] (common practice, no source)."""

LASTS_TO_REST = 0.06
"""Time from the onset to the end of a record from which the pile is taken to have come to its set [s]; our choice:
piles of 10 to 60 m still moved by several millimetres at 40 ms in the simulated records of the tests."""

LONG_FOOT = 2.0
"""A time from the onset to the first peak beyond this multiple of the rise proper has the gas of a diesel hammer at its
foot [1]; without gas it is 0.6 to 1, with it 3 to 8, in the simulated records of the tests (our choice)."""


@dataclass(frozen=True)
class Options:
    """What the engineer may choose about conditioning.

    Parameters
    ----------
    low_pass : float or None
        Corner of the zero-phase low-pass filter [Hz]; None leaves the signals as recorded.
    align : bool
        Whether the strain is moved by the lag found.
    set_per_blow : numpy.ndarray or None
        Set of each blow from the log, shape (n_blows,) [m]; not a number where unknown. The drift then also brings the
        displacement at the end to it.
    """

    low_pass: float | None = None
    align: bool = False
    set_per_blow: np.ndarray | None = None


@dataclass(frozen=True)
class Corrections:
    """How much was corrected, for each blow. A channel left out has not-a-number.

    Parameters
    ----------
    strain_offset, strain_noise : numpy.ndarray
        Zero line taken off and noise around it, shape (n_blows, n_gauges) [m/m].
    acceleration_offset, acceleration_noise : numpy.ndarray
        Zero line taken off and noise around it, shape (n_blows, n_gauges) [m/s^2].
    gauge_velocity_drift : numpy.ndarray
        Velocity taken off at the end of the record, each accelerometer its own, shape (n_blows, n_gauges) [m/s].
    velocity_drift, displacement_drift : numpy.ndarray
        What was taken off the mean velocity and its displacement at the end of the record, shape (n_blows,) [m/s, m].
    velocity_drift_at_peak : numpy.ndarray
        What was taken off the mean velocity at the first peak, shape (n_blows,) [m/s].
    lag : numpy.ndarray
        Time by which the strain comes later than the acceleration, as found, shape (n_blows,) [s].
    quiet_samples : numpy.ndarray
        Samples before the blow that gave the zero lines, shape (n_blows,) [1].
    aligned : bool
        Whether the strain was moved by the lag.
    low_pass : float or None
        Corner of the filter that ran [Hz].
    gas_force : numpy.ndarray or None
        Force of the gas of a diesel hammer where the record begins, which was not taken for zero, shape (n_blows,) [N].
    """

    strain_offset: np.ndarray
    strain_noise: np.ndarray
    acceleration_offset: np.ndarray
    acceleration_noise: np.ndarray
    gauge_velocity_drift: np.ndarray
    velocity_drift: np.ndarray
    displacement_drift: np.ndarray
    velocity_drift_at_peak: np.ndarray
    lag: np.ndarray
    quiet_samples: np.ndarray
    aligned: bool
    low_pass: float | None
    gas_force: np.ndarray | None = None


@dataclass(frozen=True)
class Conditioned:
    """Force and velocity, what each gauge says, and what was corrected.

    Parameters
    ----------
    waves : Waves
        Force and velocity at the gauges with onset and first peak.
    gauge_strain : numpy.ndarray or None
        Strain of each gauge in use, shape (n_blows, n_in_use, n_samples) [m/m], compression positive; None for
        averaged traces.
    gauge_velocity : numpy.ndarray or None
        Velocity of each accelerometer in use, same shape [m/s], downward positive; None for averaged traces.
    corrections : Corrections
        Size of every correction.
    strain_pairs : tuple of (int, int)
        Places in `gauge_strain` of gauges in use on opposite faces [1].
    """

    waves: Waves
    gauge_strain: np.ndarray | None
    gauge_velocity: np.ndarray | None
    corrections: Corrections
    strain_pairs: tuple[tuple[int, int], ...] = ()


def channels_in_use(signals: Signals) -> tuple[list[int], list[int]]:
    """Give which strain gauges and which accelerometers are not left out.

    Examples
    --------
    >>> record = Signals("a.csv", np.array([1]), np.arange(2.0), np.zeros((1, 2, 2)), np.zeros((1, 2, 2)),
    ...                  left_out=frozenset({"strain_2"}))
    >>> channels_in_use(record)
    ([0], [0, 1])
    """
    names = (*signals.strain_names, *signals.acceleration_names)
    for name in sorted(signals.left_out):
        if name not in names:
            raise InputError(
                signals.source, "leave_out", f'"{name}" is no channel of this record', f"name one of {', '.join(names)}"
            )
    in_use = []
    for kind, channels in (("strain gauges", signals.strain_names), ("accelerometers", signals.acceleration_names)):
        kept = [i for i, name in enumerate(channels) if name not in signals.left_out]
        if not kept:
            raise InputError(signals.source, "leave_out", f"all {kind} are left out", "keep at least one of them")
        in_use.append(kept)
    return in_use[0], in_use[1]


def complete_pairs(kept: list[int]) -> list[tuple[int, int]]:
    """Give the pairs on opposite faces of which both gauges are in use, by their places among those in use.

    Examples
    --------
    >>> complete_pairs([0, 1]), complete_pairs([0, 2, 3]), complete_pairs([1])
    ([(0, 1)], [(1, 2)], [])
    """
    pairs = opposite_pairs(max(kept) + 1)
    return [(kept.index(p[0]), kept.index(p[1])) for p in pairs if len(p) == 2 and set(p) <= set(kept)]


def _mean(traces: np.ndarray, kept: list[int]) -> tuple[np.ndarray, list[int]]:
    """Give the mean over the section, and the places of the gauges it is of: complete pairs, or all where none is.

    A gauge whose twin on the opposite face is left out would bring bending into the mean of the others.
    """
    used = [place for pair in complete_pairs(kept) for place in pair] or list(range(len(kept)))
    whole = len(used) == len(kept)
    return (traces if whole else traces[:, used]).mean(axis=1), used


def _spread(values: np.ndarray, kept: list[int], n_gauges: int) -> np.ndarray:
    """Values of the channels in use put into columns for all, not-a-number for one left out."""
    columns = np.full((len(values), n_gauges), np.nan)
    columns[:, kept] = values
    return columns


def _before_return(begins: np.ndarray, peak: np.ndarray, pile: Pile, time_step: float) -> np.ndarray:
    """Give the first peak, or the return from the toe of a short pile where that comes before it."""
    return np.minimum(peak, begins + int(pile.return_time / time_step))


def _checked_set(signals: Signals | AveragedTraces, set_per_blow: np.ndarray | None) -> np.ndarray | None:
    if set_per_blow is None:
        return None
    values = np.asarray(set_per_blow, dtype=float)
    if values.shape != (signals.n_blows,):
        raise InputError(
            signals.source,
            "set per blow",
            f"{values.size} values came for {signals.n_blows} blows",
            "give one set for each blow",
        )
    return values


def _where_it_rests(
    known_set: np.ndarray | None, begins: np.ndarray, signals: Signals | AveragedTraces
) -> np.ndarray | None:
    """Give the sets of the blows whose records last until the pile rests; a shorter one must not be bent to its set."""
    if known_set is None:
        return None
    lasts = (len(signals.time) - 1 - begins) * signals.time_step
    return np.where(lasts >= LASTS_TO_REST, known_set, np.nan)


def _check_samples(signals: Signals | AveragedTraces, *traces: np.ndarray) -> None:
    """Refuse what no blow can be read from: hardly any samples, or numbers that are none."""
    n_samples = len(signals.time)
    if n_samples < FEWEST_SAMPLES:
        raise InputError(
            signals.source,
            "time [s]",
            f"a record of {n_samples} samples is too short for a blow",
            f"give at least {FEWEST_SAMPLES} samples a blow",
        )
    for trace in traces:
        with np.errstate(invalid="ignore", over="ignore"):
            bad = ~np.isfinite(trace.reshape(signals.n_blows, -1).sum(axis=1))
        if bad.any():
            raise InputError(
                signals.source,
                f"blow {signals.blow[bad.argmax()]}",
                "a sample is missing or not a finite number",
                "mend the record or take the blow out",
            )


def condition(signals: Signals | AveragedTraces, pile: Pile, options: Options | None = None) -> Conditioned:
    """Give force and velocity at the gauges from raw records, with the size of every correction.

    A pure function of each blow alone: a slice of the blows gives the same as the same slice of the whole, so long
    drives can be walked in chunks that stay in the processor's cache. Averaged traces are passed on untouched.

    Parameters
    ----------
    signals : Signals or AveragedTraces
        Raw records, or force and velocity where only those exist.
    pile : Pile
        Its modulus, area and impedance at the gauges are used.
    options : Options or None
        What the engineer chose; None for the defaults.

    Returns
    -------
    Conditioned
        Force, velocity, onset and first peak, each gauge's own, and the corrections.

    Raises
    ------
    InputError
        If the filter does not fit the sampling, a channel left out does not exist, a sample is no finite number or
        there are fewer than `FEWEST_SAMPLES`.

    Notes
    -----
    ``F = E·A·mean(ε)`` and ``v = ∫mean(a) dt``. The means are of the gauges in use whose twin on the opposite face is
    in use too, so that bending leaves them; where there is no such pair, of all in use.

    Examples
    --------
    >>> from dyntest.pile import PilePart
    >>> pile = Pile("example", "steel", (PilePart(15.0, 0.01, 210e9, 7850.0),))
    >>> time = np.arange(2000) * 50e-6
    >>> rise = np.where((time > 5e-3) & (time < 9e-3), np.sin(np.pi * (time - 5e-3) / 4e-3) ** 2, 0.0)
    >>> slope = np.gradient(rise, 50e-6) * pile.wave_speed
    >>> record = Signals("example", np.array([1]), time, np.tile(1e-3 * rise, (1, 2, 1)),
    ...                  np.tile(1e-3 * slope, (1, 2, 1)))
    >>> waves = condition(record, pile).waves
    >>> round(float(waves.force.max()) / 1e3), round(float(waves.velocity.max()), 2)
    (2100, 5.17)
    """
    options = Options() if options is None else options
    if isinstance(signals, AveragedTraces):
        return _pass_on(signals, pile)
    strain_kept, acceleration_kept = channels_in_use(signals)
    known_set = _checked_set(signals, options.set_per_blow)
    strain = signals.strain if not signals.left_out else signals.strain[:, strain_kept]
    acceleration = signals.acceleration if not signals.left_out else signals.acceleration[:, acceleration_kept]
    _check_samples(signals, strain, acceleration)
    time_step = signals.time_step
    if options.low_pass is not None:
        strain = low_pass(strain, time_step, options.low_pass, signals.source)
        acceleration = low_pass(acceleration, time_step, options.low_pass, signals.source)

    start = max(2, round(DEMANDED_QUIET_TIME / time_step))
    size = np.abs(strain - strain[..., :start].mean(axis=-1, keepdims=True)).sum(axis=1)
    begins, quiet, foot = onset_and_quiet(size, time_step)
    strain_offset, strain_noise = baseline(strain, quiet)
    acceleration_offset, acceleration_noise = baseline(acceleration, quiet)
    impedance, stiffness = pile.impedance, pile.modulus * pile.area
    load = stiffness * _mean(strain, strain_kept)[0]
    gas, at_start = gas_before_impact(load, begins, foot * time_step > SLOW_RISE, time_step)
    blown = at_start > 0.0
    if blown.any():
        by_window, _ = baseline(strain, begins + 1)
        strain_offset = np.where(blown[:, None], by_window - (gas / stiffness)[:, None], strain_offset)
    strain = strain - strain_offset[..., None]
    velocity = integrate(acceleration - acceleration_offset[..., None], time_step)
    if blown.any():  # the pile already moves where the record begins
        velocity += (MOVES * at_start / impedance)[:, None, None]
    velocity, drift = remove_drift(velocity, begins, time_step, _where_it_rests(known_set, begins, signals))

    mean_strain, averaged = _mean(strain, strain_kept)
    force = stiffness * mean_strain
    mean_velocity, moving = _mean(velocity, acceleration_kept)
    noise = 0.5 * stiffness * np.sqrt(np.square(strain_noise[:, averaged]).sum(axis=1)) / len(averaged)
    waves = Waves(signals.blow, signals.time, force, mean_velocity, impedance, begins, begins, pile.return_time)
    peak = first_peak(waves.down, begins, noise)
    rise = np.ceil(main_rise(waves.down, begins, peak)).astype(int)
    impact = np.where(peak - begins > LONG_FOOT * rise, peak - rise, begins)  # gas is no part of the impact
    waves = replace(waves, onset=impact)
    foot = np.where(impact > begins, foot_difference(force, mean_velocity, impedance, impact, peak), 0.0)
    risen = _before_return(impact, peak, pile, time_step)
    lags = lag(force - foot[:, None], mean_velocity, impedance, impact, risen, time_step)
    if options.align:
        move = np.nan_to_num(lags) / time_step
        strain = shift(strain, move)
        waves = replace(waves, force=stiffness * _mean(strain, strain_kept)[0])
        peak = first_peak(waves.down, begins, noise)

    n_samples = len(signals.time)
    drift_end, displacement_end = drift_at(drift, (n_samples - 1 - begins) * time_step)
    drift_peak, _ = drift_at(drift, (peak - begins) * time_step)
    n_strain, n_acceleration = len(signals.strain_names), len(signals.acceleration_names)
    corrections = Corrections(
        strain_offset=_spread(strain_offset, strain_kept, n_strain),
        strain_noise=_spread(strain_noise, strain_kept, n_strain),
        acceleration_offset=_spread(acceleration_offset, acceleration_kept, n_acceleration),
        acceleration_noise=_spread(acceleration_noise, acceleration_kept, n_acceleration),
        gauge_velocity_drift=_spread(drift_end, acceleration_kept, n_acceleration),
        velocity_drift=drift_end[:, moving].mean(axis=1),
        displacement_drift=displacement_end[:, moving].mean(axis=1),
        velocity_drift_at_peak=drift_peak[:, moving].mean(axis=1),
        lag=lags,
        quiet_samples=quiet,
        aligned=options.align,
        low_pass=options.low_pass,
        gas_force=at_start,
    )
    return Conditioned(
        replace(waves, first_peak=peak), strain, velocity, corrections, tuple(complete_pairs(strain_kept))
    )


def _pass_on(traces: AveragedTraces, pile: Pile) -> Conditioned:
    """Averaged traces as they are: only onset, first peak and lag are found from them."""
    _check_samples(traces, traces.force, traces.velocity)
    begins, quiet, _ = onset_and_quiet(np.abs(traces.force), traces.time_step)
    impedance = pile.impedance
    waves = Waves(traces.blow, traces.time, traces.force, traces.velocity, impedance, begins, begins, pile.return_time)
    peak = first_peak(waves.down, begins)
    risen = _before_return(begins, peak, pile, traces.time_step)
    none, pair = np.zeros(traces.n_blows), np.zeros((traces.n_blows, 2))
    corrections = Corrections(
        strain_offset=pair,
        strain_noise=pair,
        acceleration_offset=pair,
        acceleration_noise=pair,
        gauge_velocity_drift=pair,
        velocity_drift=none,
        displacement_drift=none,
        velocity_drift_at_peak=none,
        lag=lag(traces.force, traces.velocity, impedance, begins, risen, traces.time_step),
        quiet_samples=quiet,
        aligned=False,
        low_pass=None,
    )
    return Conditioned(replace(waves, first_peak=peak), None, None, corrections)
