"""Compression stress where the gauges are: the mean over the section, and the highest single gauge."""

import numpy as np


def peak_compression_stress(force: np.ndarray, area: float) -> np.ndarray:
    """Give the greatest mean compression stress at the gauges, ``max F / A``.

    Parameters
    ----------
    force : numpy.ndarray
        Force, shape (n_blows, n_samples) [N], compression positive.
    area : float
        Section at the gauges [m^2].

    Returns
    -------
    numpy.ndarray
        Stress, shape (n_blows,) [Pa], compression positive.

    Examples
    --------
    >>> peak_compression_stress(np.array([[0.0, 2e6, 1e6]]), 0.01)
    array([2.e+08])
    """
    return force.max(axis=1) / area


def peak_gauge_stress(gauge_strain: np.ndarray, modulus: float) -> np.ndarray:
    """Give the greatest compression stress at a single strain gauge, ``E max ε``, which shows bending.

    Where the driver is not in line with the pile one face is pressed more than the mean; that face is the one to
    hold against the limit. The two gauges lie on the middle of opposite faces, so a corner may see more still.

    Parameters
    ----------
    gauge_strain : numpy.ndarray
        Strain of each gauge, shape (n_blows, n_gauges, n_samples) [m/m], compression positive; not a number for a
        gauge that was left out.
    modulus : float
        Dynamic modulus E at the gauges [Pa].

    Returns
    -------
    numpy.ndarray
        Stress, shape (n_blows,) [Pa], compression positive.

    Examples
    --------
    >>> peak_gauge_stress(np.array([[[0.0, 1.2e-3], [0.0, 0.8e-3]]]), 210e9).round()
    array([2.52e+08])
    """
    return np.fmax.reduce(gauge_strain.max(axis=2), axis=1) * modulus
