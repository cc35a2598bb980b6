import numpy as np
import pytest

from dyntest.quantities.integrity import integrity

STEP, LENGTH, SPEED, SEGMENTS = 5e-5, 25.625, 5125.0, 100
"""100 segments of one time step each: the wave needs 5 ms one way."""
RISE = 24


def hammer_pulse(samples=900):
    """A front that rises over 1.2 ms and a tail that dies away over milliseconds."""
    time = np.arange(samples) - 40.0
    tail = np.exp(-np.maximum(time - RISE, 0.0) / 60.0)
    return 2.5e6 * np.where(time < RISE, np.sin(np.pi / 2 * np.clip(time / RISE, 0.0, 1.0)) ** 2, tail)


@pytest.fixture
def judge(stepped_waves):
    """Judge a pile given its impedances and its shaft; noise as a share of the peak."""

    def run(impedance, static, viscous=None, toe=(4e5, 5e4), noise=0.0, pulse=None):
        pulse = hammer_pulse() if pulse is None else pulse
        viscous = np.zeros(SEGMENTS + 1) if viscous is None else viscous
        down, up = stepped_waves(pulse, impedance, static, viscous, toe)
        rng = np.random.default_rng(2)
        down, up = (wave + noise * pulse.max() * rng.normal(size=(20, len(wave))) for wave in (down, up))
        onset, peak = np.full(20, 42), np.full(20, 40 + RISE)
        return integrity(down, up, onset, peak, 2 * LENGTH / SPEED, STEP, LENGTH)

    return run


def uniform():
    return np.full(SEGMENTS, 5e5)


def shaft(total, start=0, end=SEGMENTS):
    nodes = np.zeros(SEGMENTS + 1)
    nodes[start:end] = total / (end - start)
    return nodes


SOUND = {
    "no shaft": (shaft(0.0), shaft(0.0), (4e5, 5e4)),
    "free toe, no shaft": (shaft(0.0), shaft(0.0), (0.0, 0.0)),
    "much shaft": (shaft(1e6), shaft(2.5e5), (4e5, 5e4)),
    "shaft that comes late": (shaft(9e5, 60), shaft(2e5, 60), (1e5, 0.0)),
    "all on the toe": (shaft(1e5), shaft(2e4), (3e6, 1e5)),
}


@pytest.mark.parametrize("ground", SOUND)
@pytest.mark.parametrize("noise", [0.0, 0.005])
def test_sound_pile_reads_one(judge, ground, noise):
    static, viscous, toe = SOUND[ground]
    found = judge(uniform(), static, viscous, toe, noise)
    assert (found.integrity_factor > 0.95).all()
    assert np.isnan(found.integrity_depth).all()


@pytest.mark.parametrize("beta", [0.4, 0.6, 0.8])
@pytest.mark.parametrize("node", [30, 55])
@pytest.mark.parametrize("resistance", [0.0, 6e5])
def test_lower_part_with_less_impedance_is_found(judge, beta, node, resistance):
    impedance = uniform()
    impedance[node:] *= beta
    found = judge(impedance, shaft(resistance), noise=0.002)
    assert np.allclose(found.integrity_factor, beta, atol=0.06)
    assert np.allclose(found.integrity_depth, node / SEGMENTS * LENGTH, atol=1.0)
    assert not found.could_be_soil.any()


def test_later_break_is_found_below_an_early_rise_of_shaft(judge):
    impedance = uniform()
    impedance[70:] *= 0.3
    found = judge(impedance, shaft(5e5, 0, 40))
    assert (found.integrity_factor < 0.5).all()
    assert np.allclose(found.integrity_depth, 0.7 * LENGTH, atol=1.0)


def test_short_reduction_is_told_to_read_too_high(judge):
    """Over a fifth of the front's length the factor reads too high; that the flag must say, and only there."""
    short, lasting = uniform(), uniform()
    short[50:53] *= 0.4
    lasting[50:] *= 0.4
    assert (judge(short, shaft(3e5)).integrity_factor > 0.5).all()
    assert judge(short, shaft(3e5)).upper_bound.all()
    assert not judge(lasting, shaft(3e5), noise=0.002).upper_bound.any()
    assert not judge(uniform(), shaft(3e5)).upper_bound.any()


def test_enlarged_section_is_told_from_a_reduced_one(judge):
    """What it sends up dies away with the pulse, as after a layer with much damping."""
    impedance = uniform()
    impedance[40:] *= 1.3
    assert judge(impedance, shaft(2e5)).could_be_soil.all()


def test_layer_with_much_damping_is_told_from_a_reduced_section(judge):
    """A thin layer with damping lets the upward wave fall as the pulse dies away; that the flag must say."""
    found = judge(uniform(), shaft(0.0), shaft(1.5e5, 40, 44))
    assert (found.integrity_factor < 0.95).all()
    assert found.could_be_soil.all()


def test_nothing_is_judged_near_the_toe_or_after_the_rebound(judge):
    found = judge(uniform(), shaft(0.0), toe=(0.0, 0.0))
    assert (found.judged_depth < LENGTH).all()
    assert (found.judged_depth > 0.85 * LENGTH).all()
    short = hammer_pulse()
    short[40 + RISE + 30 :] = 0.0
    early = judge(uniform(), shaft(1e6), pulse=short)
    assert (early.judged_depth < 0.5 * LENGTH).all()
    assert (early.integrity_factor > 0.95).all()


@pytest.mark.parametrize("wrong", [0.98, 1.02])
def test_wave_speed_a_little_wrong_is_no_damage(stepped_waves, wrong):
    down, up = stepped_waves(hammer_pulse(), uniform(), shaft(3e5), shaft(5e4), (0.0, 0.0))
    back = 2 * LENGTH / SPEED * wrong
    found = integrity(down[None], up[None], np.array([42]), np.array([40 + RISE]), back, STEP, LENGTH)
    assert found.integrity_factor[0] > 0.95
