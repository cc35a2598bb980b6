"""Every check on a record in one place: to add a check is to add a function and a line here.

Channel by channel: dead, clipped, swapped sign, noise, offset, spikes, strain that stays. In pairs on opposite faces:
bending, accelerometers apart. Of a kind together: a single gauge, pairs apart. On force and velocity: proportionality,
lag, quiet part, length of the record, time of the toe return, rest at the end, movement. On each accelerometer: drift.
`dyntest.presenting.finding_words` says each in a sentence.
"""

from dyntest.conditioning import channel_measures as channel
from dyntest.conditioning import settling_measures as settling
from dyntest.conditioning import wave_measures as wave
from dyntest.conditioning.findings import Check
from dyntest.conditioning.gas import LEAST_GAS


def _channel_checks(kind: str) -> tuple[Check, ...]:
    shared = (
        Check("dead channel", channel.smallest_response, channel.DEAD[kind], "below", "reject", kind),
        Check("dead channel", channel.share_of_twin, channel.DEAD_SHARE, "below", "reject", "share of twin"),
        Check("clipped channel", channel.clipped_samples, channel.CLIPPED_SAMPLES - 1, "above", "reject"),
        Check("swapped sign", channel.sign, channel.SIGN_LIMIT, "below", "reject"),
        Check("noisy channel", channel.noise_ratio, channel.NOISE_LIMIT, "above", "warning"),
        Check("offset channel", channel.offset_ratio, channel.OFFSET_LIMIT[kind], "above", "warning"),
        Check("spikes", channel.spike_height, channel.SPIKE_SHARE, "above", "warning"),
    )
    if kind == "acceleration":
        return shared
    return (*shared, Check("strain that stays", channel.staying_strain, channel.STAYING_LIMIT, "above", "warning"))


CHANNEL_CHECKS = {kind: _channel_checks(kind) for kind in ("strain", "acceleration")}
"""Checks of one channel at a time, by kind."""

PAIR_CHECKS = {
    "strain": (Check("bending", channel.apart, channel.BENDING_LIMIT, "above", "warning"),),
    "acceleration": (Check("accelerometers apart", channel.apart, channel.VELOCITY_LIMIT, "above", "warning"),),
}
"""Checks of two channels of a kind on opposite faces against each other."""

_GAUGES, _PAIRS = channel.gauges_on_opposite_faces, channel.pairs_apart

KIND_CHECKS = {
    "strain": (
        Check("single strain gauge", _GAUGES, 2, "below", "warning"),
        Check("pairs of strain gauges apart", _PAIRS, channel.PAIRS_LIMIT, "above", "warning"),
    ),
    "acceleration": (
        Check("single accelerometer", _GAUGES, 2, "below", "note"),
        Check("pairs of accelerometers apart", _PAIRS, channel.PAIRS_LIMIT, "above", "warning"),
    ),
}
"""Checks of all channels of a kind together."""

_SHAFT = (wave.high_proportionality_with_shaft, wave.HIGHEST_WITH_SHAFT)

RECORD_CHECKS = (
    Check("proportionality", wave.slip_of_units, wave.UNIT_LIMIT, "above", "reject", "unit"),
    Check("proportionality", wave.low_proportionality, wave.LOWEST_PROPORTIONALITY, "below", "warning", "low"),
    Check("proportionality", wave.high_proportionality, wave.HIGHEST_PROPORTIONALITY, "above", "warning", "high"),
    Check("proportionality", *_SHAFT, "above", "warning", "high with shaft"),
    Check("lag", wave.lag_size, wave.LAG_LIMIT, "above", "warning"),
    Check("no quiet part", wave.quiet_time, wave.QUIET_LIMIT, "below", "reject"),
    Check("gas before impact", wave.gas_share, LEAST_GAS, "above", "note"),
    Check("record too short for the toe return", wave.returns_recorded, wave.RETURN_LIMIT, "below", "reject"),
    Check("record too short for the unloading", wave.unloading_recorded, wave.UNLOADING_LIMIT, "below", "warning"),
    Check("toe return", wave.toe_return, wave.EARLY_LIMIT, "below", "warning", "early"),
    Check("toe return", wave.toe_return, wave.LATE_LIMIT, "above", "warning", "late"),
    Check("toe return", wave.slip_of_length, 0.0, "above", "warning", "unit of length"),
    Check("velocity not settling", settling.restlessness, settling.RESTLESS_LIMIT, "above", "warning"),
    Check("displacement not settling", settling.wandering, settling.WANDERING_LIMIT, "above", "warning", "wandering"),
    Check("displacement not settling", settling.end_over_peak, settling.RISING_LIMIT, "below", "warning", "rising"),
    Check("set against record", settling.set_difference, settling.SET_LIMIT, "above", "warning"),
    Check("small movement", wave.movement, wave.MOVEMENT_LIMIT, "below", "warning"),
)
"""Checks on force and velocity."""

DRIFT_CHECK = Check("drift", settling.drift_ratio, settling.DRIFT_LIMIT, "above", "warning")
"""The check on what was taken off each accelerometer."""
