"""How each number is computed: equation, range of validity and source, once, for pages, report and README alike.

A test holds the equations against the docstrings of the functions that compute the numbers.
"""

from dataclasses import dataclass

from dyntest.names import NAMES


@dataclass(frozen=True)
class Explanation:
    """How one number is computed, or one step is taken.

    Parameters
    ----------
    keys : tuple of str
        What it explains: names in code of numbers, or a step in words.
    what : str
        What is given, in a sentence.
    equations : tuple of str
        As the function's docstring writes them.
    validity : str
        Where it holds, and what to bear in mind.
    source : str
        Where it comes from, and how that is known.
    computed_in : str
        Module that computes it.
    typeset : str
        The equation as the report sets it, in the notation of its typesetter; empty where the report shows none.
    """

    keys: tuple[str, ...]
    what: str
    equations: tuple[str, ...]
    validity: str
    source: str
    computed_in: str
    typeset: str = ""


UNIFORM = "Exact for a pile of one section."
CASE = "After Goble, Likins & Rausche (1975), OHIO-DOT-05-75, and Rausche, Goble & Likins (1985), from memory."
CASE_LIMITS = "Assumes a uniform pile, plastic resistance, and all damping at the toe."
WAVES = "Exact for one-dimensional waves."
DEFINITION = "Definition."

TABLE = (
    Explanation(
        ("wave speed and impedance",),
        "Wave speed, impedance, and time for a wave to the toe and back.",
        (),
        "L runs from the gauges to the toe.",
        "UFC 3-220-20 (2025), Eq. 6-2.",
        "dyntest.pile",
        "c = sqrt(E / rho), quad Z = (E A) / c, quad T = (2 L) / c",
    ),
    Explanation(
        ("force and velocity", "peak_force", "peak_velocity"),
        "Force and velocity at the gauges from strain and acceleration.",
        ("F = E·A·mean(ε)", "v = ∫mean(a) dt"),
        "Averages of the gauges in use; compression and downward motion are positive.",
        WAVES,
        "dyntest.conditioning.condition",
        "F = E A overline(epsilon), quad v = integral overline(a) dif t",
    ),
    Explanation(
        ("downward and upward wave",),
        "The wave that travels down the pile, and the wave that travels up.",
        ("W_d = (F + Zv)/2", "W_u = (F − Zv)/2"),
        "Z is the impedance at the gauges.",
        WAVES,
        "dyntest.quantities.case_resistance",
        "W_d = (F + Z v) / 2, quad W_u = (F - Z v) / 2",
    ),
    Explanation(
        ("proportionality",),
        "Force over impedance times velocity at the first peak.",
        (),
        "It is 1 until reflections arrive, where gauges, wave speed and section agree.",
        WAVES,
        "dyntest.quantities.energy_and_motion",
        "F(t_1) / (Z v(t_1))",
    ),
    Explanation(
        ("bending_ratio",),
        "Difference of opposite strain gauges over their sum at the first peak.",
        (),
        "It is 0 where the blow is central.",
        DEFINITION,
        "dyntest.quantities.energy_and_motion",
        "b = abs(epsilon_1 - epsilon_2) / (epsilon_1 + epsilon_2)",
    ),
    Explanation(
        ("peak_displacement", "final_displacement"),
        "Maximum displacement at the gauges, and the displacement at the end of the record.",
        ("max ∫v dt",),
        "Errors of the acceleration grow with time, so the maximum is more reliable than the final value.",
        DEFINITION,
        "dyntest.quantities.energy_and_motion",
        "u = integral v dif t",
    ),
    Explanation(
        ("transferred_energy",),
        "Maximum energy that passed the gauges into the pile.",
        ("E_max = max over t of ∫ F v dt",),
        "By the trapezoidal rule from the beginning of the record.",
        "Definition, as in ASTM D4633 (read second-hand).",
        "dyntest.quantities.energy_and_motion",
        "E_max = max_t integral_0^t F v dif tau",
    ),
    Explanation(
        ("energy_ratio", "energy_ratio_stroke"),
        "Transferred energy over the rated energy, and over ram weight times stroke.",
        (),
        "Where no rated energy is given, the ratio is over ram weight times stroke.",
        DEFINITION,
        "dyntest.quantities.energy_and_motion",
        'eta = E_max / E_"rated", quad eta_h = E_max / (W_"ram" h)',
    ),
    Explanation(
        ("stroke", "blow_rate"),
        "Stroke of an open-end diesel hammer from the time T between two blows.",
        ("h = g T²/8 − h_0", "h_0 = 0.3 ft"),
        "Open-end diesel hammers only. For any other hammer the stroke is read from the log.",
        "Free fall; the loss h_0 after a public educational page (2022) and, from memory, FHWA.",
        "dyntest.quantities.stroke",
        'h = (g T^2) / 8 - h_0, quad h_0 = 0.3 "ft"',
    ),
    Explanation(
        ("peak_compression_stress", "peak_gauge_stress"),
        "Compression stress at the gauges, average and at the gauge that reads most.",
        ("max F / A", "E max ε"),
        "The single gauge shows bending; a corner of the pile may see more than any gauge.",
        DEFINITION,
        "dyntest.quantities.stresses",
        "sigma_c = (max F) / A, quad sigma_g = E max epsilon",
    ),
    Explanation(
        ("toe_compression_stress",),
        "Compression stress at the toe, after the shaft resistance is subtracted.",
        ("σ_toe = max over t of [W_d(t) + W_u(t + T) − R_shaft] / A_toe",),
        "Uniform pile. Always high: 11 % for a toe-bearing pile up to twice for a friction pile in the reference "
        "records. A toe on sloping rock sees more than any average.",
        WAVES,
        "dyntest.quantities.stresses",
        'sigma_"toe" = max_t [W_d (t) + W_u (t + T) - R_"shaft"] / A_"toe"',
    ),
    Explanation(
        ("peak_tension_stress", "peak_tension_depth"),
        "Maximum tension stress between gauges and toe, and its depth.",
        ("F(x, t) = W_d(t − x/c) + W_u(t + x/c)", "−min over t2 of [W_u(t2) + min over t2 − T ≤ t3 ≤ t2 of W_d(t3)]"),
        "Uniform pile without shaft resistance; between 13 % low and 59 % high in the reference records. A splice or "
        "a reduced section sees more.",
        "Exact without shaft resistance; this form from memory, common practice.",
        "dyntest.quantities.stresses",
        "sigma_t = - 1/A min_(t_2) [W_u (t_2) + min_(t_2 - T <= t_3 <= t_2) W_d (t_3)]",
    ),
    Explanation(
        ("integrity_factor", "integrity_depth"),
        "Impedance below a reflection over the impedance above it, and its depth.",
        ("β = (F_d − R_x + F_u)/(F_d − F_u)",),
        "F_d: peak of the downward wave; F_u: upward wave at the reflection; R_x: shaft resistance above. An "
        "indicator only: too high for a short reduction, and blind near the toe (Verbeek & Middendorp 2011).",
        "Rausche & Goble (1979), ASTM STP 670, in the form exact for plastic shaft resistance.",
        "dyntest.quantities.integrity",
        "beta = (F_d - R_x + F_u) / (F_d - F_u)",
    ),
    Explanation(
        ("total_resistance",),
        "Total resistance, static and dynamic, at the first peak.",
        ("R(t1) = W_d(t1) + W_u(t1 + T)",),
        "Assumes a uniform pile and plastic resistance.",
        CASE,
        "dyntest.quantities.case_resistance",
        "R = W_d (t_1) + W_u (t_1 + T)",
    ),
    Explanation(
        ("case_resistance",),
        "Static resistance by the Case method at the first peak, with the Case damping factor J.",
        ("R_s(J, t1) = R − J Z v_toe = (1−J)/2 [F + Zv](t1) + (1+J)/2 [F − Zv](t1 + T)",),
        CASE_LIMITS,
        CASE,
        "dyntest.quantities.case_resistance",
        "R_s = (1 - J) / 2 [F + Z v]_(t_1) + (1 + J) / 2 [F - Z v]_(t_1 + T)",
    ),
    Explanation(
        ("case_resistance_maximum",),
        "Maximum of the Case resistance over all times after the first peak.",
        (),
        f"{CASE_LIMITS} High with the damping factor of the first peak, which is usually about 0.2 lower.",
        CASE,
        "dyntest.quantities.case_resistance",
        "R_max = max_(t >= t_1) R_s (t)",
    ),
    Explanation(
        ("case_resistance_toe_at_rest",),
        "Case resistance at the time the toe stops, which needs no damping factor.",
        ("Z v_toe(t1 + T/2) = 2 W_d(t1) − R(t1) = W_d(t1) − W_u(t1 + T)",),
        "Low where the shaft already unloads: within 14 % in the reference records.",
        CASE,
        "dyntest.quantities.case_resistance",
        'R_0 = R (t), quad Z v_"toe" (t + T/2) = W_d (t) - W_u (t + T) = 0',
    ),
    Explanation(
        ("case_resistance_unloading",),
        "Case resistance corrected for a shaft that unloads before the toe return.",
        ("R' = R + [F − Zv](t1 + Δt)/2", "Δt = t1 + T − t_u"),
        f"For long friction piles; the gauges come to rest at t_u. {CASE_LIMITS}",
        CASE,
        "dyntest.quantities.case_resistance",
        'R_u = R_s "with" R + 1/2 [F - Z v]_(t_1 + Delta t) "for" R',
    ),
    Explanation(
        ("shaft_share",),
        "Shaft resistance just before the toe return, as a share of the total resistance, both static and dynamic.",
        ("R_shaft = F − Zv = 2 W_u",),
        "An indicator only: damping is included, and the last length above the toe is not. "
        "For the share of the static resistance, match the blow.",
        CASE,
        "dyntest.quantities.energy_and_motion",
        'R_"shaft" = 2 W_u, quad r_s = R_"shaft" / R',
    ),
    Explanation(
        ("damping_factor", "damping_factor_maximum"),
        "Case damping factor J: the engineer's, one suggested by the soil at the toe, or one from signal matching.",
        (),
        "A suggested factor is a start only; signal matching or a static load test on the site replaces it. The "
        "maximum Case resistance takes 0.2 more, and at least 0.4, unless J is the engineer's own.",
        "FHWA-HI-97-013 (1996), chapter 17, from memory.",
        "dyntest.quantities.case_resistance",
    ),
    Explanation(
        ("calibrated damping factor",),
        "Case damping factor with which the Case resistance at the first peak equals the matched resistance.",
        ("J = (R − R_known)/(Z v_toe)",),
        "Holds for the matched blow, and reads high with the maximum Case resistance.",
        "Follows from the Case method.",
        "dyntest.quantities.case_resistance",
        'J = (R - R_m) / (Z v_"toe")',
    ),
    Explanation(
        ("matched_resistance", "shaft_resistance", "toe_resistance", "misfit"),
        "Resistance of the soil model that reproduces the measured upward wave from the measured downward wave.",
        (),
        "Other soil models fit about as well; the range covers them. Shaft and toe are less certain than their sum. "
        "Blows of other energy near the representative one are matched with it. In a restrike the shaft may lose "
        "resistance from blow to blow.",
        "Wave equation after Smith (1960), ASCE J. Soil Mech. Found. Div. 86(SM4).",
        "dyntest.wave_equation.matching",
        'epsilon = 1 / (max W_d) sqrt((sum w^2 (W_(u,"computed") - W_(u,"measured"))^2) / (sum w^2))',
    ),
    Explanation(
        ("range of the matched resistance",),
        "Range of the resistances under all soil laws that the record supports, each law by its Akaike weight.",
        ("ln R ~ Σ w N(m, (a s)² + b² + (k D/R)²)",),
        "Meant to contain the true total in 95 % of cases, and true shaft and toe in 90 %. s is the fitted spread, D "
        "the part of the difference between the waves that lasts longer than noise. Factors a, b and k were measured "
        "on simulated soils outside all the laws. Errors in real soil may be larger.",
        "Burnham & Anderson (2002), Model Selection and Multimodel Inference, §2.9, from memory; a, b and k our own.",
        "dyntest.wave_equation.matching",
        "ln R tilde sum_i w_i N(m_i, (a s_i)^2 + b^2 + (k D_i \\/ R)^2)",
    ),
    Explanation(
        ("load–movement curve",),
        "Static load and movement of the matched pile, from the toe upward.",
        ("F += soil(u)", "u += F Δx / EA"),
        "Creep and further setup are not included; it does not replace a static load test.",
        "Load transfer: Coyle & Reese (1966), ASCE J. Soil Mech. Found. Div. 92(SM2), from memory.",
        "dyntest.wave_equation.match_results",
        "F_(i) = F_(i+1) + R_i (u_i), quad u_(i-1) = u_i + (F_i Delta x) / (E A)",
    ),
    Explanation(
        ("setup_factor",),
        "Resistance at restrike over resistance at the end of initial driving.",
        ("k_t = R_restrike/R_initial",),
        "By signal matching where both drives are matched, else by the Case method. Time counts from the end of the "
        "initial drive.",
        DEFINITION,
        "dyntest.decisions.setup",
        'k_t = R_"restrike" / R_"end of drive"',
    ),
    Explanation(
        ("resistance over time",),
        "Resistance against the logarithm of time since the end of the initial drive.",
        ("Q = Q0 [1 + A log10(t/t0)]",),
        "Each drive at its own time, the end of driving within the hour; the published rate of the soil is used as "
        "a prior. Two drives are not extrapolated.",
        "Skov & Denver (1988), 3rd Int. Conf. on the Application of Stress-Wave Theory to Piles, Ottawa.",
        "dyntest.decisions.time_law",
        "Q = Q_0 [1 + A log_10 (t / t_0)], quad t >= t_0",
    ),
    Explanation(
        ("resistance during a restrike",),
        "Change of resistance over the first blows of a restrike.",
        (),
        "A straight line through the sound blows; it does not hold beyond them.",
        "Theil–Sen line.",
        "dyntest.decisions.time_law",
    ),
    Explanation(
        ("modified Gates formula",),
        "Set at which the FHWA-modified Gates formula gives a resistance.",
        ("R = 1.75 √E log10(10 N) − 100",),
        "R in kips, E = ram weight × stroke in ft·lb, N in blows per inch. A sanity check only: it considers neither "
        "pile nor soil.",
        "FHWA-NHI-05-042 and AASHTO LRFD 10.7.3.8.5, from memory.",
        "dyntest.decisions.dynamic_formulas",
        "R = 1.75 sqrt(E) log_10 (10 N) - 100",
    ),
    Explanation(
        ("trust",),
        "Whether the record of a drive can be trusted.",
        (),
        "No where the representative blow is rejected, where there is none, or where many blows are rejected. With "
        "care where there is any warning.",
        "Rules of dyntest, after common practice.",
        "dyntest.decisions.trust",
    ),
    Explanation(
        ("representative blow",),
        "The blow from which the resistance of a drive is taken.",
        (),
        "Initial drive: of the last sound blows with full energy, the one with the median resistance. Restrike: the "
        "first sound blow with full energy. The engineer's own choice overrides the rule.",
        "Rules of dyntest, after common practice.",
        "dyntest.quantities.representative",
    ),
    Explanation(
        ("stress limits",),
        "Limits of the driving stresses.",
        (),
        "A limit in the test sheet replaces them. The governing specification decides.",
        "AASHTO LRFD as printed in FHWA-NHI-16-009 (2016), 8.4.1 to 8.6.1; UFC 3-220-20 (2025), Eqs. 6-72 to 6-75.",
        "dyntest.decisions.stress_limits",
    ),
    Explanation(
        ("required resistance",),
        "Nominal resistance that every pile must have.",
        ("R_n = Q_factored / φ", "R_n = Q_service · SF"),
        "As given, or from the load. Setup is not credited here.",
        "AASHTO LRFD and EN 1997-1, as named beside each factor.",
        "dyntest.decisions.resistance_factors",
    ),
    Explanation(
        ("resistance at the end of driving",),
        "Resistance required at the end of driving.",
        ("R_eod = R_n / k · max(1, t exp(z σ))",),
        "Only setup k from two matches that fit is credited. σ holds the errors of match, bearing graph and setup from "
        "pile to pile. A pile that just passes has less than t = 0.97 of the requirement in one case of ten.",
        "Rules of dyntest, after common practice.",
        "dyntest.decisions.end_of_drive_target",
    ),
    Explanation(
        ("hammer",),
        "Efficiency, cushion stiffness and gas force of a diesel that reproduce measured force, energy and impulse; "
        "the efficiency follows the stroke where strokes differ.",
        (),
        "Holds for the hammer, cushions and fuel of the test, and for strokes near the measured ones.",
        "Wave equation after Smith (1960); adiabatic gas with default pressures from memory.",
        "dyntest.wave_equation.bearing_graph",
    ),
    Explanation(
        ("bearing graph",),
        "Resistance against blow count and stress for each stroke.",
        (),
        "The matched soil is scaled; quakes and damping stay as matched.",
        "Wave equation after Smith (1960).",
        "dyntest.wave_equation.bearing_graph",
    ),
    Explanation(
        ("driving criterion",),
        "Blow count required at each stroke.",
        (),
        "Read from the bearing graph through the measured blows. Counts are whole blows over the holding length, the "
        "nearest number; between two strokes they are interpolated. Valid for piles, soil and hammer as tested.",
        "Rules of dyntest; practical refusal after UFC 3-220-20 (2025), 6-4.1.2.",
        "dyntest.decisions.driving_criterion",
    ),
    Explanation(
        ("bearing piles",),
        "Each bearing pile against the criterion.",
        (),
        "Accepted where the count holds at the end of driving, at minimum penetration, and in the approved strokes. "
        "After a wait only a restrike that showed the required resistance accepts. Refusal alone accepts no pile.",
        "Rules of dyntest, after common practice.",
        "dyntest.decisions.bearing_piles",
    ),
    Explanation(
        ("pay length",),
        "Length along the pile from toe to cutoff.",
        ("(cutoff − toe) √(1 + b²) − tip",),
        "b is the batter, horizontal run over vertical rise. The contract decides what is paid.",
        "Common practice, no source.",
        "dyntest.decisions.bearing_intervals",
    ),
)
"""Every explanation, those with an equation of the report in the order of its numbers."""

EXPLANATIONS = {key: one for one in TABLE for key in one.keys}
"""By name in code for numbers, in words for steps."""

NUMBERED = tuple(one for one in TABLE if one.typeset)
"""The equations of the report in the order of their numbers."""


def explained_name(one: Explanation) -> str:
    """Give what an explanation is called: the words and symbols of its numbers, or its step."""
    named = [f"{NAMES[key].words}, {NAMES[key].symbol}" for key in one.keys if key in NAMES]
    words = "; ".join(named) or one.keys[0]
    return f"{words[0].upper()}{words[1:]}"


def reference(key: str) -> str:
    """Say which equation of the report gives a number or a step.

    Empty where there is none.

    Examples
    --------
    >>> reference("wave speed and impedance"), reference("penetration")
    ('eq. 1', '')
    """
    one = EXPLANATIONS.get(key)
    return f"eq. {NUMBERED.index(one) + 1}" if one is not None and one.typeset else ""
