"""The equations of the report: their order, what they give, and where they come from; their signs are typeset apart."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Equation:
    """One equation of the report.

    Parameters
    ----------
    key : str
        Its name in the template.
    words : str
        What it gives and what its letters are.
    source : str
        Where it comes from.
    numbers : tuple of str
        Names in code of the numbers it gives.
    """

    key: str
    words: str
    source: str
    numbers: tuple[str, ...] = ()


_WAVES = "exact for one-dimensional waves"
_CASE = "from memory, after Rausche, Goble & Likins (1985), ASCE J. Geotech. Eng. 111(3); exact for damping at the toe"

EQUATIONS = (
    Equation("pile", "wave speed, impedance, and time for the wave to the toe and back, from gauges to toe",
             "UFC 3-220-20 (2025), Eq. 6-2"),
    Equation("gauges", "force and velocity from two strains and two accelerations; compression and downward positive",
             _WAVES, ("peak_force", "peak_velocity")),
    Equation("waves", "downward and upward wave", _WAVES),
    Equation("proportionality", "1 before any reflection, where gauges, wave speed and section agree", _WAVES,
             ("proportionality",)),
    Equation("bending", "difference of the two strains at the peak", "definition", ("bending_ratio",)),
    Equation("energy", "greatest energy that passed the gauges", "definition", ("transferred_energy",)),
    Equation("energy_ratio", "over rated energy, and over ram weight times stroke", "definition",
             ("energy_ratio", "energy_ratio_stroke")),
    Equation("stroke", "open-end diesel hammers only, from the time T_b between blows",
             "free flight; loss h_0 from a public educational page (2022) and, from memory, FHWA", ("stroke",)),
    Equation("stress", "mean stress at the gauges, and at the single gauge that saw most", "definition",
             ("peak_compression_stress", "peak_gauge_stress")),
    Equation("toe_stress", "uniform pile", _WAVES, ("toe_compression_stress",)),
    Equation("tension", "greatest tension along a uniform pile without friction", _WAVES,
             ("peak_tension_stress", "peak_tension_depth")),
    Equation("integrity", "impedance left below a reflection F_u that comes before the toe's; R_x: shaft above it",
             "Rausche & Goble (1979), ASTM STP 670, in the form exact for plastic shaft resistance; an indicator only",
             ("integrity_factor", "integrity_depth")),
    Equation("total", "static and dynamic resistance", _CASE, ("total_resistance",)),
    Equation("case", "static resistance with Case damping factor J at the first peak t_1", _CASE, ("case_resistance",)),
    Equation("maximum", "the largest while t_1 moves on; on the high side with the J of the first peak", _CASE,
             ("case_resistance_maximum",)),
    Equation("toe_at_rest", "when the toe stops, so that no damping factor is needed", _CASE,
             ("case_resistance_toe_at_rest",)),
    Equation("unloading", "for the upper shaft that lets go before the toe's return; Δt = t_1 + T − t_u, with the "
             "gauges at rest at t_u", _CASE, ("case_resistance_unloading",)),
    Equation("shaft", "just before the toe's return, damping included", _CASE, ("shaft_share",)),
    Equation("displacement", "largest and last", "definition", ("peak_displacement", "final_displacement")),
    Equation("misfit", "weighted difference of upward waves under the measured downward one", "definition",
             ("matched_resistance", "shaft_resistance", "toe_resistance", "misfit")),
    Equation("calibrated", "Case damping factor with which eq. R_s gives the matched resistance", _CASE),
    Equation("load_movement", "static load and movement from the toe upward, node by node; R_i: matched soil at a node",
             "load transfer, Coyle & Reese (1966), ASCE J. Soil Mech. Found. Div. 92(SM2) (from memory)"),
    Equation("setup", "by matching where both drives are matched, else by the Case method", "definition",
             ("setup_factor",)),
    Equation("time_law", "resistance against time since the end of the initial drive",
             "Skov & Denver (1988), 3rd Int. Conf. on the Application of Stress-Wave Theory to Piles, Ottawa"),
    Equation("gates", "FHWA-modified Gates formula, a sanity check: kips, ram weight × stroke E_h in ft·lb, N in blows "
             "per inch", "from memory, after FHWA-NHI-05-042 and AASHTO LRFD 10.7.3.8.5"),
)  # fmt: skip
"""Every equation in the order of its number."""

_NUMBER = {code: place for place, equation in enumerate(EQUATIONS, 1) for code in equation.numbers}
_PLACE = {equation.key: place for place, equation in enumerate(EQUATIONS, 1)}


def reference(code: str) -> str:
    """Say which equation gives a number.

    Such as ``"eq. 6"``; empty where the number is read and not computed.

    Examples
    --------
    >>> reference("transferred_energy"), reference("penetration")
    ('eq. 6', '')
    """
    place = _NUMBER.get(code, _PLACE.get(code))
    return "" if place is None else f"eq. {place}"
