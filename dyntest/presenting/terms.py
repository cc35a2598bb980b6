"""The words of the trade, once: what each term means, which wordings it replaces, how lengths and counts are read."""

import shutil
import textwrap
from collections.abc import Sequence

from dyntest.decisions.estimate import Estimate, Pooled
from dyntest.decisions.setup import SECONDS_PER_DAY
from dyntest.names import decimal
from dyntest.units import unit_factor

TERMS = {
    "representative blow": "the blow from which the resistance of a drive is taken",
    "range": "resistances that fit a record about equally well; meant to contain the total in 95 % of cases, "
    "shaft and toe in 90 %",
    "required": "the nominal resistance that every pile must have",
    "maximum Case resistance": "the largest Case resistance of a blow over time",
    "setup": "gain of resistance after driving",
    "relaxation": "loss of resistance after driving",
    "setup factor": "resistance at restrike over resistance at the end of initial driving",
    "restrike": "driving a pile again after a wait",
    "end of driving": "the last blows of the initial drive",
    "driving criterion": "the blow count required of bearing piles at each stroke",
    "practical refusal": "so many blows that driving stops and the engineer decides",
    "lower bound": "a resistance that was not fully mobilised; the pile may have more",
    "bearing pile": "a pile that is driven to the criterion",
    "overlay": "records of several blows in one figure",
}
"""Every term and its meaning."""

NOT_WRITTEN = {
    "stands for the drive": "representative blow",
    "stand for the drive": "representative blow",
    "as likely": "range",
    "does NOT show": "below the required",
    "which it shows": "meets the required",
    "largest over time": "maximum Case resistance",
    "laid over each other": "overlay",
    "carry this for long": "do not rely on this resistance",
    "counted on": "credited",
    "count on it": "credit the measured setup",
    "While the pile waited": "setup",
    "strike production piles again": "restrike production piles",
    "strike again later": "restrike later",
    "goes on file": "report",
    "Take it along": "download",
    "no sure": "no significant",
    "chance short": "short but accepted",
    "energy it passes on": "transferred energy",
    "energy passed on": "transferred energy",
    "told apart": "separated",
    "its twin": "opposite gauge",
    "falls under": "below the minimum",
    "leaves its place": "moves off location",
    "measured straight down": "measured vertically",
    "in proportion": "interpolate",
    "knows neither": "considers neither",
    "is surer": "more reliable",
    "less kind": "errors may be larger",
    "nineteen in twenty": "95 %",
    "19 times in 20": "95 %",
    "nine times in ten": "90 %",
    "wanders": "varies",
    "this program": "dyntest",
}
"""Wordings that are not written, and what is written for them."""

COUNT_LENGTHS = {"US": (0.0254, "inch"), "SI": (0.025, "25 mm")}
"""Length over which the criterion counts blows [m], and its name, by the system of units."""


def per_count(system: str) -> str:
    """Give the length over which blows are counted.

    Examples
    --------
    >>> per_count("US"), per_count("SI")
    ('inch', '25 mm')
    """
    return COUNT_LENGTHS[system][1]


def show_count(set_per_blow: float | None, system: str, decimals: int = 1) -> str:
    """Write an average count as an inspector reads it.

    Units: set_per_blow [m].

    Examples
    --------
    >>> show_count(0.0254 / 8, "US"), show_count(0.005, "SI")
    ('8.0 blows per inch', '5.0 blows per 25 mm')
    """
    if set_per_blow is None or set_per_blow != set_per_blow:
        return "–"
    length, name = COUNT_LENGTHS[system]
    return f"{decimal(length / set_per_blow, decimals)} blows per {name}"


def bound_mark(lower_bound: object) -> str:
    """Say behind a resistance, or a change of it, that it is a lower bound; nothing where it is none.

    Examples
    --------
    >>> bound_mark(True), bound_mark(None)
    (', LOWER BOUND', '')
    """
    return ", LOWER BOUND" if lower_bound else ""


def show_blows(count: int) -> str:
    """Write how many blows there are.

    Examples
    --------
    >>> show_blows(1), show_blows(1204)
    ('1 blow', '1,204 blows')
    """
    return f"{count:,} blow{'' if count == 1 else 's'}"


def show_wait(seconds: float | None) -> str:
    """Write a wait as an engineer reads it.

    Units: seconds [s].

    Examples
    --------
    >>> show_wait(5 * SECONDS_PER_DAY), show_wait(5400.0), show_wait(None)
    ('5.0 days', '1.5 hours', '–')
    """
    if seconds is None:
        return "–"
    if seconds < 2.0 * SECONDS_PER_DAY:
        return f"{seconds / 3600.0:.1f} hours"
    return f"{seconds / SECONDS_PER_DAY:.1f} days"


def show_factor(factor: Estimate) -> str:
    """Write a setup factor with its range.

    Examples
    --------
    >>> show_factor(Estimate(1.3, 1.2, 1.4))
    '1.30 (1.20 to 1.40)'
    """
    return f"{factor.value:.2f} ({factor.low:.2f} to {factor.high:.2f})" if factor.has_range else f"{factor.value:.2f}"


def tape(length: float | None, system: str) -> str:
    """Write a depth as marks on a pile are read: to half a foot, or to a tenth of a metre.

    Units: length [m].

    Examples
    --------
    >>> tape(17.0, "US"), tape(17.04, "SI"), tape(15.24, "US")
    ('56 ft', '17.0 m', '50 ft')
    """
    if length is None or length != length:
        return "–"
    if system == "SI":
        return f"{length:.1f} m"
    feet = round(2.0 * length / unit_factor("ft", "length")) / 2.0
    return f"{feet:g} ft"


WHOLE = 1e-6
"""Share of an inch or of 25 mm by which a length may miss a whole number of them and still be it [1]."""


def short_length(length: float, system: str) -> str:
    """Write a length of some inches, or of some millimetres.

    Units: length [m].

    One that is whole in the other units is written in them, since it is measured with their tape; about how long it is
    in the reader's units stands behind it.

    Examples
    --------
    >>> short_length(0.0762, "US"), short_length(0.075, "SI")
    ('3 in', '75 mm')
    >>> short_length(0.1016, "SI"), short_length(0.1, "US")
    ('4 in (about 102 mm)', '100 mm (about 4 in)')
    """
    inch = length / unit_factor("in", "length")
    millimetres, inches = f"{1e3 * length:.0f} mm", f"{inch:.3g} in"
    counts = {name: length / long for name, (long, _) in COUNT_LENGTHS.items()}
    whole = {name: count >= 0.5 and abs(count - round(count)) < WHOLE for name, count in counts.items()}
    other = "US" if system == "SI" else "SI"
    if whole[other] and not whole[system]:
        halves = f"{round(2.0 * inch) / 2.0:g} in"
        return f"{inches} (about {millimetres})" if system == "SI" else f"{millimetres} (about {halves})"
    return millimetres if system == "SI" else inches


def show_ram(weight: float, system: str) -> str:
    """Write the weight of a ram, also where the sheet has its mass.

    Units: weight [N].

    Examples
    --------
    >>> show_ram(40034.0, "US"), show_ram(29420.0, "SI")
    ('9.00 kip', '29.4 kN')
    """
    unit, decimals = ("kip", 2) if system == "US" else ("kN", 1)
    return f"{decimal(weight / unit_factor(unit, 'force'), decimals)} {unit}"


def drive_name(name: str) -> str:
    """Give the name of a drive as it is written.

    Examples
    --------
    >>> drive_name("restrike_1")
    'restrike 1'
    """
    return name.replace("_", " ")


def of_drive(name: str) -> str:
    """Name a drive within a sentence.

    Examples
    --------
    >>> of_drive("initial"), of_drive("restrike"), of_drive("restrike_1")
    ('the initial drive', 'the restrike', 'restrike 1')
    """
    if name == "initial":
        return "the initial drive"
    return drive_name(name) if "_" in name else f"the {name}"


def names_in_sentence(names: Sequence[str]) -> str:
    """Join names as a sentence lists them.

    Examples
    --------
    >>> names_in_sentence(["initial", "restrike 1"]), names_in_sentence(["initial", "restrike 1", "restrike 2"])
    ('initial and restrike 1', 'initial, restrike 1 and restrike 2')
    """
    return " and ".join(filter(None, (", ".join(names[:-1]), *names[-1:])))


LEAST_BETWEEN = 0.005
"""Standard deviation between piles below which it would show as zero [1]."""


def between_words(found: Pooled) -> str:
    """Say how far piles differ beyond what the uncertainty of each explains; nothing for one pile.

    Examples
    --------
    >>> between_words(Pooled(2, 0.75, 0.7, 0.8, 0.0, 0.6, 0.9, 0.5))
    '; the piles differ by no more than the uncertainty of each'
    >>> between_words(Pooled(2, 0.75, 0.7, 0.8, 0.11, 0.6, 0.9, 0.5))
    ', standard deviation between piles 0.11'
    """
    if found.count == 1:
        return ""
    if found.between < LEAST_BETWEEN:
        return "; the piles differ by no more than the uncertainty of each"
    return f", standard deviation between piles {found.between:.2f}"


WIDTH, LEAST_WIDTH = 100, 60
"""Columns of a line of the terminal at most, and at least [1]; between them a line is as wide as the terminal."""


def terminal_width() -> int:
    """Give the columns of a line of the terminal [1]; the most where nobody reads it there."""
    return max(LEAST_WIDTH, min(WIDTH, shutil.get_terminal_size((WIDTH, 24)).columns))


def wrapped(text: str, first: str = "", rest: str = "  ") -> list[str]:
    """Break words into lines of the terminal, the first and the others indented as given."""
    return textwrap.wrap(text, terminal_width(), initial_indent=first, subsequent_indent=rest, break_long_words=False)
