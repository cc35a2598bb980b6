"""Characteristic and design resistance from dynamic tests after EN 1997-1:2004, Annex A.

A national annex may replace every value here, and EN 1997:2024 replaces the document where it is in force.

Resistance factors by the way resistance is verified in the field, and the nominal resistance that asks for.
"""

import re
from dataclasses import dataclass
from math import ceil

import numpy as np

from dyntest.decisions.caution import GOVERNING_SPECIFICATION, Caution
from dyntest.errors import InputError
from dyntest.names import show
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


@dataclass(frozen=True)
class EurocodeResistance:
    """Characteristic and design resistance in compression of a group of similar piles.

    Parameters
    ----------
    tested_piles : int
        Number of tested piles [1].
    mean_factor, minimum_factor : float
        ξ5 and ξ6 with the model factor in them [1].
    characteristic : float
        Characteristic resistance R_c;k [N].
    governed_by : str
        ``"mean"`` or ``"minimum"``.
    partial_factor : float
        γ_t [1].
    design : float
        Design resistance R_c;d [N].
    source : str
        Document and tables.
    note : str
        Who decides.
    """

    tested_piles: int
    mean_factor: float
    minimum_factor: float
    characteristic: float
    governed_by: str
    partial_factor: float
    design: float
    source: str = f"{EUROCODE} and Table A.6"
    note: str = f"National annexes differ. {GOVERNING_SPECIFICATION}"


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
        problem = f"{tested_piles} is fewer than the table begins with"
        raise InputError(EUROCODE, "number of tested piles", problem, f"test at least {least} piles of one kind")
    if method not in MODEL_FACTORS:
        ways = ", ".join(f'"{way}"' for way in MODEL_FACTORS)
        raise InputError(EUROCODE, "method", f'"{method}" is not known', f"write one of {ways}")
    mean, minimum = CORRELATION_FACTORS[max(n for n in CORRELATION_FACTORS if n <= tested_piles)]
    return MODEL_FACTORS[method] * mean, MODEL_FACTORS[method] * minimum


def eurocode_resistance(
    measured: np.ndarray, method: str = "dynamic test", resistance_set: str = "R4"
) -> EurocodeResistance:
    """Give characteristic and design resistance from the measured resistances of similar piles.

    Units: measured [N].

    ``R_c;k = min(mean/ξ5, minimum/ξ6)`` and ``R_c;d = R_c;k/γ_t``.

    EN 1997-1:2004, 7.6.2.4, Eqs. 7.10 and 7.11. It asks that the dynamic test has been checked against static load
    tests on comparable piles in similar ground.

    Examples
    --------
    >>> result = eurocode_resistance(np.array([1.8e6, 2.0e6]))
    >>> round(result.characteristic), result.governed_by, round(result.design)
    (1187500, 'mean', 913462)
    """
    measured = np.asarray(measured, dtype=float)
    if measured.size and not (np.isfinite(measured) & (measured > 0.0)).all():
        raise InputError(
            EUROCODE, "measured resistance", "a resistance is not a positive number", "leave that pile out"
        )
    if resistance_set not in PARTIAL_FACTORS:
        sets = ", ".join(PARTIAL_FACTORS)
        raise InputError(EUROCODE, "resistance set", f'"{resistance_set}" is not in Table A.6', f"write one of {sets}")
    mean_factor, minimum_factor = correlation_factors(measured.size, method)
    from_mean, from_minimum = measured.mean() / mean_factor, measured.min() / minimum_factor
    characteristic = float(min(from_mean, from_minimum))  # Eq. 7.11
    partial = PARTIAL_FACTORS[resistance_set]
    governed = "mean" if from_mean <= from_minimum else "minimum"
    return EurocodeResistance(
        measured.size, mean_factor, minimum_factor, characteristic, governed, partial, characteristic / partial
    )  # Eq. 7.10


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
        problem = f'"{verification}" does not name tested piles and a set of partial factors'
        raise InputError(source, "[choices] verification", problem, f'write such as "{EXAMPLE}"')
    tested, partial = int(found[1]), PARTIAL_FACTORS[found[2].upper()]
    mean, _ = correlation_factors(tested, "dynamic test with signal matching")
    condition = (
        f"{tested} tested piles of one kind with signal matching (ξ5 = {mean:.3f} with its model factor), "
        f"partial factor {partial:.2f} of set {found[2].upper()}, every pile driven to the target, and the method "
        "checked against static load tests on comparable piles; national annexes differ"
    )
    return 1.0 / (mean * partial), condition


AASHTO = "AASHTO LRFD Table 10.5.5.2.3-1, as in FHWA-NHI-16-009 (2016), Table 7-2"

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
    source: str = AASHTO
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

    ``R_n`` as given, or ``R_n = Q_factored / φ``, or ``R_n = Q_service · SF``; value None where none is stated.

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
