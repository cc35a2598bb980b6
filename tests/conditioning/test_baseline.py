import numpy as np

from dyntest.conditioning.corrections import baseline


def test_each_blow_uses_its_own_quiet_part():
    rng = np.random.default_rng(0)
    channels = rng.standard_normal((3, 2, 500)) + np.array([5.0, -3.0])[:, None]
    quiet = np.array([100, 400, 7])
    channels[0, :, 100:] += 1e6  # nothing after the quiet part may count
    channels[2, :, 7:] += 1e6
    offset, noise = baseline(channels, quiet)
    for blow, count in enumerate(quiet):
        np.testing.assert_allclose(offset[blow], channels[blow, :, :count].mean(axis=-1), rtol=1e-12)
        np.testing.assert_allclose(noise[blow], channels[blow, :, :count].std(axis=-1), rtol=1e-9)


def test_without_a_quiet_part_nothing_is_taken_off():
    offset, noise = baseline(np.full((2, 1, 50), 9.0), np.array([1, 0]))
    assert (offset == 0).all()
    assert np.isnan(noise).all()
