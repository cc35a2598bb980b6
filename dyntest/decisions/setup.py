"""What changed while the pile waited: resistance at a restrike over resistance at the end of the initial drive."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from dyntest.decisions.caution import Caution
from dyntest.decisions.drive_result import DriveResult
from dyntest.decisions.estimate import Estimate, ratio
from dyntest.decisions.setup_cautions import setup_cautions
from dyntest.decisions.waits import wait

RESISTANCES = ("matched_resistance", "case_resistance", "shaft_resistance", "toe_resistance")
"""What is compared; the first that both drives have is the setup factor."""


@dataclass(frozen=True)
class Setup:
    """A restrike held against the end of the initial drive.

    Parameters
    ----------
    initial, restrike : str
        Names of the drives.
    wait : float or None
        Time from the end of the initial drive to the start of the restrike [s]; None where a clock is not given.
    factors : dict of str to Estimate
        Ratio restrike over initial [1] by the name of the resistance, for those that both drives have.
    cautions : tuple of Caution
        What to weigh before counting on it.
    """

    initial: str
    restrike: str
    wait: float | None
    factors: dict[str, Estimate]
    cautions: tuple[Caution, ...]

    @property
    def basis(self) -> str | None:
        """Name of the resistance the setup factor rests on: total resistance from matching, else the Case method."""
        return next((name for name in RESISTANCES[:2] if name in self.factors), None)

    @property
    def setup_factor(self) -> Estimate | None:
        """Setup factor with its range; None where the drives share no total resistance."""
        return None if self.basis is None else self.factors[self.basis]


def compare(
    initial: DriveResult, restrike: DriveResult, *, soil: str | None = None, system: str = "SI", source="test sheet"
) -> Setup:
    """Hold a restrike against the end of the initial drive.

    Parameters
    ----------
    initial, restrike : DriveResult
        The two drives.
    soil : str or None
        Soil along the shaft, ``"sand"``, ``"silt"`` or ``"clay"``, for what is usual there.
    system : str
        ``"SI"`` or ``"US"``, the units of the sentences.
    source : str
        The sheet, for messages.

    Returns
    -------
    Setup
        ``k_t = R_restrike/R_initial`` for each resistance, from ``low/high`` to ``high/low``, and the cautions.

    Raises
    ------
    InputError
        If the clocks contradict each other.

    Notes
    -----
    The wait counts from the end of the initial drive for every restrike, also after an earlier one (common practice,
    no source). Resistances of zero or below give no factor.

    Examples
    --------
    >>> from dyntest.reading.sheet_parts import Drive
    >>> start = DriveResult(Drive("initial", "initial", ()), matched_resistance=Estimate(1.0e6, 0.9e6, 1.1e6))
    >>> later = DriveResult(Drive("restrike", "restrike", ()), matched_resistance=Estimate(1.4e6, 1.3e6, 1.5e6))
    >>> compare(start, later).setup_factor.value
    1.4
    """
    waited = wait(initial.drive.end, restrike.drive.start, source)
    pairs = {name: ratio(getattr(restrike, name), getattr(initial, name)) for name in RESISTANCES}
    factors = {name: factor for name, factor in pairs.items() if factor is not None}
    setup = Setup(initial.drive.name, restrike.drive.name, waited, factors, ())
    cautions = setup_cautions(initial, restrike, setup.setup_factor, waited, soil=soil, system=system)
    return replace(setup, cautions=cautions)


def setups(
    drives: Sequence[DriveResult], *, soil: str | None = None, system: str = "SI", source: str = "test sheet"
) -> tuple[Setup, ...]:
    """Hold every restrike against the initial drive.

    Parameters
    ----------
    drives : sequence of DriveResult
        All drives of the pile in their order; where the initial drive was interrupted, its last part counts.
    soil : str or None
        Soil along the shaft.
    system : str
        ``"SI"`` or ``"US"``.
    source : str
        The sheet, for messages.

    Returns
    -------
    tuple of Setup
        One for each restrike; empty where either kind is absent.

    Raises
    ------
    InputError
        If the clocks contradict each other.

    Examples
    --------
    >>> from dyntest.reading.sheet_parts import Drive
    >>> setups([DriveResult(Drive("initial", "initial", ()))])
    ()
    """
    initial = [result for result in drives if result.drive.kind == "initial"]
    restrikes = [result for result in drives if result.drive.kind == "restrike"]
    if not initial:
        return ()
    return tuple(compare(initial[-1], later, soil=soil, system=system, source=source) for later in restrikes)
