"""Every check on a record in one place: to add a check is to add a function and a line here.

Channel by channel: dead, clipped, swapped sign, noise, offset, spikes, strain that stays. In pairs: bending,
accelerometers apart, a single gauge. On force and velocity: proportionality, lag, quiet part, length of the record,
time of the toe return, rest at the end, movement. On each accelerometer: drift.
"""

from dyntest.conditioning import channel_measures as channel
from dyntest.conditioning import channel_measures as pair
from dyntest.conditioning import channel_measures as spikes
from dyntest.conditioning import settling_measures as settling
from dyntest.conditioning import wave_measures as wave
from dyntest.conditioning.findings import Check

_LEAVE_OUT = "leave {who} out if it is so in most blows, and mend or replace it before the next pile"
_PERCENT = {"scale": 100.0, "digits": "{:.0f} %"}


def _channel_checks(kind: str) -> tuple[Check, ...]:
    strain = kind == "strain"
    unit = {"scale": 1e6, "digits": "{:.0f} µm/m"} if strain else {"digits": "{:.0f} m/s²"}
    shared = (
        Check(
            "dead channel",
            channel.smallest_response,
            channel.DEAD[kind],
            "below",
            "reject",
            "{who} does not respond: it moves by {value} at most, less than {limit}, in {where}",
            _LEAVE_OUT,
            **unit,
        ),
        Check(
            "dead channel",
            channel.share_of_twin,
            channel.DEAD_SHARE,
            "below",
            "reject",
            "{who} hardly responds: it moves by {value} of what its twin does, less than {limit}, in {where}",
            _LEAVE_OUT,
            scale=100.0,
            digits="{:.1f} %",
        ),
        Check(
            "clipped channel",
            channel.clipped_samples,
            channel.CLIPPED_SAMPLES - 1,
            "above",
            "reject",
            "{who} stays at its extreme value for {value} samples in a row, more than {limit}, in {where}",
            "set a wider range; a peak cut off makes force, velocity and energy too small",
            digits="{:.0f}",
        ),
        Check(
            "swapped sign",
            channel.sign,
            channel.SIGN_LIMIT,
            "below",
            "reject",
            "{who} goes the wrong way at impact (mean over mean size {value}, below {limit}) in {where}",
            "turn its sign where it is read, after a look at how the gauge was mounted and wired",
        ),
        Check(
            "noisy channel",
            channel.noise_ratio,
            channel.NOISE_LIMIT,
            "above",
            "warning",
            "{who} has noise of {value} of its largest response, above {limit}, before the impact in {where}",
            "look at cable, connector and bolt, or leave {who} out",
            scale=100.0,
            digits="{:.1f} %",
        ),
        Check(
            "offset channel",
            channel.offset_ratio,
            channel.OFFSET_LIMIT[kind],
            "above",
            "warning",
            "{who} has its zero off by {value} of its largest response, above {limit}, in {where}; it was taken off",
            "balance the gauge; a zero that moves from blow to blow means a loose gauge",
            **_PERCENT,
        ),
        Check(
            "spikes",
            spikes.spike_height,
            spikes.SPIKE_SHARE,
            "above",
            "warning",
            "{who} has spikes of up to {value} of its largest response, above {limit}, in {where}",
            "look at cable and connector; use other blows, or leave {who} out",
            **_PERCENT,
        ),
    )
    if not strain:
        return shared
    return (
        *shared,
        Check(
            "strain that stays",
            channel.staying_strain,
            channel.STAYING_LIMIT,
            "above",
            "warning",
            "{who} ends {value} of its largest strain away from zero, above {limit}, in {where}",
            "look whether the gauge slipped or its bolts are loose, or leave {who} out",
            **_PERCENT,
        ),
    )


CHANNEL_CHECKS = {kind: _channel_checks(kind) for kind in ("strain", "acceleration")}
"""Checks of one channel at a time, by kind."""

PAIR_CHECKS = {
    "strain": (
        Check(
            "bending",
            pair.apart,
            pair.BENDING_LIMIT,
            "above",
            "warning",
            "the two strain gauges differ by {value} of their sum at the first peak, above {limit}, in {where}",
            "align hammer and pile, look at both gauges, and hold the stress of the single gauge against its limit",
            **_PERCENT,
        ),
    ),
    "acceleration": (
        Check(
            "accelerometers apart",
            pair.apart,
            pair.VELOCITY_LIMIT,
            "above",
            "warning",
            "the velocities of the two accelerometers differ by {value} of their sum at the first peak, "
            "above {limit}, in {where}",
            "look at both calibrations and bolts; leave out the one whose velocity does not fit the force",
            scale=100.0,
            digits="{:.1f} %",
        ),
    ),
}
"""Checks of two channels of a kind on opposite faces against each other."""

KIND_CHECKS = {
    "strain": (
        Check(
            "single strain gauge",
            channel.gauges_on_opposite_faces,
            2,
            "below",
            "warning",
            "force stands on {value} strain gauge instead of {limit} in {where}, so bending goes into it unseen",
            "treat force, stress, energy and resistance with care; measure with two gauges on opposite faces",
            digits="{:.0f}",
        ),
        Check(
            "pairs of strain gauges apart",
            channel.pairs_apart,
            channel.PAIRS_LIMIT,
            "above",
            "warning",
            "the two pairs of strain gauges differ by {value} of the sum of their means at the first peak, above "
            "{limit}, in {where}",
            "look at the calibration and bolts of all four; leave out the one that does not fit",
            scale=100.0,
            digits="{:.1f} %",
        ),
    ),
    "acceleration": (
        Check(
            "single accelerometer",
            channel.gauges_on_opposite_faces,
            2,
            "below",
            "note",
            "velocity stands on {value} accelerometer instead of {limit} in {where}",
            "hold force against impedance times velocity at the first peak with care",
            digits="{:.0f}",
        ),
        Check(
            "pairs of accelerometers apart",
            channel.pairs_apart,
            channel.PAIRS_LIMIT,
            "above",
            "warning",
            "the mean velocities of the two pairs of accelerometers differ by {value} of their sum at the first peak, "
            "above {limit}, in {where}",
            "look at the calibration and bolts of all four; leave out the one that does not fit",
            scale=100.0,
            digits="{:.1f} %",
        ),
    ),
}
"""Checks of all channels of a kind together."""

_CALIBRATION = "look at calibrations, area, modulus and wave speed in the sheet, and at loose gauges"

RECORD_CHECKS = (
    Check(
        "proportionality",
        wave.slip_of_units,
        wave.UNIT_LIMIT,
        "above",
        "reject",
        "force and impedance times velocity differ by a factor of {value} at the first peak, above {limit}, in "
        "{where}: more than a gauge can be wrong",
        "look at the units in the headers of the table, and at area and modulus in the sheet",
    ),
    Check(
        "proportionality",
        wave.low_proportionality,
        wave.LOWEST_PROPORTIONALITY,
        "below",
        "warning",
        "force is only {value} of impedance times velocity at the first peak, below {limit}, in {where}",
        _CALIBRATION,
    ),
    Check(
        "proportionality",
        wave.high_proportionality,
        wave.HIGHEST_PROPORTIONALITY,
        "above",
        "warning",
        "force is {value} of impedance times velocity at the first peak, above {limit}, before anything can return "
        "from ground or pile, in {where}",
        _CALIBRATION,
    ),
    Check(
        "proportionality",
        wave.high_proportionality_with_shaft,
        wave.HIGHEST_WITH_SHAFT,
        "above",
        "warning",
        "force is {value} of impedance times velocity at the first peak, above {limit}, in {where}",
        _CALIBRATION + "; strong resistance just below the gauges can do the same",
    ),
    Check(
        "lag",
        wave.lag_size,
        wave.LAG_LIMIT,
        "above",
        "warning",
        "strain and acceleration are {value} apart in time on the rise, above {limit}, in {where}",
        "look at the filters and delays of the recorder; the sheet can ask for the lag to be corrected",
        scale=1e3,
        digits="{:.2f} ms",
    ),
    Check(
        "no quiet part",
        wave.quiet_time,
        wave.QUIET_LIMIT,
        "below",
        "reject",
        "only {value} before the impact is quiet, less than {limit}, in {where}: the zero lines are not known",
        "record with more time before the trigger, 5 ms or more",
        scale=1e3,
        digits="{:.1f} ms",
    ),
    Check(
        "record too short for the toe return",
        wave.returns_recorded,
        wave.RETURN_LIMIT,
        "below",
        "reject",
        "the record ends {value} times 2L/c after the first peak, before the return from the toe, in {where}",
        "record longer; no resistance can be worked out",
    ),
    Check(
        "record too short for the unloading",
        wave.unloading_recorded,
        wave.UNLOADING_LIMIT,
        "below",
        "warning",
        "the record ends {value} times 2L/c after the first peak, less than {limit}, in {where}: the unloading after "
        "the return from the toe is cut off",
        "record longer, 100 ms or more",
    ),
    Check(
        "toe return",
        wave.toe_return,
        wave.EARLY_LIMIT,
        "below",
        "warning",
        "the wave is seen back from the toe at {value} of 2L/c, earlier than {limit}, in {where}",
        "look at length and wave speed in the sheet; if they are right, the pile may be damaged above its toe",
    ),
    Check(
        "toe return",
        wave.toe_return,
        wave.LATE_LIMIT,
        "above",
        "warning",
        "the wave is seen back from the toe at {value} of 2L/c, later than {limit}, in {where}",
        "look at length and wave speed in the sheet, and for cracks that slow the wave",
    ),
    Check(
        "velocity not settling",
        settling.restlessness,
        settling.RESTLESS_LIMIT,
        "above",
        "warning",
        "the velocity still has {value} of its peak (root mean square), above {limit}, at the end in {where}",
        "record longer; displacement and set from the record are not to be trusted",
        **_PERCENT,
    ),
    Check(
        "displacement not settling",
        settling.wandering,
        settling.WANDERING_LIMIT,
        "above",
        "warning",
        "the displacement still wanders by {value} of its peak, above {limit}, at the end in {where}",
        "record longer, or look at the accelerometers; take the set from the log",
        **_PERCENT,
    ),
    Check(
        "displacement not settling",
        settling.end_over_peak,
        settling.RISING_LIMIT,
        "below",
        "warning",
        "the displacement ends at {value} of its peak, below {limit}, in {where}: above where it began",
        "look at the accelerometers; take the set from the log",
        **_PERCENT,
    ),
    Check(
        "set against record",
        settling.set_difference,
        settling.SET_LIMIT,
        "above",
        "warning",
        "the displacement at the end and the log's set differ by {value} of the peak displacement, above {limit}, in "
        "{where}: more than drift explains",
        "compare the log's counts and blow numbers with the records; look at the accelerometers; record longer if the "
        "pile was still moving",
        **_PERCENT,
    ),
    Check(
        "small movement",
        wave.movement,
        wave.MOVEMENT_LIMIT,
        "below",
        "warning",
        "the pile moved only {value}, less than {limit}, in {where}: the resistance found is a lower bound",
        "use a heavier ram or a higher stroke if the full resistance must be shown",
        scale=1e3,
        digits="{:.1f} mm",
    ),
)
"""Checks on force and velocity."""

DRIFT_CHECK = Check(
    "drift",
    settling.drift_ratio,
    settling.DRIFT_LIMIT,
    "above",
    "warning",
    "{who} drifts: its velocity was corrected by {value} of the peak velocity at the end, above {limit}, in {where}",
    "look at its mounting; use other blows or leave {who} out; take the set from the log",
    **_PERCENT,
)
"""The check on what was taken off each accelerometer."""
