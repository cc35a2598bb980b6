"""Characteristic and design resistance from dynamic tests after EN 1997-1:2004, Annex A.

A national annex may replace every value here, and EN 1997:2024 replaces the document where it is in force.
"""

import re
from dataclasses import dataclass

import numpy as np

from dyntest.decisions.caution import GOVERNING_SPECIFICATION
from dyntest.errors import InputError

SOURCE = "EN 1997-1:2004, Annex A, Table A.11"

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
    source: str = f"{SOURCE} and Table A.6"
    note: str = f"National annexes differ. {GOVERNING_SPECIFICATION}"


def correlation_factors(tested_piles: int, method: str = "dynamic test") -> tuple[float, float]:
    """Give ξ5 and ξ6 for a number of dynamically tested piles.

    Parameters
    ----------
    tested_piles : int
        Number of tested piles of one kind n, at least 2 [1].
    method : str
        A key of `MODEL_FACTORS`.

    Returns
    -------
    tuple of float
        ξ5 for the mean and ξ6 for the minimum, with the model factor in them [1].

    Raises
    ------
    InputError
        If fewer than two piles were tested, or the method is not in the table.

    Notes
    -----
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
        raise InputError(SOURCE, "number of tested piles", problem, f"test at least {least} piles of one kind")
    if method not in MODEL_FACTORS:
        ways = ", ".join(f'"{way}"' for way in MODEL_FACTORS)
        raise InputError(SOURCE, "method", f'"{method}" is not known', f"write one of {ways}")
    mean, minimum = CORRELATION_FACTORS[max(n for n in CORRELATION_FACTORS if n <= tested_piles)]
    return MODEL_FACTORS[method] * mean, MODEL_FACTORS[method] * minimum


def eurocode_resistance(
    measured: np.ndarray, method: str = "dynamic test", resistance_set: str = "R4"
) -> EurocodeResistance:
    """Give characteristic and design resistance from the measured resistances of similar piles.

    Parameters
    ----------
    measured : numpy.ndarray
        Measured resistance R_c;m of each tested pile, shape (n_piles,) [N].
    method : str
        A key of `MODEL_FACTORS`.
    resistance_set : str
        A key of `PARTIAL_FACTORS`; for piles R1 and R4 in design approach 1 (2.4.7.3.4.2), R2 in 2, R3 in 3.

    Returns
    -------
    EurocodeResistance
        ``R_c;k = min(mean/ξ5, minimum/ξ6)`` and ``R_c;d = R_c;k/γ_t``.

    Raises
    ------
    InputError
        If fewer than two piles were tested, a resistance is not a positive number, or a key is unknown.

    Notes
    -----
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
        raise InputError(SOURCE, "measured resistance", "a resistance is not a positive number", "leave that pile out")
    if resistance_set not in PARTIAL_FACTORS:
        sets = ", ".join(PARTIAL_FACTORS)
        raise InputError(SOURCE, "resistance set", f'"{resistance_set}" is not in Table A.6', f"write one of {sets}")
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

    Parameters
    ----------
    verification : str
        As `EXAMPLE`.
    source : str
        The file it was read from, for the message.

    Returns
    -------
    factor : float
        ``1/(ξ5 · γ_t)`` with the model factor of signal matching in ξ5 [1].
    condition : str
        What has to be done to earn it.

    Raises
    ------
    InputError
        If it is not written as `EXAMPLE`, or fewer than two piles are tested.

    Notes
    -----
    Where every pile reaches the target R at least, the mean and the minimum are R at least, and as ξ5 is never below
    ξ6, ``R_c;k = min(mean/ξ5, minimum/ξ6) ≥ R/ξ5``: the mean governs. EN 1997-1:2004, Eqs. 7.10 and 7.11.

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
