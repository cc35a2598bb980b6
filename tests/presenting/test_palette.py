"""The colours that appear together can be told apart, also by people who confuse red and green, and in grey."""

import itertools

import numpy as np
import pytest

from dyntest.presenting import palette

# From memory, after Machado, Oliveira and Fernandes (2009), IEEE Transactions on Visualization and Computer Graphics
# 15(6), severity 1.0; each row sums to 1, since grey stays grey.
VISION = {
    "all colours": np.eye(3),
    "no red cones": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "no green cones": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
}
TOGETHER = [
    (palette.TRACES["force"][0], palette.TRACES["impedance × velocity"][0]),
    (palette.TRACES["upward wave"][0], palette.TRACES["upward wave, computed"][0]),
    tuple(palette.DRIVES.values()),
    (palette.DRIVES["initial"], palette.WARNING),
    (palette.DRIVES["restrike"], palette.WARNING),
]
APART = 25.0
"""Least distance in CIE 1976 L*a*b*; about 2.3 is just noticeable (from memory, after Mahy et al. 1994)."""
CONTRAST = 3.0
"""Least contrast of a graphical object on its ground, WCAG 2.1, success criterion 1.4.11 (from memory)."""


def linear(colour: str) -> np.ndarray:
    """Linear red, green, blue of sRGB (IEC 61966-2-1)."""
    channels = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)


def lab(rgb: np.ndarray) -> np.ndarray:
    """CIE 1976 L*a*b* of linear sRGB, white D65."""
    to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    ratio = to_xyz @ np.clip(rgb, 0, 1) / to_xyz.sum(axis=1)
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def luminance(colour: str) -> float:
    return float(np.array([0.2126, 0.7152, 0.0722]) @ linear(colour))


@pytest.mark.parametrize("vision", VISION)
@pytest.mark.parametrize("pair", TOGETHER, ids="-".join)
def test_colours_shown_together_differ(pair, vision):
    one, other = (lab(VISION[vision] @ linear(colour)) for colour in pair)
    assert np.linalg.norm(one - other) > APART


@pytest.mark.parametrize("vision", VISION)
@pytest.mark.parametrize("pair", TOGETHER, ids="-".join)
def test_colours_shown_together_differ_on_dark(pair, vision):
    one, other = (lab(VISION[vision] @ linear(palette.on("dark", colour))) for colour in pair)
    assert np.linalg.norm(one - other) > APART


def test_lines_stand_out_from_a_dark_page():
    ground = luminance(palette.GROUNDS["dark"]) + 0.05
    colours = [palette.INK, palette.QUIET, palette.ACCENT, palette.WARNING, *palette.DRIVES.values()]
    assert min((luminance(palette.on("dark", colour)) + 0.05) / ground for colour in colours) > CONTRAST


def test_red_and_green_would_fail():
    one, other = (lab(VISION["no green cones"] @ linear(colour)) for colour in ("#b03030", "#5f7a00"))
    assert np.linalg.norm(one - other) < APART


def test_lines_stand_out_from_paper():
    colours = {colour for colour, _ in palette.TRACES.values()} | {
        palette.ACCENT,
        palette.WARNING,
        palette.DRIVES["initial"],
    }
    assert {c: (1.05) / (luminance(c) + 0.05) for c in colours if 1.05 / (luminance(c) + 0.05) < CONTRAST} == {}


def test_traces_of_one_figure_differ_in_line_style():
    for names in (("force", "impedance × velocity"), ("downward wave", "upward wave", "upward wave, computed")):
        styles = [palette.TRACES[name][1] for name in names]
        assert all(a != b for a, b in itertools.combinations(styles, 2))


def test_drives_differ_in_grey():
    for ground in palette.GROUNDS:
        initial, restrike = (lab(linear(palette.on(ground, colour)))[0] for colour in palette.DRIVES.values())
        assert abs(initial - restrike) > 20
