"""Resistance factors by the way resistance is verified in the field, and the nominal resistance that they require.

Also characteristic and design resistance from dynamic tests after EN 1997-1:2004, Annex A. A national annex may replace
every value here, and EN 1997:2024 replaces the document where it is in force.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from math import ceil

from dyntest.decisions.trust import Caution
from dyntest.errors import InputError
from dyntest.names import percent
from dyntest.reading.parts import Requirement

EUROCODE = "EN 1997-1:2004, Annex A, Table A.11"

CORRELATION_FACTORS = {2: (1.60, 1.50), 5: (1.50, 1.35), 10: (1.45, 1.30), 15: (1.42, 1.25), 20: (1.40, 1.25)}
"""Number of tested piles: ξ5 on the mean and ξ6 on the minimum [1] (EN 1997-1:2004, Table A.11)."""

MODEL_FACTORS = {
    "dynamic test": 1.0,
    "dynamic test with signal matching": 0.85,
    "formula with measured head movement": 1.10,
    "formula without measured head movement": 1.20,
}
"""What ξ is multiplied by, by the way resistance was measured [1] (EN 1997-1:2004, Table A.11, footnotes)."""

PARTIAL_FACTORS = {"R1": 1.0, "R2": 1.1, "R3": 1.0, "R4": 1.3}
"""Partial factor γ_t on a driven pile's total resistance in compression, by set [1] (EN 1997-1:2004, Table A.6)."""

ROUTE = re.compile(r"EN 1997-1\s*,?\s*(\d{1,4}) tested piles?\s*,?\s*(R[1-4])", re.IGNORECASE)
EXAMPLE = "EN 1997-1, 5 tested piles, R4"
"""How a test sheet names this way to verify resistance: tested piles of one kind, and the set of partial factors."""


def correlation_factors(tested_piles: int, method: str = "dynamic test") -> tuple[float, float]:
    """Give ξ5 and ξ6 for a number of dynamically tested piles.

    EN 1997-1:2004, Table A.11. Between two columns the factors of the smaller number are used, which is on the safe
    side; above 20 piles those of 20.

    Examples
    --------
    >>> correlation_factors(5)
    (1.5, 1.35)
    >>> correlation_factors(4)
    (1.6, 1.5)
    """
    least = min(CORRELATION_FACTORS)
    if tested_piles < least:
        problem = f"{tested_piles} is fewer than the least of the table"
        raise InputError(EUROCODE, "number of tested piles", problem, f"test at least {least} piles of one kind")
    if method not in MODEL_FACTORS:
        ways = ", ".join(f'"{way}"' for way in MODEL_FACTORS)
        raise InputError(EUROCODE, "method", f'"{method}" is not known', f"write one of {ways}")
    mean, minimum = CORRELATION_FACTORS[max(n for n in CORRELATION_FACTORS if n <= tested_piles)]
    return MODEL_FACTORS[method] * mean, MODEL_FACTORS[method] * minimum


def eurocode_factor(verification: str, source: str = "test sheet") -> tuple[float, str]:
    """Give what the measured resistance is multiplied by when every pile of a group is driven to one target.

    ``1/(ξ5 · γ_t)`` with the model factor of signal matching in ξ5 [1].

    Where every pile reaches the target R at least, the mean and the minimum are R at least, and as ξ5 is never
    below ξ6, ``R_c;k = min(mean/ξ5, minimum/ξ6) ≥ R/ξ5``: the mean governs. EN 1997-1:2004, Eqs. 7.10 and 7.11.

    Examples
    --------
    >>> round(eurocode_factor("EN 1997-1, 5 tested piles, R4")[0], 4)
    0.6033
    """
    found = ROUTE.fullmatch(verification.strip())
    if found is None:
        problem = f'"{verification}" does not give the number of tested piles and a set of partial factors'
        raise InputError(source, "[choices] verification", problem, f'write such as "{EXAMPLE}"')
    tested, partial = int(found[1]), PARTIAL_FACTORS[found[2].upper()]
    mean, _ = correlation_factors(tested, "dynamic test with signal matching")
    condition = (
        f"{tested} tested piles of one kind with signal matching (ξ5 = {mean:.3f} with its model factor), "
        f"partial factor {partial:.2f} of set {found[2].upper()}; every pile driven to the target; the method "
        "checked against static load tests on comparable piles; national annexes differ"
    )
    return 1.0 / (mean * partial), condition


AASHTO = "AASHTO LRFD Table 10.5.5.2.3-1, as in FHWA-NHI-16-009 (2016), Table 7-2"

LEAST_TESTED_PILES = 2
"""Dynamic tests per site condition at the least [1], for the factor of dynamic tests on some piles (same table)."""

LEAST_TESTED_SHARE = 0.02
"""Share of the production piles tested at the least [1] (same table)."""

SHEET = "test sheet"
"""Source of what the sheet itself says."""

NOT_REDUNDANT = 0.8
"""What a resistance factor of the table is multiplied by where the group is not redundant, such as fewer than five
piles under a column [1] (from memory, after AASHTO LRFD 10.5.5.2.3)."""

DOWNDRAG_FACTOR = 1.4
"""Load factor γ_p on downdrag of driven piles [1] (from memory, after AASHTO LRFD Table 3.4.1-2, α method, the largest
there)."""

USUAL_FACTOR = 0.65
"""Resistance factor with which downdrag is taken where the sheet states neither one nor a verification [1] (dynamic
tests on some piles)."""

MATCHED_ABOVE = 0.50
"""Resistance factors above that of the wave equation without a measurement rest on tests of piles [1] (same table)."""

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
    least_tests : int
        Piles tested dynamically at the least [1], and
    least_share : float
        their least share of the production piles [1].
    restruck : bool
        Whether it rests on signal matching at a restrike.
    """

    verification: str
    value: float
    condition: str
    source: str = AASHTO
    least_tests: int = 0
    least_share: float = 0.0
    restruck: bool = False


RESISTANCE_FACTORS = {
    factor.verification: factor
    for factor in (
        ResistanceFactor(
            "static load test and dynamic tests",
            0.80,
            "a static load test on at least one pile per site condition; dynamic tests on at least two piles per "
            "site condition, no less than 2 % of the production piles",
            least_tests=LEAST_TESTED_PILES,
            least_share=LEAST_TESTED_SHARE,
            restruck=True,
        ),
        ResistanceFactor(
            "static load test", 0.75, "a static load test on at least one pile per site condition, no dynamic tests"
        ),
        ResistanceFactor(
            "dynamic tests on every pile",
            0.75,
            "dynamic tests on all production piles",
            least_tests=1,
            least_share=1.0,
            restruck=True,
        ),
        ResistanceFactor(
            "dynamic tests on some piles",
            0.65,
            "dynamic tests on at least two piles per site condition, no less than 2 % of the production piles",
            least_tests=LEAST_TESTED_PILES,
            least_share=LEAST_TESTED_SHARE,
            restruck=True,
        ),
        ResistanceFactor("wave equation", 0.50, "wave-equation analysis at the end of driving, no measurement"),
        ResistanceFactor("modified Gates formula", 0.40, "FHWA-modified Gates formula at the end of driving"),
        ResistanceFactor("Engineering News formula", 0.10, "Engineering News formula at the end of driving"),
    )
}
"""Every `ResistanceFactor` in axial compression by its verification, highest first."""

USUAL_WAY = RESISTANCE_FACTORS["dynamic tests on some piles"]
"""What a factor of the sheet itself is taken to rest on, where it says no verification."""


@dataclass(frozen=True)
class RequiredResistance:
    """The nominal resistance every pile has to reach, and how it was found.

    Parameters
    ----------
    value : float or None
        Required nominal resistance [N]; None where the sheet states none.
    basis : str
        ``"nominal"``, ``"factored"``, ``"service"`` or, where nothing is stated, empty.
    load : float
        Load or resistance it follows from [N].
    factor : float
        Resistance factor or factor of safety that was applied [1].
    source : str
        Where the factor comes from.
    cautions : tuple of Caution
        What to weigh.
    condition : str
        What has to be done to earn the resistance factor of the chosen verification; empty where none is chosen.
    additions : dict of str to float
        What a pile has to show beyond the resistance that carries its load, in `value` already [N]: ``"scour"``,
        ``"downdrag load"`` and ``"downdrag zone"``.
    least_tests, least_share : int, float
        Dynamic tests that the chosen verification requires, as `ResistanceFactor` has them [1].
    """

    value: float | None
    basis: str = ""
    load: float = float("nan")
    factor: float = 1.0
    source: str = ""
    cautions: tuple[Caution, ...] = ()
    condition: str = ""
    additions: Mapping[str, float] = field(default_factory=dict)
    least_tests: int = 0
    least_share: float = 0.0


def resistance_factor(verification: str, source: str = "test sheet") -> ResistanceFactor:
    """Look up the resistance factor of a way to verify resistance.

    Examples
    --------
    >>> resistance_factor("Dynamic tests on some piles").value
    0.65
    """
    if verification.strip().casefold().startswith("en 1997"):
        value, condition = eurocode_factor(verification, source)
        found = ROUTE.fullmatch(verification.strip())
        tested = int(found[1]) if found else 0
        return ResistanceFactor(verification.strip(), value, condition, f"{EUROCODE} and Table A.6", tested)
    known = {key.casefold(): factor for key, factor in RESISTANCE_FACTORS.items()}.get(verification.strip().casefold())
    if known is None:
        ways = ", ".join(f'"{key}"' for key in (*RESISTANCE_FACTORS, EXAMPLE))
        raise InputError(source, "[choices] verification", f'"{verification}" is not known', f"write one of {ways}")
    return known


def least_dynamic_tests(production_piles: int, least: int, share: float) -> int:
    """Give how many piles must be tested dynamically, by the least number and the least share of a `ResistanceFactor`.

    Examples
    --------
    >>> least_dynamic_tests(40, 2, 0.02), least_dynamic_tests(151, 2, 0.02), least_dynamic_tests(40, 1, 1.0)
    (2, 4, 40)
    """
    return min(production_piles, max(least, ceil(round(share * production_piles, 9))))


def required_nominal_resistance(
    requirement: Requirement, verification: str | None = None, *, source: str = "test sheet"
) -> RequiredResistance:
    """Give the nominal resistance every pile has to reach.

    ``R_n`` as given, or ``R_n = Q_factored / φ``, or ``R_n = Q_service · SF``; value None where none is stated.

    Setup is not credited here; the criterion does that, and only from a restrike that measured it.

    Examples
    --------
    >>> required_nominal_resistance(Requirement(factored_load=1.3e6), "dynamic tests on some piles").value
    2000000.0
    """
    table = None if verification is None else resistance_factor(verification, source)
    ways = [*_as_given(requirement), *_factored(requirement, table, source), *_service(requirement, source)]
    if not ways:
        return RequiredResistance(None)
    first = ways[0]
    for other in ways[1:]:
        share = other.value / first.value - 1.0 if first.value and other.value else 0.0
        if abs(share) > AGREEMENT:
            problem = f"the {other.basis} and the {first.basis} requirement differ by {percent(abs(share))}"
            raise InputError(source, "[requirement]", problem, "keep the one that governs")
    cautions = _factor_cautions(requirement, table)
    if table is None:
        return replace(first, cautions=cautions)
    least, share = table.least_tests, table.least_share
    return replace(first, cautions=cautions, condition=table.condition, least_tests=least, least_share=share)


def _as_given(requirement: Requirement) -> Iterator[RequiredResistance]:
    given = requirement.nominal_resistance
    if given is not None:
        yield RequiredResistance(given, "nominal", given, 1.0, SHEET)


def _factored(requirement: Requirement, table: ResistanceFactor | None, source: str) -> Iterator[RequiredResistance]:
    load, factor, where = requirement.factored_load, requirement.resistance_factor, SHEET
    if load is None:
        return
    if factor is None:
        if table is None:
            if requirement.nominal_resistance is not None:
                return
            cure = "write resistance_factor, or [choices] verification"
            raise InputError(source, "[requirement] factored_load", "a factored load needs a resistance factor", cure)
        factor, where = table.value, table.source
        if requirement.redundant is False:
            factor *= NOT_REDUNDANT
    if not 0.0 < factor <= 1.0:
        problem = f"{factor:g} is not a resistance factor"
        raise InputError(source, "[requirement] resistance_factor", problem, "write a number above 0 and up to 1")
    yield RequiredResistance(load / factor, "factored", load, factor, where)  # R_n = Q/φ


def _service(requirement: Requirement, source: str) -> Iterator[RequiredResistance]:
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
    yield RequiredResistance(load * factor, "service", load, factor, SHEET)  # R_n = Q·SF


def _factor_cautions(requirement: Requirement, table: ResistanceFactor | None) -> tuple[Caution, ...]:
    own = requirement.resistance_factor
    found = []
    if own is not None and table is not None and own > table.value + 1e-9:
        facts = {"verification": table.verification, "source": table.source}
        found.append(Caution("resistance factor", own, table.value, facts))
    if requirement.redundant is False and (own is not None or requirement.factored_load is None):
        found.append(Caution("not redundant", own, NOT_REDUNDANT))
    return tuple(found)


def driving_requirement(
    required: RequiredResistance,
    requirement: Requirement,
    shaft_above_scour: float | None = None,
    *,
    verification: str | None = None,
    restruck: bool = True,
    tested_piles: int = 1,
) -> RequiredResistance:
    """Give what has to be shown while driving, with scour and downdrag, and what the resistance factor still asks for.

    Units: shaft_above_scour [N]; None where no match tells it.

    ``R_ndr = R_n + R_scour + γ_p DD / φ + R_dd``: soil that scour will take, and soil that will settle, resist while
    the pile is driven, but carry nothing later; the downdrag load itself is carried by what is below. The shaft
    resistance of the settling soil is taken as the load it will hang on the pile. AASHTO LRFD 10.7.3.6 and
    10.7.3.7 (from memory).

    Examples
    --------
    >>> asked = Requirement(factored_load=1.3e6, downdrag=1e5)
    >>> first = required_nominal_resistance(asked, "dynamic tests on some piles")
    >>> round(driving_requirement(first, asked).value)
    2315385
    """
    if required.value is None:
        return required
    cautions = list(required.cautions)
    additions: dict[str, float] = {}
    if requirement.scour_depth:
        if shaft_above_scour is None:
            cautions.append(Caution("scour not known", requirement.scour_depth))
        else:
            additions["scour"] = shaft_above_scour
    factor = required.factor if required.basis == "factored" else USUAL_FACTOR
    if requirement.downdrag:
        additions["downdrag load"] = DOWNDRAG_FACTOR * requirement.downdrag / factor
        additions["downdrag zone"] = requirement.downdrag
    if additions:
        facts = {**additions, "factor": factor, "load_factor": DOWNDRAG_FACTOR, "basis": required.basis}
        cautions.append(Caution("driving resistance raised", sum(additions.values()), None, facts))
    if (
        required.basis == "factored"
        and required.factor > MATCHED_ABOVE * (NOT_REDUNDANT if requirement.redundant is False else 1.0) + 1e-9
    ):
        way = USUAL_WAY if verification is None else resistance_factor(verification)
        if way.restruck and not restruck:
            cautions.append(Caution("factor without restrike", required.factor))
        if tested_piles < way.least_tests or way.least_share == 1.0:
            facts = {"share": way.least_share, "factor": required.factor, "source": way.source}
            cautions.append(Caution("tested piles", tested_piles, way.least_tests, facts))
    value = required.value + sum(additions.values())
    return replace(required, value=value, cautions=tuple(cautions), additions=additions)
