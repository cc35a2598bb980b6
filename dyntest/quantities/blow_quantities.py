"""Every quantity that the record of a blow gives by itself, for a slice of blows."""

import numpy as np

from dyntest.conditioning.condition import Conditioned
from dyntest.conditioning.drift import final_displacement
from dyntest.pile import Pile
from dyntest.quantities import case_resistance as case
from dyntest.quantities.displacement import peak_displacement
from dyntest.quantities.energy import transferred_energy
from dyntest.quantities.gauge_stress import peak_compression_stress, peak_gauge_stress
from dyntest.quantities.integrity import Integrity, integrity
from dyntest.quantities.proportionality import bending_ratio, proportionality
from dyntest.quantities.shaft_share import shaft_resistance_before_return, shaft_share
from dyntest.quantities.tension import peak_tension
from dyntest.quantities.toe_stress import toe_compression_stress


def blow_quantities(
    conditioned: Conditioned, pile: Pile, damping_factor: float, factor_for_maximum: float
) -> tuple[dict[str, np.ndarray], Integrity]:
    """Give every quantity of each blow by its name in code.

    Parameters
    ----------
    conditioned : Conditioned
        Force and velocity of the blows.
    pile : Pile
        The pile.
    damping_factor : float
        Case damping factor J [1]; not a number leaves out what needs it.
    factor_for_maximum : float
        The same for the largest resistance over time [1].

    Returns
    -------
    quantities : dict of str to numpy.ndarray
        Values by name, each of shape (n_blows,) [SI unit of the name].
    found : Integrity
        The integrity in full, for the findings.
    """
    waves = conditioned.waves
    force, velocity, step = waves.force, waves.velocity, waves.time_step
    down, up, onset, peak, back = waves.down, waves.up, waves.onset, waves.first_peak, pile.return_time
    record = (down, up, peak, back, step)
    total = case.total_resistance(*record)
    shaft = shaft_resistance_before_return(up, onset, back, step)
    tension, tension_share = peak_tension(down, up, back, step)
    found = integrity(down, up, onset, peak, back, step, pile.length)
    gauges = conditioned.gauge_strain
    nothing = np.full(len(force), np.nan)
    known = np.isfinite(factor_for_maximum)
    return {
        "peak_force": force.max(axis=1),
        "peak_velocity": velocity.max(axis=1),
        "peak_compression_stress": peak_compression_stress(force, pile.area),
        "peak_gauge_stress": nothing if gauges is None else peak_gauge_stress(gauges, pile.modulus),
        "toe_compression_stress": toe_compression_stress(*record, shaft, pile.toe_area),
        "peak_tension_stress": tension / pile.area,
        "peak_tension_depth": tension_share * pile.length,
        "transferred_energy": transferred_energy(force, velocity, step),
        "total_resistance": total,
        "case_resistance": case.case_resistance(*record, damping_factor),
        "case_resistance_maximum": case.case_resistance_maximum(*record, factor_for_maximum) if known else nothing,
        "case_resistance_toe_at_rest": case.case_resistance_toe_at_rest(*record),
        "case_resistance_unloading": case.case_resistance_unloading(*record, damping_factor),
        "shaft_share": shaft_share(shaft, total),
        "integrity_factor": found.integrity_factor,
        "integrity_depth": found.integrity_depth,
        "proportionality": proportionality(force, velocity, waves.impedance, peak),
        "bending_ratio": nothing if gauges is None else bending_ratio(gauges, peak),
        "peak_displacement": peak_displacement(velocity, step),
        "final_displacement": final_displacement(velocity, step),
    }, found
