"""How each number is computed, in the words of the function that computes it: nothing is told twice.

Equation, range of validity and source stand in the docstring of the function or of its module; pages and report show
them from there.
"""

import inspect
import re
from dataclasses import dataclass
from functools import cache
from importlib import import_module

from dyntest.names import NAMES
from dyntest.quantities.assumptions import ASSUMES_UNIFORM

COMPUTED_BY = {
    "peak_compression_stress": "quantities.gauge_stress",
    "peak_gauge_stress": "quantities.gauge_stress",
    "toe_compression_stress": "quantities.toe_stress",
    "peak_tension_stress": "quantities.tension:peak_tension",
    "transferred_energy": "quantities.energy",
    "energy_ratio": "quantities.energy",
    "stroke": "quantities.stroke:stroke_from_blow_rate",
    "blow_rate": "quantities.stroke",
    "total_resistance": "quantities.case_resistance",
    "case_resistance": "quantities.case_resistance",
    "case_resistance_maximum": "quantities.case_resistance",
    "case_resistance_toe_at_rest": "quantities.case_resistance",
    "case_resistance_unloading": "quantities.case_resistance",
    "damping_factor": "quantities.damping_by_soil:suggested_damping",
    "damping_factor_maximum": "quantities.damping_by_soil:suggested_damping",
    "shaft_share": "quantities.shaft_share",
    "integrity_factor": "quantities.integrity:integrity",
    "proportionality": "quantities.proportionality",
    "bending_ratio": "quantities.proportionality",
    "peak_displacement": "quantities.displacement",
    "final_displacement": "conditioning.drift",
    "matched_resistance": "wave_equation.matching:match_blow",
    "setup_factor": "decisions.setup:compare",
}
"""Module, and the function in it where it is called otherwise, by the number's name in code."""

STEPS = {
    "force and velocity": "conditioning.condition:condition",
    "trust": "decisions.trust:trust",
    "the blow that stands for a drive": "quantities.representative:choose_blow",
    "stress limits": "decisions.stress_limits:driving_stress_limits",
    "range of the matched resistance": "wave_equation.profile:profile",
    "load–movement curve": "wave_equation.load_movement:load_movement",
    "resistance over time": "decisions.time_law:fit_time_law",
    "how resistance fades in a restrike": "decisions.restrike_fade:restrike_fade",
    "required resistance": "decisions.resistance_factors:required_nominal_resistance",
    "resistance at the end of driving": "decisions.end_of_drive_target:end_of_drive_target",
    "hammer": "wave_equation.hammer_calibration:calibrate_hammer",
    "bearing graph": "wave_equation.bearing_graph:bearing_graph",
    "driving criterion": "decisions.driving_criterion:driving_criterion",
    "modified Gates formula": "decisions.dynamic_formulas:modified_gates_set",
    "bearing piles": "decisions.bearing_piles:check_bearing_piles",
    "pay length": "decisions.pay_length:pay_length",
}
"""Steps that are not a single number, by what they give."""

_SHAPE = re.compile(r",? (?:each of )?shape \([^)]*\)(?: or \([^)]*\))?")
"""How arrays are laid out, which is of no use to a reader of a page."""

_RULED = re.compile(r"^(\S[^\n]*)\n-+$", re.MULTILINE)


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


@cache
def explained(name: str) -> Explanation:
    """Give how a number or a step is computed.

    Parameters
    ----------
    name : str
        A key of `COMPUTED_BY` or of `STEPS`.

    Returns
    -------
    Explanation
        From the docstrings of the function and its module.

    Examples
    --------
    >>> explained("transferred_energy").details[0].split(" from")[0]
    '``E_max = max over t of ∫ F v dt``'
    """
    path = COMPUTED_BY.get(name) or STEPS[name]
    module_name, _, function_name = path.partition(":")
    module = import_module(f"dyntest.{module_name}")
    function, around = _parts(getattr(module, function_name or name)), _parts(module)
    summary, *extended = function[""]
    given = [text for text in function.get("Returns", ()) if "``" in text]  # an equation, not only a type
    details = [*around[""][1:], *extended, *given, *around.get("Notes", ())]
    details += function.get("Notes", ())
    if name in ASSUMES_UNIFORM:
        details.append(f"Assumes {ASSUMES_UNIFORM[name]}.")
    sources = (*function.get("References", ()), *around.get("References", ()))
    what = summary.removeprefix("Give ")
    return Explanation(_called(name), what[0].upper() + what[1:], tuple(dict.fromkeys(details)), sources)


def _called(name: str) -> str:
    if name not in NAMES:
        return f"{name[0].upper()}{name[1:]}"
    words = NAMES[name].words
    return f"{words[0].upper()}{words[1:]}, {NAMES[name].symbol}"


def _parts(documented: object) -> dict[str, list[str]]:
    """Give the paragraphs of a docstring by the heading above them; those before any heading under an empty one."""
    pieces = _RULED.split(inspect.getdoc(documented) or "")
    sections = dict(zip(["", *pieces[1::2]], [pieces[0], *pieces[2::2]], strict=True))
    if "Returns" in sections:  # the type on its first line says nothing to a reader
        indented = [line.strip() for line in sections["Returns"].splitlines() if line.startswith(" ")]
        sections["Returns"] = _SHAPE.sub("", " ".join(indented))
    return {name: _paragraphs(text) for name, text in sections.items()}


def _paragraphs(text: str) -> list[str]:
    found = [" ".join(part.split()) for part in text.split("\n\n")]
    return [part for part in found if part and not part.startswith(">>>")]
