"""Signal matching: the soil that turns the measured downward wave into the measured upward one, and how sure that is.

`dyntest.wave_equation.fitting` fits every soil law, to one blow or to several blows of one soil at once. Here the laws
are weighed (Burnham and Anderson 2002, Model Selection and Multimodel Inference, §2.9, from memory) and the range of a
resistance is taken from their mixture: each law is a normal distribution of the logarithm, with the spread that the
record leaves under that law. Gauge factors, wave speed and drift are parameters with priors, so their uncertainty is in
that spread. No soil follows any of the laws: each spread is therefore widened, the more so the more of the record a law
leaves unexplained, by factors measured on simulated soils that none of them describes.
"""

from dataclasses import dataclass, field, replace

import numpy as np

from dyntest.wave_equation.comparison import MISFIT_BOUNDS, LawFit, Search, StressChange, run_search, side_by_side
from dyntest.wave_equation.fitting import (
    BEST,
    LAWS,
    USUAL_LAWS,
    Descent,
    fit_laws,
    fit_to_the_end,
    laws_of,
)
from dyntest.wave_equation.problem import (
    BOUND,
    LOGARITHMS_OF_SCALE,
    RADIATING,
    SOIL_LAWS,
    Blow,
    Parameters,
    Problem,
    Reduction,
    SoilLaw,
    make_problem,
    physical,
)

WIDENING = {"one blow": (1.5, 1.3), "several": (1.0, 0.9)}
"""Factors on the spread that a record leaves under one law, of the total and of shaft and toe [1]: one blow tells them
less surely than it seems."""
FLOOR, FLOOR_OF_RADIATION = {"total": 0.015, "part": 0.02}, {"total": 0.05, "part": 0.05}
FLOOR_OF_HYPERBOLA = {"total": 0.015, "part": 0.05}
"""Spread that no record can take away; that under laws with radiation, which differ most from author to author; and
that under a hyperbola, where shaft and toe yield little by little together [1]: of the logarithm of the total, and of
shaft and toe as a share of the total."""
UNEXPLAINED, UNEXPLAINED_OF_RADIATION = {"total": 5.0, "part": 9.0}, {"total": 5.0, "part": 10.0}
UNEXPLAINED_OF_HYPERBOLA = {"total": 6.0, "part": 25.0}
"""The same spreads over the difference of the waves that is no noise [1], see `LawFit.lasting`: what a law leaves
unexplained may be resistance, of another size or in another place.

Factors and floors were set together by `tests/benchmarks/matching_coverage.py` with one blow and with several, on seeds
of travelling waves up to 9201 and of lumped masses up to 900: none of their soils follows a law that is fitted here.
Seeds on which nothing was set are named in DEVELOPERS.md."""
BEYOND = 1.15
"""How far the range of a hyperbolic soil reaches towards the limit that only a longer movement would have mobilised,
over the resistance that the blow mobilised [1]; our own choice."""
TAIL, TAIL_OF_PARTS = 0.025, 0.05
"""Share of the mixture beyond each end of the range of the total, and of shaft and toe [1]: a record tells these apart
less well, so that their ranges claim less."""
STRANGE, LEAST_STRANGE = 1.5, {False: 0.0045, True: 0.0022}
"""Misfit over a neighbour's from which on a blow is fitted afresh [1], and the least such misfit [1], which is less
where the total is another: its soil, or the fit, is another."""
OTHER_TOTAL = 0.4
"""Logarithm of a blow's total over its neighbour's from which on it counts as another [1]; our own choice."""
POOR_MISFIT = 0.03
"""Misfit above which a blow counts as not fitted [1]; common practice, no source."""
WHOLE = 0.95
"""Share of the impedance from which on a fitted section counts as whole [1]: calibration and drawings are no better."""
SEPARABLE_SHARE = 0.26
"""Width of the shaft's range, as a share of the total, above which shaft and toe count as not separated [1]."""
MOBILISED_SHARE = {"elastic-plastic": 0.95, "hyperbolic": 0.75}
"""Share of the limit that must be reached for a resistance to count as fully mobilised [1]; a hyperbola is at 0.75
after three times its quake."""
CARRIED_WEIGHT = 0.02
"""Weight from which on a law is carried from a blow to its neighbour [1]."""


@dataclass(frozen=True)
class GaugeCalibration:
    """What the match says of gauges and wave speed, each with its standard deviation.

    Parameters
    ----------
    force_error, velocity_error : tuple of float
        Shares by which measured force and velocity are to be raised [1].
    wave_speed_error : tuple of float
        Share by which the wave is faster than the sheet has it [1].
    """

    force_error: tuple[float, float]
    velocity_error: tuple[float, float]
    wave_speed_error: tuple[float, float]


@dataclass(frozen=True)
class Match:
    """The soil that explains one blow, and how sure that is.

    Parameters
    ----------
    problem : Problem
        The blow, any further blows that were fitted with it, and how they were compared, under the best law.
    scores : numpy.ndarray
        Scores of the best model, shape (n_parameters,) [1].
    law : str
        Static law of the best model, ``"elastic-plastic"`` or ``"hyperbolic"``.
    misfit : float
        Weighted root mean square difference of the upward waves over the greatest downward wave [1].
    matched_resistance, shaft_resistance, toe_resistance : float
        Static resistance that the blow mobilised, averaged over the laws by their weights [N].
    matched_resistance_range, shaft_resistance_range, toe_resistance_range : tuple of float
        Ranges [N] that hold the total nineteen times in twenty, shaft and toe nine times in ten.
    limit : float
        What the best model would mobilise with any movement [N].
    modelled_resistance : float
        What the best model alone mobilised [N]; its soil belongs to this resistance.
    fitted : bool
        Whether the misfit is small enough for the numbers to mean anything.
    separable : bool
        Whether the record tells shaft from toe.
    fully_mobilised : bool
        Whether the blow reached the limit; if not, the resistance is a lower bound.
    misfit_other_law : float
        Least misfit under a law that was not taken [1]; not a number where none was supported.
    misfit_uniform : float
        Misfit without the reduced section [1]; not a number where none was fitted.
    fits : tuple of LawFit
        The laws that the record supports, with their weights, the best first.
    matched_set : float
        Set that the matched models leave [m]; not a number where it was not computed.
    """

    problem: Problem
    scores: np.ndarray
    law: str
    misfit: float
    matched_resistance: float
    shaft_resistance: float
    toe_resistance: float
    matched_resistance_range: tuple[float, float]
    shaft_resistance_range: tuple[float, float]
    toe_resistance_range: tuple[float, float]
    limit: float
    modelled_resistance: float
    fitted: bool
    separable: bool
    fully_mobilised: bool
    misfit_other_law: float = float("nan")
    misfit_uniform: float = float("nan")
    fits: tuple[LawFit, ...] = field(default=(), repr=False)
    matched_set: float = float("nan")

    @property
    def damping_form(self) -> str:
        """Form of damping of the best model, one of those of `dyntest.wave_equation.problem.SOIL_LAWS`."""
        return self.problem.law.damping

    @property
    def law_weights(self) -> dict[SoilLaw, float]:
        """Weight of every law that was compared [1]; 0 where the record does not support it."""
        weights = dict.fromkeys(SOIL_LAWS, 0.0)
        for fit in self.fits:
            weights[fit.problem.law] += fit.weight
        return weights

    @property
    def from_rest(self) -> "Match":
        """The same with the best model whose blows begin without stress in the pile, as those of a bearing graph do."""
        fit = next((fit for fit in self.fits if fit.problem.locked is None), None)
        if self.problem.locked is None or fit is None:
            return self
        modelled = float(np.exp(fit.logarithm[0]))
        return replace(self, problem=fit.problem, scores=fit.scores, modelled_resistance=modelled)

    @property
    def stress(self) -> StressChange | None:
        """What stress locked into the pile changes; None where it was not tried."""
        return self.fits[0].stress

    @property
    def weight_of_stress(self) -> float:
        """Weight of the models whose blows begin from stress locked into the pile [1]."""
        return float(sum(fit.weight for fit in self.fits if fit.problem.locked is not None))

    @property
    def parameters(self) -> dict[str, np.ndarray | float]:
        """Values of the best model by name, as `dyntest.wave_equation.problem.physical` gives them [SI units]."""
        values = physical(self.problem.layout, self.scores[:, None])
        return {name: value[:, 0] if value.ndim == 2 else float(value[0]) for name, value in values.items()}

    @property
    def fade(self) -> float | None:
        """Share of the shaft resistance that each blow of a restrike took away [1]; None where one blow was matched."""
        layout = self.problem.layout
        return float(self.parameters["fade"]) if "fade" in layout.names else None

    @property
    def calibration(self) -> GaugeCalibration:
        """What the best model says of gauges and wave speed."""
        best, layout = self.fits[0], self.problem.layout

        def of(name: str) -> tuple[float, float]:
            row = layout.row(name)
            spread = float(layout.spread[row])
            return spread * float(best.scores[row]), spread * float(np.sqrt(best.covariance[row, row]))

        return GaugeCalibration(of("force_error"), of("velocity_error"), of("wave_speed_error"))

    @property
    def section(self) -> Reduction | None:
        """The reduced section that was fitted, or None."""
        if "section_left" not in self.problem.layout.names:
            return None
        values = physical(self.problem.layout, self.scores[:, None])
        return Reduction(*(float(values[f"section_{name}"][0]) for name in ("depth", "left", "length")))


def match_blow(
    blow: Blow, *, law: str = BEST, reduction: Reduction | None = None, further: tuple[Blow, ...] = ()
) -> Match:
    """Match one blow under every soil law, alone or together with further blows of the same soil, with ranges.

    Parameters
    ----------
    blow : Blow
        The record whose resistance is asked for.
    law : str
        One of `dyntest.wave_equation.fitting.LAWS`: a static law, or the best of all.
    reduction : Reduction or None
        Where a reduced section is suspected; it is fitted beside the soil, and kept only if the misfit falls enough.
    further : tuple of Blow
        Blows of other energy of the same pile in the same soil. Static resistance, quakes and gauges are common; the
        rate effects differ with the velocity, which tells them from resistance. The shaft of a restrike may lose a
        share of its resistance with every blow, see `Blow`.

    Returns
    -------
    Match
        The best model, and resistances with their ranges over all laws.

    Raises
    ------
    ValueError
        If the law is not known or a record ends before the toe's return.

    Notes
    -----
    The measured downward wave is imposed and the soil found whose upward wave is nearest the measured one, by
    damped least squares, under each law of `dyntest.wave_equation.problem.SOIL_LAWS`. Ranges come from the mixture of
    the laws by their Akaike weights w (Burnham and Anderson 2002, §2.9, from memory), each a normal distribution of the
    logarithm of a resistance,

        ln R ~ Σ w N(m, (a s)² + b² + (k D/R)²),

    whose spread s is widened by a, b and, for what the law leaves unexplained, by k times the lasting difference D of
    the waves over the total R. All three were measured on simulated soils outside all the laws. Blows that begin from
    the stress that blows before them locked into the pile are fitted beside those from rest, where the record fits
    better so (residual stress; from memory, after Holloway, Clough and Vesic 1978). One soil explains a blow; others
    may too.
    """
    if law not in LAWS:
        raise ValueError(f"the soil law {law!r} is not known; write one of {', '.join(LAWS)}")
    return run_search(search_match(blow, law=law, reduction=reduction, further=further))


def search_match(
    blow: Blow, *, law: str = BEST, reduction: Reduction | None = None, further: tuple[Blow, ...] = ()
) -> Search[Match]:
    """Look for the match of `match_blow`, which may be done beside others."""
    match = _match((yield from fit_laws((blow, *further), laws_of(law))))
    return match if reduction is None else (yield from with_reduction(match, (reduction,)))


def with_reduction(uniform: Match, reductions: tuple[Reduction, ...]) -> Search[Match]:
    """Give a match with the section that explains the record best of those suspected, or without where none does.

    The law that fits best on the whole pile and the usual ones are fitted again on the reduced one: without the section
    a wrong law may stand in for it.
    """
    told = replace(uniform, misfit_uniform=uniform.misfit)
    if uniform.misfit <= MISFIT_BOUNDS[0]:  # the pile explains the record as it is, as well as can be told
        return told
    laws = tuple(dict.fromkeys([uniform.problem.law, *USUAL_LAWS]))
    tried = yield from side_by_side([fit_laws(uniform.problem.blows, laws, reduction) for reduction in reductions])
    best = _hurt(min(tried, key=lambda fits: fits[0].points), list(uniform.fits))
    return told if best[0] is uniform.fits[0] else _match(best, misfit_uniform=uniform.misfit)


def match_from(blow: Blow, neighbour: Match) -> Match:
    """Match one blow starting from its neighbour's soil, under the laws it supported, or afresh where that is strange.

    Raises ValueError where the blow cannot be matched.
    """
    return match_together((blow,), neighbour)[0]


def match_together(blows: tuple[Blow, ...], neighbour: Match) -> list[Match]:
    """Match blows of one pile, each with a soil of its own, all starting from a neighbour's and run together."""
    if not blows:
        return []
    section = neighbour.section
    groups: list[tuple[list[Descent], tuple[Blow, ...]]] = []
    kept = [fit for fit in neighbour.fits if fit.weight >= CARRIED_WEIGHT] or [neighbour.fits[0]]
    for blow in blows:
        descents = []
        for fit in kept:
            problem = make_problem(blow, law=fit.problem.law, reduction=section)
            problem = replace(problem, misfit=fit.problem.misfit, locked=fit.problem.locked)
            descents.append(Descent(problem, carry_over(fit.problem.layout, fit.scores, problem)))
        groups.append((descents, (blow,)))
    found = run_search(fit_to_the_end(groups, section))
    law = BEST if len({fit.law for fit in neighbour.fits}) > 1 else neighbour.law
    for place, blow in enumerate(blows):
        best = found[place][0]
        changed = abs(float(best.logarithm[0]) - np.log(neighbour.matched_resistance)) > OTHER_TOTAL
        if best.misfit > max(STRANGE * neighbour.misfit, LEAST_STRANGE[changed]):  # soil can change at once
            afresh = run_search(fit_laws((blow,), laws_of(law), section))
            found[place] = min(found[place], afresh, key=lambda fits: fits[0].misfit)
    return [_match(fits) for fits in found]


def carry_over(there: Parameters, scores: np.ndarray, problem: Problem) -> np.ndarray:
    """Give the scores that stand for a neighbour's soil in another blow's problem."""
    here = problem.layout
    values = physical(there, scores[:, None])
    carried = np.zeros(here.count)
    for row, name in enumerate(here.names):
        if row < here.n_shaft:
            at = (row + 0.5) / here.n_shaft * there.n_shaft - 0.5
            value = np.interp(at, np.arange(there.n_shaft), np.log(values["shaft"][:, 0]))
            value += np.log(there.n_shaft / here.n_shaft)
        elif name not in values:
            continue
        else:
            value = float(values[name][0])
            value = np.log(value) if name in LOGARITHMS_OF_SCALE else value
        carried[row] = (value - here.expected[row]) / here.spread[row]
    return np.clip(carried, -0.95 * BOUND, 0.95 * BOUND)


def _hurt(hurt: list[LawFit], uniform: list[LawFit]) -> list[LawFit]:
    """Fits with the reduced section where it explains enough more and is more than a blemish, else those without."""
    layout = hurt[0].problem.layout
    left = float(physical(layout, hurt[0].scores[:, None])["section_left"][0])
    return hurt if hurt[0].points < uniform[0].points and left <= WHOLE else uniform


def mixture_range(
    logarithm: np.ndarray, spread: np.ndarray, weight: np.ndarray, tail: float = TAIL
) -> tuple[float, float]:
    """Give the range of a quantity whose logarithm is a mixture of normal distributions, `tail` beyond each end.

    Units: logarithm [ln N]; spread, weight, tail [1]; returns [N].

    Examples
    --------
    >>> low, high = mixture_range(np.array([0.0]), np.array([0.1]), np.array([1.0]))
    >>> round(low, 3), round(high, 3)
    (0.822, 1.217)
    """
    from scipy.special import ndtr  # slow to load, and a review without matching needs none of it

    grid = np.linspace((logarithm - 5.0 * spread).min(), (logarithm + 5.0 * spread).max(), 4001)
    below = (weight[:, None] * ndtr((grid - logarithm[:, None]) / spread[:, None])).sum(axis=0)
    low, high = np.interp((tail, 1.0 - tail), below, grid)
    return float(np.exp(low)), float(np.exp(high))


def widening(fit: LawFit) -> tuple[float, float]:
    """Give the factors on the spread that a fit leaves, of the total and of shaft and toe [1]."""
    return WIDENING["several" if len(fit.problem.blows) > 1 else "one blow"]


def least_spread(fit: LawFit, floor: dict[str, float] | None = None) -> tuple[float, float]:
    """Give what is added to the spread of a fit [1]: of the logarithm of the total, and of the parts over the total.

    That is what its law leaves unexplained, and `floor`; None: what no record can take away under its law.
    """
    if fit.problem.law.damping in RADIATING:
        usual, factors = FLOOR_OF_RADIATION, UNEXPLAINED_OF_RADIATION
    elif fit.problem.hyperbolic:
        usual, factors = FLOOR_OF_HYPERBOLA, UNEXPLAINED_OF_HYPERBOLA
    else:
        usual, factors = FLOOR, UNEXPLAINED
    floor = usual if floor is None else floor
    unexplained = fit.lasting / np.exp(fit.logarithm[0])
    total, part = (float(np.hypot(floor[name], factors[name] * unexplained)) for name in ("total", "part"))
    return total, part


def resistance_mixture(fits: list[LawFit]) -> tuple[np.ndarray, list[tuple[float, float]]]:
    """Give total, shaft and toe resistance averaged over the laws, and their ranges.

    Units: returns [N].
    """
    weight = np.array([fit.weight for fit in fits])
    logarithms = np.array([fit.logarithm for fit in fits])
    total = float(np.exp(weight @ logarithms[:, 0]))
    shares = np.exp(logarithms - logarithms[:, :1])
    values = total * (weight @ shares)
    widened, floors = np.array([widening(fit) for fit in fits]), np.array([least_spread(fit) for fit in fits])
    spreads = widened[:, (0, 1, 1)] * np.array([fit.spread for fit in fits])
    floors = np.hstack([floors[:, :1], floors[:, 1:] / shares[:, 1:]])
    spreads = np.hypot(spreads, floors)
    ranges = []
    for part, tail in enumerate((TAIL, TAIL_OF_PARTS, TAIL_OF_PARTS)):
        low, high = mixture_range(logarithms[:, part], spreads[:, part], weight, tail)
        ranges.append((min(low, values[part]), max(high, values[part])))
    top = ranges[0][1]
    return values, [ranges[0], *((low, min(high, top)) for low, high in ranges[1:])]


def _match(found: list[LawFit], **more) -> Match:
    best, *others = found
    problem = best.problem
    values, ranges = resistance_mixture(found)
    limits = physical(problem.layout, best.scores[:, None])
    limit = float(limits["shaft"].sum() + limits["toe_resistance"][0])
    modelled = float(np.exp(best.logarithm[0]))
    total, shaft, toe = (float(value) for value in values)
    if problem.hyperbolic:  # what a longer movement would have mobilised cannot be ruled out
        ranges[0] = ranges[0][0], max(ranges[0][1], min(limit, BEYOND * total))
    return Match(
        problem,
        best.scores,
        best.law,
        best.misfit,
        matched_resistance=total,
        shaft_resistance=shaft,
        toe_resistance=toe,
        matched_resistance_range=ranges[0],
        shaft_resistance_range=ranges[1],
        toe_resistance_range=ranges[2],
        limit=limit,
        modelled_resistance=modelled,
        fitted=best.misfit <= POOR_MISFIT,
        separable=bool(ranges[1][1] - ranges[1][0] <= SEPARABLE_SHARE * total),
        fully_mobilised=bool(modelled >= MOBILISED_SHARE[best.law] * limit),
        misfit_other_law=min(
            (other.misfit for other in others if other.problem.law != problem.law), default=float("nan")
        ),
        fits=tuple(found),
        matched_set=float(sum(fit.weight * fit.set_per_blow for fit in found)),
        **more,
    )
