"""How each number is computed: equation, range of validity and source, as data that pages, report and README read.

A test holds this table against the docstrings of the functions that compute the numbers.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Explanation:
    """How one number is computed.

    Parameters
    ----------
    name : str
        What it is, in words, with its symbol where it has one.
    what : str
        What is given, in a sentence.
    details : tuple of str
        Equations, validity and what to bear in mind, a paragraph each; equations stand between double backquotes.
    sources : tuple of str
        Where it comes from, a paragraph each.
    """

    name: str
    what: str
    details: tuple[str, ...]
    sources: tuple[str, ...]


EXPLANATIONS = {
    "peak_compression_stress": Explanation(
        "Peak mean compression stress at the gauges, σ_c",
        "The greatest mean compression stress at the gauges, ``max F / A``.",
        (),
        (),
    ),
    "peak_gauge_stress": Explanation(
        "Peak compression stress at a single gauge, σ_g",
        "The greatest compression stress at a single strain gauge, ``E max ε``, which shows bending.",
        (
            "Where the driver is not in line with the pile one face is pressed more than the mean; that face "
            "is the one to hold against the limit. The two gauges lie on the middle of opposite faces, so a "
            "corner may see more still.",
        ),
        (),
    ),
    "toe_compression_stress": Explanation(
        "Peak compression stress at the toe, σ_toe",
        "The greatest compression stress at the toe: what resistance is left when the shaft's is taken off.",
        (
            "``σ_toe = max over t of [W_d(t) + W_u(t + T) − R_shaft] / A_toe``; a free toe gives 0, a fixed "
            "one ``2 W_d``.",
            "The shaft resistance seen in the upward wave lacks part of the damping at the moment the peak "
            "runs down, so too little is taken off and the stress comes out high. On the six invented "
            "reference records of the tests it is 11 % to 12 % high for a pile standing on its toe and up to "
            "104 % high for one standing on its shaft. A toe that bears on one edge only, as on sloping rock, "
            "sees far more than any mean.",
            "Assumes a uniform pile, whose upward wave shows soil alone.",
        ),
        (),
    ),
    "peak_tension_stress": Explanation(
        "Peak tension stress along the pile, σ_t",
        "The greatest tension force between gauges and toe and where it acts: equation (2).",
        (
            "At depth x below the gauges the wave that goes down passed the gauges x/c earlier and the wave "
            "that comes up reaches them x/c later; with friction left out",
            "(1) ``F(x, t) = W_d(t − x/c) + W_u(t + x/c)``,",
            "and the greatest tension between gauges and toe is",
            "(2) ``−min over t2 of [W_u(t2) + min over t2 − T ≤ t3 ≤ t2 of W_d(t3)]`` at ``x = c (t2 − t3)/2``.",
            "Friction between the gauges and x makes (1) wrong by what acts on that length, either way: "
            "resistance that still pushes up adds to the tension, resistance that rebounds takes from it. The "
            "pile is taken as uniform: a joint, a reduced section or a crack carries the same force on less "
            "area. On the five sound reference records of the tests (invented piles; tension 7 to 43 MPa) (2) "
            "lies between 13 % under and 59 % over the greatest tension anywhere; where a section of the pile "
            "is reduced to half it sees 42 to 45 % of the stress there.",
            "Assumes a uniform pile without friction, its section everywhere that at the gauges.",
        ),
        ("Exact for a uniform pile without friction; (2) in this form from memory, common practice.",),
    ),
    "transferred_energy": Explanation(
        "Transferred energy, E_max",
        "The largest energy that had gone past the gauges into the pile at any time.",
        (
            "``E_max = max over t of ∫ F v dt`` from the beginning of the record, by the trapezoidal rule. In "
            "waves it is ``∫ (W_d² − W_u²)/Z dt``, which holds without friction between gauges and head.",
        ),
        (
            "The definition of ASTM D4633 and of lecture notes on dynamic testing, read at second hand; exact "
            "as physics.",
        ),
    ),
    "energy_ratio": Explanation(
        "Energy ratio, over the rated energy where one is given, η",
        "The share of the available energy that reached the gauges.",
        (),
        (),
    ),
    "stroke": Explanation(
        "Stroke of the ram, h",
        "The stroke of an open-end diesel hammer: equation (1).",
        (
            "Half of the time between two blows the ram flies up and half it falls: in free flight ``h = g "
            "T²/8``, less what the time for compression, explosion and the first upward movement costs:",
            "(1) ``h = g T²/8 − h_0``, with ``h_0 = 0.3 ft``.",
            "One set of constants is used for both systems of units: g/8 exactly (4.022 ft/s², 1.226 m/s²) and"
            " 0.3 ft = 91.44 mm. Published roundings differ by little: ``4.02 T² − 0.3 ft`` and ``1.23 T² − "
            "0.1 m`` (a public educational page, 2022); ``4.01 (60/BPM)² − 0.3 ft`` with the blows per minute,"
            " from memory, after FHWA; all within 35 mm of (1).",
            "It holds for open-end (single-acting) diesel hammers only. The ram of a closed-end diesel is "
            "thrown back by air, and that of an air, hydraulic or drop hammer waits: there the stroke must be "
            "observed.",
        ),
        (),
    ),
    "blow_rate": Explanation(
        "Blow rate, f",
        "The blow rate of each blow from the time that passed since the one before.",
        (
            "Half of the time between two blows the ram flies up and half it falls: in free flight ``h = g "
            "T²/8``, less what the time for compression, explosion and the first upward movement costs:",
            "(1) ``h = g T²/8 − h_0``, with ``h_0 = 0.3 ft``.",
            "That time holds the flight that ended in this blow, so rate and stroke belong to this blow's "
            "energy. The first blow has none before it and so no rate; nor has a blow after a pause, after a "
            "missing number, or after a clock that does not move on.",
            "One set of constants is used for both systems of units: g/8 exactly (4.022 ft/s², 1.226 m/s²) and"
            " 0.3 ft = 91.44 mm. Published roundings differ by little: ``4.02 T² − 0.3 ft`` and ``1.23 T² − "
            "0.1 m`` (a public educational page, 2022); ``4.01 (60/BPM)² − 0.3 ft`` with the blows per minute,"
            " from memory, after FHWA; all within 35 mm of (1).",
            "It holds for open-end (single-acting) diesel hammers only. The ram of a closed-end diesel is "
            "thrown back by air, and that of an air, hydraulic or drop hammer waits: there the stroke must be "
            "observed.",
        ),
        (),
    ),
    "total_resistance": Explanation(
        "Total resistance (no damping taken off), R",
        "The total resistance at the first peak, with nothing taken off for damping: equation (1), or J = 0.",
        (
            "The pile is uniform and linear, its resistance is plastic while the wave passes, and all damping "
            "acts at the toe in proportion to the toe's velocity. With ``W_d = (F + Zv)/2``, ``W_u = (F − "
            "Zv)/2`` and ``T = 2L/c``:",
            "(1) ``R(t1) = W_d(t1) + W_u(t1 + T)``, the total resistance, static and dynamic; (2) ``Z v_toe(t1"
            " + T/2) = 2 W_d(t1) − R(t1) = W_d(t1) − W_u(t1 + T)``, the velocity of the toe; (3) ``R_s(J, t1) "
            "= R − J Z v_toe = (1−J)/2 [F + Zv](t1) + (1+J)/2 [F − Zv](t1 + T)``, the static resistance.",
            "In (2) the shaft resistance drops out: it takes ``R_shaft/2`` from the wave going down and adds "
            "the same to the wave coming up. A return time that is not a whole number of samples is met by "
            "linear interpolation.",
            "All values are estimates that rest on the damping factor and on enough movement to mobilise the "
            "resistance; they do not replace signal matching, a static load test or the judgement of the "
            "engineer in charge.",
            "Assumes a uniform pile between gauges and toe.",
        ),
        (
            "Goble, Likins & Rausche (1975), *Bearing capacity of piles from dynamic measurements*, report "
            "OHIO-DOT-05-75; the forms of (1) to (3) from memory, after that report and Rausche, Goble & "
            "Likins (1985), ASCE J. Geotech. Eng. 111(3). They also follow exactly from the one-dimensional "
            "wave equation, which is how the tests check them.",
        ),
    ),
    "case_resistance": Explanation(
        "Case resistance at the first peak, R_s",
        "The static resistance at the first peak for one or many damping factors: equation (3).",
        (
            "The pile is uniform and linear, its resistance is plastic while the wave passes, and all damping "
            "acts at the toe in proportion to the toe's velocity. With ``W_d = (F + Zv)/2``, ``W_u = (F − "
            "Zv)/2`` and ``T = 2L/c``:",
            "(1) ``R(t1) = W_d(t1) + W_u(t1 + T)``, the total resistance, static and dynamic; (2) ``Z v_toe(t1"
            " + T/2) = 2 W_d(t1) − R(t1) = W_d(t1) − W_u(t1 + T)``, the velocity of the toe; (3) ``R_s(J, t1) "
            "= R − J Z v_toe = (1−J)/2 [F + Zv](t1) + (1+J)/2 [F − Zv](t1 + T)``, the static resistance.",
            "In (2) the shaft resistance drops out: it takes ``R_shaft/2`` from the wave going down and adds "
            "the same to the wave coming up. A return time that is not a whole number of samples is met by "
            "linear interpolation.",
            "All values are estimates that rest on the damping factor and on enough movement to mobilise the "
            "resistance; they do not replace signal matching, a static load test or the judgement of the "
            "engineer in charge.",
            "Assumes a uniform pile with all damping at the toe.",
        ),
        (
            "Goble, Likins & Rausche (1975), *Bearing capacity of piles from dynamic measurements*, report "
            "OHIO-DOT-05-75; the forms of (1) to (3) from memory, after that report and Rausche, Goble & "
            "Likins (1985), ASCE J. Geotech. Eng. 111(3). They also follow exactly from the one-dimensional "
            "wave equation, which is how the tests check them.",
        ),
    ),
    "case_resistance_maximum": Explanation(
        "Case resistance, largest over time, R_max",
        "The largest static resistance while t1 moves on from the first peak and T stays: the maximum of (3).",
        (
            "The pile is uniform and linear, its resistance is plastic while the wave passes, and all damping "
            "acts at the toe in proportion to the toe's velocity. With ``W_d = (F + Zv)/2``, ``W_u = (F − "
            "Zv)/2`` and ``T = 2L/c``:",
            "(1) ``R(t1) = W_d(t1) + W_u(t1 + T)``, the total resistance, static and dynamic; (2) ``Z v_toe(t1"
            " + T/2) = 2 W_d(t1) − R(t1) = W_d(t1) − W_u(t1 + T)``, the velocity of the toe; (3) ``R_s(J, t1) "
            "= R − J Z v_toe = (1−J)/2 [F + Zv](t1) + (1+J)/2 [F − Zv](t1 + T)``, the static resistance.",
            "In (2) the shaft resistance drops out: it takes ``R_shaft/2`` from the wave going down and adds "
            "the same to the wave coming up. A return time that is not a whole number of samples is met by "
            "linear interpolation.",
            "For resistance that comes late, as with a large toe quake. From memory: its damping factor is "
            "usually 0.4 or more and about 0.2 above the one that suits the first peak, so with one and the "
            "same factor it is on the high side.",
            "All values are estimates that rest on the damping factor and on enough movement to mobilise the "
            "resistance; they do not replace signal matching, a static load test or the judgement of the "
            "engineer in charge.",
            "Assumes a uniform pile with all damping at the toe; with the damping factor of the first peak it "
            "is on the high side.",
        ),
        (
            "Goble, Likins & Rausche (1975), *Bearing capacity of piles from dynamic measurements*, report "
            "OHIO-DOT-05-75; the forms of (1) to (3) from memory, after that report and Rausche, Goble & "
            "Likins (1985), ASCE J. Geotech. Eng. 111(3). They also follow exactly from the one-dimensional "
            "wave equation, which is how the tests check them.",
        ),
    ),
    "case_resistance_toe_at_rest": Explanation(
        "Case resistance when the toe is at rest, R_0",
        "The resistance at the time the toe stops, which needs no damping factor.",
        (
            "The pile is uniform and linear, its resistance is plastic while the wave passes, and all damping "
            "acts at the toe in proportion to the toe's velocity. With ``W_d = (F + Zv)/2``, ``W_u = (F − "
            "Zv)/2`` and ``T = 2L/c``:",
            "(1) ``R(t1) = W_d(t1) + W_u(t1 + T)``, the total resistance, static and dynamic; (2) ``Z v_toe(t1"
            " + T/2) = 2 W_d(t1) − R(t1) = W_d(t1) − W_u(t1 + T)``, the velocity of the toe; (3) ``R_s(J, t1) "
            "= R − J Z v_toe = (1−J)/2 [F + Zv](t1) + (1+J)/2 [F − Zv](t1 + T)``, the static resistance.",
            "In (2) the shaft resistance drops out: it takes ``R_shaft/2`` from the wave going down and adds "
            "the same to the wave coming up. A return time that is not a whole number of samples is met by "
            "linear interpolation.",
            "At the first zero of the toe's velocity (2) the damping term of (3) vanishes for every J, so the "
            "total (1) is static there; it is read at `AT_REST` of the greatest velocity, which leaves 1 % of "
            "the greatest damping in it. Damping along the shaft is not at rest then, and a shaft that already"
            " rebounds lowers the value: on the six invented reference records of the tests it is 14 % under "
            "to 14 % over the true resistance.",
            "All values are estimates that rest on the damping factor and on enough movement to mobilise the "
            "resistance; they do not replace signal matching, a static load test or the judgement of the "
            "engineer in charge.",
            "Assumes a uniform pile without damping along the shaft.",
        ),
        (
            "Goble, Likins & Rausche (1975), *Bearing capacity of piles from dynamic measurements*, report "
            "OHIO-DOT-05-75; the forms of (1) to (3) from memory, after that report and Rausche, Goble & "
            "Likins (1985), ASCE J. Geotech. Eng. 111(3). They also follow exactly from the one-dimensional "
            "wave equation, which is how the tests check them.",
        ),
    ),
    "case_resistance_unloading": Explanation(
        "Case resistance corrected for shaft unloading, R_u",
        "The static resistance at the first peak, corrected for a shaft that unloads before the toe's return.",
        (
            "The pile is uniform and linear, its resistance is plastic while the wave passes, and all damping "
            "acts at the toe in proportion to the toe's velocity. With ``W_d = (F + Zv)/2``, ``W_u = (F − "
            "Zv)/2`` and ``T = 2L/c``:",
            "(1) ``R(t1) = W_d(t1) + W_u(t1 + T)``, the total resistance, static and dynamic; (2) ``Z v_toe(t1"
            " + T/2) = 2 W_d(t1) − R(t1) = W_d(t1) − W_u(t1 + T)``, the velocity of the toe; (3) ``R_s(J, t1) "
            "= R − J Z v_toe = (1−J)/2 [F + Zv](t1) + (1+J)/2 [F − Zv](t1 + T)``, the static resistance.",
            "In (2) the shaft resistance drops out: it takes ``R_shaft/2`` from the wave going down and adds "
            "the same to the wave coming up. A return time that is not a whole number of samples is met by "
            "linear interpolation.",
            "A long pile rebounds at its top at t_u before t1 + T, so the shaft over the upper length ``c "
            "Δt/2`` with ``Δt = t1 + T − t_u`` has let go and is missing in (1). What that length held while "
            "it was loaded shows in ``F − Zv`` at t1 + Δt; half of it is added to the total before damping is "
            "taken off:",
            "(4) ``R' = R + [F − Zv](t1 + Δt)/2``, then (3) with R' in the place of R.",
            "All values are estimates that rest on the damping factor and on enough movement to mobilise the "
            "resistance; they do not replace signal matching, a static load test or the judgement of the "
            "engineer in charge.",
            "From memory, after Rausche, Goble & Likins (1985); half is a compromise, for not all of that "
            "length has let go.",
            "Assumes a uniform pile with all damping at the toe.",
        ),
        (
            "Goble, Likins & Rausche (1975), *Bearing capacity of piles from dynamic measurements*, report "
            "OHIO-DOT-05-75; the forms of (1) to (3) from memory, after that report and Rausche, Goble & "
            "Likins (1985), ASCE J. Geotech. Eng. 111(3). They also follow exactly from the one-dimensional "
            "wave equation, which is how the tests check them.",
        ),
    ),
    "damping_factor": Explanation(
        "Case damping factor, J",
        "The damping factor suggested by the soil at the toe: the middle of the range of 1996.",
        (
            "The factors are from memory, after FHWA-HI-97-013 (1996), chapter 17, which lists the ranges of "
            "1975 and narrower ones of 1996. They belong to the resistance at the first peak. They are a start"
            " only: a factor calibrated by signal matching or by a static load test on the site goes before "
            "them. The factor is not Smith's damping and has no unit; overall it reaches from about 0.1 in "
            "sand to about 1.0 in clay (UFC 3-220-20, section 6-9.2).",
        ),
        (),
    ),
    "damping_factor_maximum": Explanation(
        "Case damping factor of the largest over time, J_max",
        "The damping factor suggested by the soil at the toe: the middle of the range of 1996.",
        (
            "The factors are from memory, after FHWA-HI-97-013 (1996), chapter 17, which lists the ranges of "
            "1975 and narrower ones of 1996. They belong to the resistance at the first peak. They are a start"
            " only: a factor calibrated by signal matching or by a static load test on the site goes before "
            "them. The factor is not Smith's damping and has no unit; overall it reaches from about 0.1 in "
            "sand to about 1.0 in clay (UFC 3-220-20, section 6-9.2).",
        ),
        (),
    ),
    "shaft_share": Explanation(
        "Share of the shaft in the total resistance, before the toe return, r_s",
        "The share of the shaft in the total resistance.",
        (
            "Resistance R_i that the passing wave mobilises sends ``+R_i/2`` up, so just before the toe answers",
            "(1) ``R_shaft = F − Zv = 2 W_u``, static and dynamic, with the damping of that moment.",
            "It is an indicator: it holds the damping along the shaft, and at the moment it is read the wave "
            "has not yet mobilised the last metres above the toe. As a share of the total resistance, which "
            "holds all damping at full velocity, it is low for piles that stand on their shaft: on the six "
            "invented reference records of the tests it is 0.16 to 0.48 where the static share is 0.12 to "
            "0.80. Signal matching gives shaft and toe apart.",
            "Assumes a uniform pile, whose upward wave shows soil alone.",
        ),
        (
            "From memory, after Rausche, Goble & Likins (1985), ASCE J. Geotech. Eng. 111(3); exact for "
            "plastic resistance.",
        ),
    ),
    "integrity_factor": Explanation(
        "Integrity factor, β",
        "The lowest integrity factor along the pile and where it lies.",
        (
            "A section below which the impedance falls from Z1 to Z2 = β Z1 sends tension up before the toe "
            "can answer. The wave that reaches it has lost ``R_x/2`` to the shaft above, and its reflection "
            "adds to the ``R_x/2`` that the same shaft sends up, so with F_d the peak of the downward wave and"
            " F_u the upward wave at the reflection",
            "(1) ``F_u = R_x/2 + (β − 1)/(β + 1) · (F_d − R_x/2)``,",
            "(2) ``β = (F_d − R_x + F_u)/(F_d − F_u)``.",
            "R_x is twice the upward wave just before it falls. Form (2) follows exactly from plastic shaft "
            "resistance, which is why it stands here. The form recalled from the literature, ``(F_d − 1.5 R_x "
            "+ F_u)/(F_d − 0.5 R_x − F_u)``, takes R_x off twice in the wave that reaches the section; both "
            "give 1 for a sound pile and the same value for R_x = 0, and the recalled one is a little lower "
            "between (0.789 for 0.805 at F_d = 2000, F_u = −50, R_x = 300).",
            "The greatest fall of `up` below the highest value it had reached since the impact is searched, "
            "from the impact until the pile's top rebounds or the toe's return is near, whichever comes first.",
            "An indicator, never a measurement: Verbeek & Goble and Verbeek & Middendorp (2011) question its "
            "reliability, above all near the toe. It reads too high where the section is reduced over less "
            "than half the length of the rising front (a reduction to 0.5 over 1.5 m reads 0.83 in the tests, "
            "where the front is 9 m long; `upper_bound` says so), and it cannot judge what lies below "
            "`judged_depth`. A layer of soil with much damping, or an enlarged section, sends up a wave that "
            "dies away with the pulse: `could_be_soil` says where that alone could explain the fall. A change "
            "of section that was designed reads as damage.",
            "Assumes a pile designed to be uniform.",
        ),
        (
            "Rausche & Goble (1979), in ASTM STP 670, for the method; the recalled form and the classes from "
            "memory, after it. UFC 3-220-20, section 6-10.1: 1.0 is no damage, below 0.8 is damage.",
        ),
    ),
    "proportionality": Explanation(
        "Force over impedance times velocity at the first peak, F/Zv",
        "Force over impedance times velocity at the first peak: 1 while nothing has come back from the pile.",
        (),
        (),
    ),
    "bending_ratio": Explanation(
        "Difference of the strain gauges over their sum at the peak, b",
        "The difference of the two strain gauges over their sum at the first peak: 0 where the blow is central.",
        (),
        (),
    ),
    "peak_displacement": Explanation(
        "Peak displacement at the gauges, u_max",
        "The greatest displacement at the gauges, ``max ∫v dt``.",
        (
            "The displacement at the end of the record is `dyntest.conditioning.drift.final_displacement`, "
            "since removing the drift rests on it.",
            "Acceleration integrated twice: what is left of the drift grows with time, so the peak, some 10 ms"
            " after the impact, is surer than the end.",
        ),
        (),
    ),
    "final_displacement": Explanation(
        "Displacement at the end of the record, u_end",
        "The mean displacement during the rest at the end of the record.",
        (
            "The mean of ``∫v dt`` over the rest is one weighted sum of v: weight Δt before the rest and "
            "falling to 0 in it.",
        ),
        (),
    ),
    "matched_resistance": Explanation(
        "Resistance from signal matching, R_m",
        "Match one blow from several starts, with ranges.",
        (
            "`dyntest.wave_equation.law_fits` finds the best model under each soil law; here the law is taken "
            "and the range of resistances that explain the record about as well is put around it.",
        ),
        (),
    ),
    "setup_factor": Explanation(
        "Resistance at restrike over resistance at end of drive, k_t",
        "Hold a restrike against the end of the initial drive.",
        (
            "``k_t = R_restrike/R_initial`` for each resistance, from ``low/high`` to ``high/low``, and the cautions.",
            "The wait counts from the end of the initial drive for every restrike, also after an earlier one "
            "(common practice, no source). Resistances of zero or below give no factor.",
        ),
        (),
    ),
    "force and velocity": Explanation(
        "Force and velocity",
        "Force and velocity at the gauges from raw records, with the size of every correction.",
        (
            "A pure function of each blow alone: a slice of the blows gives the same as the same slice of the "
            "whole, so long drives can be walked in chunks that stay in the processor's cache. Averaged traces"
            " are passed on untouched.",
            "``F = E·A·mean(ε)`` and ``v = ∫mean(a) dt`` of the channels in use.",
        ),
        (),
    ),
    "trust": Explanation(
        "Trust",
        "Judge the record of one drive.",
        (
            "The answer is no where the blow that stands for the drive is rejected, where there is none, or "
            "where more than `MOST_REJECTED` of the blows are; with care where any finding is a warning, or "
            "rejects more than a few blows (`FEW_BLOWS`); else yes. Notes do not count.",
        ),
        (),
    ),
    "the blow that stands for a drive": Explanation(
        "The blow that stands for a drive",
        "The blow that stands for a drive.",
        (
            "At the end of the initial drive the resistance changes little from blow to blow, so of the last "
            "sound blows with full energy the one with the middle resistance is taken. In a restrike every "
            "blow wears off some of what the pile gained while it waited, so of the first sound blows the "
            "earliest with full energy is taken. Energy counts because a weak blow moves the pile too little "
            "to mobilise its resistance.",
            "The rules are our own, after common practice; no source. The engineer's own choice goes before them.",
        ),
        (),
    ),
    "stress limits": Explanation(
        "Stress limits",
        "Both limits of a pile, those of the test sheet first, the material's where the sheet has none.",
        (
            "The rules are those of the AASHTO LRFD Bridge Design Specifications as printed in FHWA-NHI-16-009"
            " (2016), sections 8.4.1, 8.5.1 and 8.6.1, and in UFC 3-220-20 (2025), Eqs. 6-72 to 6-75, pp. "
            "507-508. A limit on the test sheet replaces them. The governing specification decides.",
        ),
        (),
    ),
    "range of the matched resistance": Explanation(
        "Range of the matched resistance",
        "The ranges of total, shaft and toe resistance that explain the record about as well as the best model.",
        (
            "A resistance is held at a value away from the best one and everything else is fitted again. While"
            " the cost stays within a margin of its least, the record does not speak against that value. "
            "Bounds of the range lie where the margin is reached: the profile likelihood of Venzon and "
            "Moolgavkar (1988), Applied Statistics 37(1), and Raue et al. (2009), Bioinformatics 25(15) (both "
            "from memory), with the misfit that was left as the noise.",
        ),
        (),
    ),
    "load–movement curve": Explanation(
        "Load–movement curve",
        "The static load–movement curve of a matched pile.",
        (
            "From the toe upward, for every toe movement at once: ``F += soil(u)`` at a node and ``u += F Δx /"
            " EA`` along a segment; the load-transfer method of Coyle and Reese (1966), ASCE J. Soil Mech. "
            "Found. Div. 92(SM2) (from memory).",
        ),
        (),
    ),
    "resistance over time": Explanation(
        "Resistance over time",
        "Fit the time law through the initial drive and all restrikes.",
        (
            "Skov & Denver (1988), Time-dependence of bearing capacity of piles, 3rd Int. Conf. on the "
            "Application of Stress-Wave Theory to Piles, Ottawa: ``Q = Q0 [1 + A log10(t/t0)]`` for ``t ≥ "
            "t0``.",
            "``Q0`` and ``A`` by least squares in ``x = log10(max(t, t0)/t0)``. Their ranges: the extremes "
            "over all combinations of range ends of the resistances and, from three drives on, the "
            "`CONFIDENCE` interval from the scatter about the line; the wider stands.",
            "The law holds from t0 on. The end of the initial drive, at t = 0, stands for the resistance at "
            "t0, as do restrikes before t0. Two drives leave nothing to judge the fit by: then the ranges come"
            " from the resistances alone.",
        ),
        (),
    ),
    "how resistance fades in a restrike": Explanation(
        "How resistance fades in a restrike",
        "Fit how resistance changes over the first blows of a restrike.",
        ("A straight line over the few blows at hand; it must not be carried beyond them.",),
        (),
    ),
    "required resistance": Explanation(
        "Required resistance",
        "The nominal resistance every pile has to reach.",
        (
            "``R_n`` as given, or ``R_n = Q_factored / φ``, or ``R_n = Q_service · SF``; value None where none"
            " is stated.",
            "Setup is not credited here; the criterion does that, and only from a restrike that measured it.",
        ),
        (),
    ),
    "resistance at the end of driving": Explanation(
        "Resistance at the end of driving",
        "The resistance that has to be shown at the end of driving.",
        (
            "Only what a restrike of this test measured is credited, nothing of a time law. That a restrike's "
            "gain holds for other piles of the structure is the engineer's judgement.",
        ),
        (),
    ),
    "hammer": Explanation(
        "Hammer",
        "Find efficiency and cushion stiffness that reproduce a measured blow.",
        (),
        (),
    ),
    "bearing graph": Explanation(
        "Bearing graph",
        "Compute the bearing graph of a matched pile and a calibrated hammer in one run.",
        (
            "The soil is the matched one, scaled: shaft share, distribution, quakes and damping per unit of "
            "resistance stay what the test pile showed. What the graph says therefore holds for piles, soil "
            "and hammer like the test pile's.",
        ),
        (),
    ),
    "driving criterion": Explanation(
        "Driving criterion",
        "Derive the driving criterion of a test pile.",
        (
            "Derived from the calibrated bearing graph, and held against the measured blows and public formulas.",
            "The graph speaks of piles, soil and hammer like the test pile's. Needs a match; see the tests for"
            " an example.",
        ),
        (),
    ),
    "modified Gates formula": Explanation(
        "Modified Gates formula",
        "The set per blow at which the FHWA-modified Gates formula gives a resistance.",
        (
            "They know nothing of the pile, the soil or what the hammer really delivered. Never a substitute "
            "for the measurement.",
            "``s = 1/N`` with ``N = 10^((R + 100)/(1.75 √E)) / 10``, R in kips, E in ft·lb, N in blows per "
            "inch [m]; not a number where resistance or energy is not positive.",
            "The inverse of `modified_gates`, with its range of validity.",
        ),
        (),
    ),
    "bearing piles": Explanation(
        "Bearing piles",
        "Hold every pile of a production log against a criterion.",
        (
            "Its table `piles` has, in SI: ``pile``, ``penetration`` along the pile [m], ``depth`` of the toe "
            "below ground [m], ``toe_elevation`` [m], ``blows``, ``last_set`` [m] and ``last_stroke`` [m] of "
            "the last interval, ``permitted`` set at that stroke [m], ``met_at``, the penetration along the "
            "pile at which the criterion first held at or below minimum penetration [m], ``met_at_end``, "
            "``minimum_penetration_reached``, ``stroke_in_range``, ``refusal``, ``pay_length`` from toe to "
            "cutoff [m] and ``pay_length_without_tip`` [m], ``offset_at_cutoff`` of a battered pile from its "
            "plan position [m], ``status`` of `STATUSES` and ``reason``, one sentence.",
            "A pile is accepted where the criterion holds over its length at the end of driving, the toe lies "
            "at or below minimum penetration and the strokes of that length lie in the approved range; or "
            "where its last restrike showed the whole requirement as the criterion's rule for restrikes asks. "
            "Practical refusal alone does not accept a pile: the engineer does.",
        ),
        (),
    ),
    "pay length": Explanation(
        "Pay length",
        "The length along the pile from toe to cutoff.",
        (
            "Common practice, no source: driven length below cutoff, measured along the pile, is paid. The "
            "contract decides. Batter is given as horizontal run per vertical rise; 0 is a vertical pile.",
            "``(cutoff − toe) √(1 + b²) − tip`` [m]; not a number where the toe is not below the cutoff by "
            "more than the tip.",
        ),
        (),
    ),
}
"""By name in code for numbers, in words for steps that are not a single number."""
