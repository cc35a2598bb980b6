"""The whole job on simulated structures of known resistance: what it finds, and what its criterion lets pass.

    python tests/benchmarks/whole_job_check.py [number of structures] [processes]

Each structure has a test pile, struck at the end of the initial drive and again after a wait;
`dyntest.reviewing.review` reads its files as it would
read anybody's. Then production piles of the same structure, in ground that is now stronger and
now weaker, are driven by the same hammer at strokes of the approved range, and held against the criterion. Seeds are
fixed.

Simulated ground is kinder than real ground: it keeps to a law, has no residual stress, no neighbours and no creep, and
hammer and pile are what they seem. The scatter below is therefore a floor, and never what to expect on a site.
"""

import sys
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
import simulated_structures as simulated

from dyntest.decisions.criterion import permitted_set
from dyntest.decisions.driving_criterion import DrivingCriterion
from dyntest.quantities.case_resistance import case_resistance
from dyntest.reviewing.drive import DriveReview
from dyntest.reviewing.review import Review, conclude, review
from dyntest.wave_equation.every_blow import process_pool

STRUCTURES, PRODUCTION_PILES = 64, 60
METHOD_RECORDS = {  # measured over predicted resistance: cases, mean, coefficient of variation (NCHRP 507, from memory)
    "signal matching, end of initial drive": (125, 1.626, 0.490),
    "signal matching, beginning of restrike": (162, 1.158, 0.339),
}
VARIATION = 0.15  # of shaft and of toe from pile to pile, standard deviation of the logarithm
COMMON_VARIATION = 0.10  # of both together
HAMMER_VARIATION = 0.04  # of the efficiency from blow to blow
SETUP_VARIATION = 0.10  # of what waiting changes


@dataclass(frozen=True)
class Outcome:
    """What was found on one structure, beside the truth."""

    structure: str
    true: dict[str, float]  # N, by drive
    found: dict[str, float]  # by the name of the value; not there where there is none
    covered: dict[str, bool]
    piles: dict[str, np.ndarray]  # by the name of the criterion: true over required resistance, and whether it passed
    alerts: int
    problem: str


def examine(number: int, piles: int = PRODUCTION_PILES) -> Outcome:
    """Review a structure's test pile from its files and hold production piles against the criterion."""
    structure = simulated.invent(number)
    restruck = simulated.scaled(structure.soil, [structure.shaft_change], [structure.toe_change])
    true = {
        "initial": float(simulated.static_resistance(structure, structure.soil)[0]),
        "restrike": float(simulated.static_resistance(structure, restruck)[0]),
    }
    with tempfile.TemporaryDirectory() as folder:
        reviewed = review(simulated.write_test(structure, Path(folder)))
        with_credit = replace(reviewed.sheet, choices=replace(reviewed.sheet.choices, setup_credit=True))
        credited = conclude(with_credit, reviewed.drives).answers.criterion
    found, covered = _found(reviewed)
    covered = {name: low <= true[name] <= high for name, (low, high) in covered.items()}
    answers = reviewed.answers
    judged, alerts, problem = {}, 0, answers.criterion_problem
    if answers.criterion is not None:
        alerts = len(answers.criterion.alerts)
        for name, criterion in (("no credit", answers.criterion), ("setup credited", credited)):
            if criterion is not None and criterion.criterion is not None:
                judged |= _production(structure, criterion, name, piles)
            elif not problem:
                problem = "every stroke is ruled out"
    return Outcome(structure.name, true, found, covered, judged, alerts, problem)


def _found(reviewed: Review) -> tuple[dict[str, float], dict[str, tuple[float, float]]]:
    found, ranges = {}, {}
    for drive in reviewed.drives:
        if drive.damping_source == "soil at the toe":
            found[f"{drive.name}, Case at the first peak, J by soil"] = drive.numbers["case_resistance"]
            found[f"{drive.name}, Case largest over time, J by soil"] = drive.numbers["case_resistance_maximum"]
        if drive.match is not None and drive.match.fitted:
            found[f"{drive.name}, matched"] = drive.match.matched_resistance
            ranges[drive.name] = drive.match.matched_resistance_range
    initial, restrike = reviewed.drives
    factor = initial.calibrated_damping_factor
    if np.isfinite(factor) and restrike.waves is not None:
        found["restrike, Case at the first peak, J calibrated"] = float(
            case_resistance(*_record(reviewed, restrike), factor)[0]
        )
    if reviewed.answers.setups and reviewed.answers.setups[-1].setup_factor is not None:
        found["setup factor"] = reviewed.answers.setups[-1].setup_factor.value
    return found, ranges


def _record(reviewed: Review, drive: DriveReview) -> tuple:
    waves = drive.waves
    return waves.down, waves.up, waves.first_peak, reviewed.sheet.pile.return_time, waves.time_step


def _production(structure, found: DrivingCriterion, name: str, piles: int) -> dict[str, np.ndarray]:
    """True over required resistance, and whether the blow count would have been accepted, shape (2, n_piles).

    Under the name of the criterion with its whole counts, and again with the bearing graph's own set at every stroke.
    """
    rng = np.random.default_rng([77, int(structure.name[1:])])
    common = COMMON_VARIATION * rng.standard_normal(piles)
    shaft, toe = (np.exp(common + VARIATION * rng.standard_normal(piles)) for _ in range(2))
    rows = [row for row in found.rows if row.ruled_out is None]
    read = rng.uniform(rows[0].stroke, max(rows[-1].stroke, rows[0].stroke + 0.02), piles)
    stroke = read / structure.stroke_reading  # what it is, not what the inspector reads
    efficiency = structure.hammer.efficiency * np.exp(HAMMER_VARIATION * rng.standard_normal(piles))
    now = simulated.scaled(structure.soil, shaft, toe)
    gain = np.exp(SETUP_VARIATION * rng.standard_normal(piles))
    shaft = shaft * (1.0 + (structure.shaft_change - 1.0) * gain)
    toe = toe * (1.0 + (structure.toe_change - 1.0) * gain)
    later = simulated.static_resistance(structure, simulated.scaled(structure.soil, shaft, toe))
    if name == "no credit":  # gains are not counted on, but what is lost is owed
        later = np.minimum(later, simulated.static_resistance(structure, now))
    *_, sets = simulated.strike(structure.mesh, now, structure.hammer, stroke, efficiency)
    whole = sets <= permitted_set(found.criterion, read)
    exact = sets <= np.interp(read, [row.stroke for row in rows], [row.set_per_blow for row in rows])
    r = later / structure.required
    return {name: np.stack([r, whole]), f"{name}, graph itself": np.stack([r, exact])}


def all_outcomes(structures: int, processes: int) -> list[Outcome]:
    """Examine so many structures, a process each at a time."""
    with process_pool(processes) as pool:
        outcomes = []
        for outcome in pool.map(examine, range(structures)):
            outcomes.append(outcome)
            print(f"\r{len(outcomes)} of {structures} structures", end="", file=sys.stderr, flush=True)
        print(file=sys.stderr)
    return outcomes


def ratios(outcomes: list[Outcome], name: str, against: str) -> np.ndarray:
    """True over found of every structure that has both, as static load tests are held against a method."""
    return np.array(
        [
            (o.true["restrike"] / o.true["initial"] if against == "setup" else o.true[against]) / o.found[name]
            for o in outcomes
            if o.found.get(name, 0.0) > 0.0
        ]
    )


ROWS = (  # value, what it is held against, and the published record it stands beside
    ("initial, matched", "initial", None),
    ("initial, matched", "restrike", "signal matching, end of initial drive"),
    ("restrike, matched", "restrike", "signal matching, beginning of restrike"),
    ("initial, Case at the first peak, J by soil", "initial", None),
    ("initial, Case largest over time, J by soil", "initial", None),
    ("restrike, Case at the first peak, J by soil", "restrike", None),
    ("restrike, Case largest over time, J by soil", "restrike", None),
    ("restrike, Case at the first peak, J calibrated", "restrike", None),
    ("setup factor", "setup", None),
)


def report(outcomes: list[Outcome]) -> str:
    """The tables, as text."""
    lines = [f"{len(outcomes)} simulated structures: true over found (bias, and coefficient of variation)", ""]
    lines.append(f"{'found':<52}{'true at':<10}{'cases':>6}{'bias':>7}{'COV':>7}   published: cases, bias, COV")
    for name, against, method in ROWS:
        found = ratios(outcomes, name, against)
        line = f"{name:<52}{against if against != 'setup' else 'both':<10}{len(found):>6}"
        if len(found) > 1:
            line += f"{found.mean():>7.2f}{found.std(ddof=1) / found.mean():>7.2f}"
        if method:
            cases, bias, variation = METHOD_RECORDS[method]
            line += f"   {cases}, {bias:.2f}, {variation:.2f} (from memory, after NCHRP 507)"
        lines.append(line)
    for name in ("initial", "restrike"):
        inside = [outcome.covered[name] for outcome in outcomes if name in outcome.covered]
        lines.append(f"truth within the matched range, {name}: {sum(inside)} of {len(inside)}")
    lines += ["", "production piles against the criterion of their test pile (true over required resistance r)", ""]
    heads = ("criterion", "structures", "piles", "pass | r<1", "pass | r<0.9", "reject | r>1", "reject | r>1.1")
    lines.append(f"{heads[0]:<30}" + "".join(f"{head:>15}" for head in heads[1:]) + "   least r passed")
    for name in ("no credit", "no credit, graph itself", "setup credited", "setup credited, graph itself"):
        held = [o.piles[name] for o in outcomes if name in o.piles and not o.alerts]
        if not held:
            continue
        r, passed = np.concatenate(held, axis=1)
        passed = passed == 1.0
        cells = [_share(passed[r < 1.0]), _share(passed[r < 0.9]), _share(~passed[r > 1.0]), _share(~passed[r > 1.1])]
        lowest = f"{r[passed].min():.2f}" if passed.any() else "–"
        lines.append(f"{name:<30}{len(held):>15}{r.size:>15}" + "".join(f"{c:>15}" for c in cells) + f"   {lowest}")
    lines.append('"graph itself": its own set at each stroke, neither rounded to whole blows nor to rows of the table')
    lines.append(f"criteria that say themselves not to be used before something is cleared up: {alerted(outcomes)}")
    problems = [outcome for outcome in outcomes if not outcome.piles]
    lines.append(f"structures without a criterion: {len(problems)}")
    lines += [f"  {outcome.structure}: {outcome.problem}" for outcome in problems]
    lines += ["", "Simulated ground is kinder than real ground: this scatter is a floor, not what a site will show."]
    return "\n".join(lines)


def alerted(outcomes: list[Outcome]) -> int:
    """How many criteria forbid their own use."""
    return sum(outcome.alerts > 0 for outcome in outcomes)


def _share(which: np.ndarray) -> str:
    return f"{100 * which.mean():.1f} % of {which.size}" if which.size else "–"


def worst(outcomes: list[Outcome]) -> str:
    """The structures whose criterion passes the most short piles, for whoever looks for the cause."""
    rows = []
    for outcome in outcomes:
        for name, (r, passed) in outcome.piles.items():
            rows.append((float(((r < 0.95) & (passed == 1.0)).sum()), outcome, name))
    rows.sort(key=lambda row: -row[0])
    lines = ["", "most piles passed with less than 0.95 of the required resistance:"]
    for count, outcome, name in rows[:6]:
        made = [
            f"{drive} {outcome.true[drive] / outcome.found[f'{drive}, matched']:.2f}"
            for drive in outcome.true
            if f"{drive}, matched" in outcome.found
        ]
        lines.append(f"  {outcome.structure}, {name}: {count:.0f}; true over matched: {', '.join(made)}")
    return "\n".join(lines)


if __name__ == "__main__":
    wanted = [int(word) for word in sys.argv[1:]]
    made = all_outcomes(wanted[0] if wanted else STRUCTURES, wanted[1] if len(wanted) > 1 else 2)
    print(report(made))
    print(worst(made))
