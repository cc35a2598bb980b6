"""Resistance factors by the way resistance is verified in the field, and the nominal resistance that asks for."""

from dataclasses import dataclass
from math import ceil

from dyntest.decisions.caution import GOVERNING_SPECIFICATION, Caution
from dyntest.decisions.eurocode import EXAMPLE, eurocode_factor
from dyntest.decisions.eurocode import SOURCE as EUROCODE
from dyntest.errors import InputError
from dyntest.names import show
from dyntest.reading.sheet_parts import Requirement

SOURCE = "AASHTO LRFD Table 10.5.5.2.3-1, as in FHWA-NHI-16-009 (2016), Table 7-2"

LEAST_TESTED_PILES = 2
"""Dynamic tests per site condition at the least [1], for the factor of dynamic tests on some piles (same table)."""

LEAST_TESTED_SHARE = 0.02
"""Share of the production piles tested at the least [1] (same table)."""

AGREEMENT = 0.01
"""Two ways of stating the requirement on one sheet may differ by this share [1], for rounding; no source."""


@dataclass(frozen=True)
class ResistanceFactor:
    """The resistance factor of one way to verify resistance in axial compression.

    Parameters
    ----------
    verification : str
        The way, in words; what a test sheet writes.
    value : float
        Resistance factor φ_dyn [1].
    condition : str
        What has to be done to earn it.
    source : str
        Document and table.
    note : str
        Who decides.
    """

    verification: str
    value: float
    condition: str
    source: str = SOURCE
    note: str = GOVERNING_SPECIFICATION


RESISTANCE_FACTORS = {
    factor.verification: factor
    for factor in (
        ResistanceFactor(
            "static load test and dynamic tests",
            0.80,
            "a static load test on at least one pile per site condition and dynamic tests on at least two piles per "
            "site condition, no less than 2 % of the production piles",
        ),
        ResistanceFactor(
            "static load test", 0.75, "a static load test on at least one pile per site condition, no dynamic tests"
        ),
        ResistanceFactor("dynamic tests on every pile", 0.75, "dynamic tests on all production piles"),
        ResistanceFactor(
            "dynamic tests on some piles",
            0.65,
            "dynamic tests on at least two piles per site condition, no less than 2 % of the production piles",
        ),
        ResistanceFactor("wave equation", 0.50, "wave-equation analysis at the end of driving, no measurement"),
        ResistanceFactor("modified Gates formula", 0.40, "FHWA-modified Gates formula at the end of driving"),
        ResistanceFactor("Engineering News formula", 0.10, "Engineering News formula at the end of driving"),
    )
}
"""Every `ResistanceFactor` in axial compression by its verification, highest first."""


@dataclass(frozen=True)
class RequiredResistance:
    """The nominal resistance every pile has to reach, and how it was found.

    Parameters
    ----------
    value : float or None
        Required nominal resistance [N]; None where the sheet states none.
    how : str
        How it was found, in one sentence with numbers and units.
    source : str
        Where the factor comes from.
    cautions : tuple of Caution
        What to weigh.
    condition : str
        What has to be done to earn the resistance factor of the chosen verification; empty where none is chosen.
    note : str
        Who decides.
    """

    value: float | None
    how: str
    source: str
    cautions: tuple[Caution, ...] = ()
    condition: str = ""
    note: str = GOVERNING_SPECIFICATION


def resistance_factor(verification: str, source: str = "test sheet") -> ResistanceFactor:
    """Look up the resistance factor of a way to verify resistance.

    Parameters
    ----------
    verification : str
        A key of `RESISTANCE_FACTORS`, or the way of EN 1997-1 such as "EN 1997-1, 5 tested piles, R4"; case and spaces
        at the ends do not matter.
    source : str
        The file it was read from, for the message.

    Returns
    -------
    ResistanceFactor
        The factor with its condition and source.

    Raises
    ------
    InputError
        If there is no such way in the table.

    Examples
    --------
    >>> resistance_factor("Dynamic tests on some piles").value
    0.65
    """
    if verification.strip().casefold().startswith("en 1997"):
        value, condition = eurocode_factor(verification, source)
        return ResistanceFactor(verification.strip(), value, condition, f"{EUROCODE} and Table A.6")
    found = {key.casefold(): factor for key, factor in RESISTANCE_FACTORS.items()}.get(verification.strip().casefold())
    if found is None:
        ways = ", ".join(f'"{key}"' for key in (*RESISTANCE_FACTORS, EXAMPLE))
        raise InputError(source, "[choices] verification", f'"{verification}" is not known', f"write one of {ways}")
    return found


def least_dynamic_tests(production_piles: int) -> int:
    """Give how many piles of one site condition must be tested dynamically at the least.

    Parameters
    ----------
    production_piles : int
        Number of production piles of that site condition [1].

    Returns
    -------
    int
        The larger of two and 2 % of them, rounded up, but not more than there are [1].

    Notes
    -----
    AASHTO LRFD Table 10.5.5.2.3-1, as in FHWA-NHI-16-009 (2016), Table 7-2.

    Examples
    --------
    >>> least_dynamic_tests(40), least_dynamic_tests(151)
    (2, 4)
    """
    return min(production_piles, max(LEAST_TESTED_PILES, ceil(round(LEAST_TESTED_SHARE * production_piles, 9))))


def required_nominal_resistance(
    requirement: Requirement, verification: str | None = None, *, system: str = "SI", source: str = "test sheet"
) -> RequiredResistance:
    """Give the nominal resistance every pile has to reach.

    Parameters
    ----------
    requirement : Requirement
        The sheet's requirement.
    verification : str or None
        The way resistance is verified, as in `resistance_factor`; it gives the factor where the sheet has a
        factored load and no factor of its own.
    system : str
        ``"SI"`` or ``"US"``, the units of the sentences.
    source : str
        The sheet, for messages.

    Returns
    -------
    RequiredResistance
        ``R_n`` as given, or ``R_n = Q_factored / φ``, or ``R_n = Q_service · SF``; value None where none is stated.

    Raises
    ------
    InputError
        If a load stands without its factor, if a factor is not positive, if the verification is not known, or if two
        statements of one sheet differ by more than `AGREEMENT`.

    Notes
    -----
    Setup is not credited here; the criterion does that, and only from a restrike that measured it.

    Examples
    --------
    >>> required_nominal_resistance(Requirement(factored_load=1.3e6), "dynamic tests on some piles").how
    'factored load 1,300 kN over resistance factor 0.65'
    """
    table = None if verification is None else resistance_factor(verification, source)
    ways = [*_as_given(requirement, system), *_factored(requirement, table, system, source)]
    ways += _service(requirement, system, source)
    if not ways:
        return RequiredResistance(None, "no requirement is stated", "")
    value, how, where = ways[0]
    for other, other_how, _ in ways[1:]:
        if abs(other - value) > AGREEMENT * value:
            both = f"{how} gives {show('total_resistance', value, system)}"
            both += f", but {other_how} gives {show('total_resistance', other, system)}"
            raise InputError(source, "[requirement]", both, "keep the one that governs")
    condition = "" if table is None else table.condition
    return RequiredResistance(value, how, where, _factor_cautions(requirement, table), condition)


def _as_given(requirement: Requirement, system: str):
    given = requirement.nominal_resistance
    if given is not None:
        yield given, f"nominal resistance {show('total_resistance', given, system)} as given", "test sheet"


def _factored(requirement: Requirement, table: ResistanceFactor | None, system: str, source: str):
    load, factor, where = requirement.factored_load, requirement.resistance_factor, "test sheet"
    if load is None:
        return
    if factor is None:
        if table is None:
            if requirement.nominal_resistance is not None:
                return
            cure = "write resistance_factor, or [choices] verification"
            raise InputError(source, "[requirement] factored_load", "a factored load needs a resistance factor", cure)
        factor, where = table.value, table.source
    if not 0.0 < factor <= 1.0:
        problem = f"{factor:g} is not a resistance factor"
        raise InputError(source, "[requirement] resistance_factor", problem, "write a number above 0 and up to 1")
    shown = show("total_resistance", load, system)
    yield load / factor, f"factored load {shown} over resistance factor {factor:.2f}", where  # R_n = Q/φ


def _service(requirement: Requirement, system: str, source: str):
    load, factor = requirement.service_load, requirement.safety_factor
    if load is None:
        return
    if factor is None:
        if requirement.nominal_resistance is not None:
            return
        problem = "a service load needs a safety factor"
        raise InputError(source, "[requirement] service_load", problem, "write safety_factor, such as 2.25")
    if factor < 1.0:
        problem = f"{factor:g} is below 1"
        raise InputError(source, "[requirement] safety_factor", problem, "write the safety factor, such as 2.25")
    yield (
        load * factor,
        f"service load {show('total_resistance', load, system)} times safety factor {factor:.2f}",
        ("test sheet"),
    )  # R_n = Q·SF


def _factor_cautions(requirement: Requirement, table: ResistanceFactor | None) -> tuple[Caution, ...]:
    own = requirement.resistance_factor
    if own is None or table is None or own <= table.value + 1e-9:
        return ()
    message = (
        f"the sheet's resistance factor {own:.2f} is higher than {table.value:.2f}, the factor of "
        f'"{table.verification}" in {table.source}'
    )
    return (Caution("resistance factor", message, "confirm it with the governing specification", own, table.value),)
