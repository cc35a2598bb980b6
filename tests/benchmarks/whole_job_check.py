"""The whole job on structures of known resistance that another scheme computed, and what the answers are worth.

    python tests/benchmarks/whole_job_check.py [number of structures | FOLDER] [processes]

The structures are those of `tests/outside/worlds/structures.py`, or lie in a folder laid out like theirs. Each has a
test pile, struck over the last foot and again after a wait; `dyntest.reviewing.review` reads its files as it would read
anybody's, and the bearing piles of its production log are held against the criterion. `tests/outside/worlds/score.py`
scores the answers.

Computed ground is kinder than real ground: it keeps to a law, has no neighbours and no creep, and hammer and pile are
nearly what they seem. The scatter below is therefore a floor, and never what to expect on a site.
"""

import json
import sys
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1] / "outside" / "worlds"))
import score
import structures

from dyntest.decisions.bearing_piles import VERDICTS
from dyntest.errors import InputError
from dyntest.processes import process_pool
from dyntest.reading.production_log import read_production_log
from dyntest.reviewing.review import Review, review
from dyntest.reviewing.structure import review_bearing_piles

FOOT = 0.3048


@dataclass(frozen=True)
class Outcome:
    """What was answered on one structure: rows as `score` takes them, alerts of the criterion, why there is none."""

    structure: str
    estimates: list[dict] = field(default_factory=list)
    piles: list[dict] = field(default_factory=list)
    alerts: tuple[str, ...] = ()
    problem: str = ""
    law: str = ""


def examine(folder: Path) -> Outcome:
    """Review a structure's test pile from its files and hold its bearing piles against the criterion."""
    name, truth = folder.name, json.loads((folder / "truth.json").read_text())
    reviewed = review(folder / "sheet.toml")
    estimates = [{"structure": name, **row} for row in _estimates(reviewed, truth)]
    criterion = reviewed.answers.criterion
    alerts = () if criterion is None else tuple(f"{one.kind} {one.value}" for one in criterion.alerts)
    law = truth.get("law", "") + (", gas" if truth.get("gas") else "")
    try:
        checked = review_bearing_piles([reviewed], read_production_log(folder / "production.csv"))
    except InputError as problem:
        return Outcome(name, estimates, [], alerts, str(problem), law)
    table = checked.piles
    taken = table["verdict"] == VERDICTS[0]
    piles = [
        {"structure": name, "pile": pile, "accepted": int(accepted)}
        for pile, accepted in zip(table["pile"], taken, strict=True)
    ]
    return Outcome(name, estimates, piles, alerts, "", law)


def _estimates(reviewed: Review, truth: dict) -> list[dict]:
    """Resistances, setup and the sets of the bearing graph at the true target."""
    rows = []
    for drive, key in zip(reviewed.drives, ("r_eod", "restrike"), strict=True):
        match = drive.match
        if match is not None and match.fitted:
            low, high = match.matched_resistance_range
            rows.append({"quantity": key, "value": match.matched_resistance, "low": low, "high": high})
            if key == "r_eod" and "shaft" in truth:
                low, high = match.shaft_resistance_range
                rows.append({"quantity": "shaft", "value": match.shaft_resistance, "low": low, "high": high})
    if reviewed.answers.setups and reviewed.answers.setups[-1].setup_factor is not None:
        factor = reviewed.answers.setups[-1].setup_factor
        rows.append({"quantity": "setup", "value": factor.value, "low": factor.low, "high": factor.high})
    criterion = reviewed.answers.criterion
    if criterion is not None:
        graph = criterion.graph
        rows.append({"quantity": "target", "value": criterion.target.value})
        if graph.resistance[0] <= truth["target"] <= graph.resistance[-1]:
            sets = graph.at_resistance(truth["target"], "set_per_blow")
            for stroke in truth["set_at_target"]:
                value = np.interp(float(stroke) * FOOT, graph.stroke, sets, left=np.nan, right=np.nan)
                rows.append({"quantity": f"set_at_target {stroke}", "value": float(value)})
    return rows


def folders(which: str) -> list[Path]:
    """The folders of so many structures, made where they are not there yet, or those of a folder."""
    if which.isdigit():
        return [structures.made(number) for number in range(int(which))]
    return sorted(path.parent for path in Path(which).glob("*/truth.json"))


def all_outcomes(places: list[Path], processes: int) -> list[Outcome]:
    """Examine the structures, a process each at a time."""
    with process_pool(processes) as pool:
        outcomes = []
        for outcome in pool.map(examine, places):
            outcomes.append(outcome)
            print(f"\r{len(outcomes)} of {len(places)} structures", end="", file=sys.stderr, flush=True)
        print(file=sys.stderr)
    return outcomes


def report(outcomes: list[Outcome], known: dict[str, dict]) -> str:
    """The scores and each structure's answers, as text."""
    estimates = pd.DataFrame([row for outcome in outcomes for row in outcome.estimates])
    lines = [f"{len(outcomes)} structures computed by another scheme", ""]
    shown = {"float_format": lambda number: f"{number:.3f}"}
    lines += [score.score(estimates, known).to_string(**shown), ""]
    piles = [
        row | {"criterion": label}
        for label, wanted in (("all", True), ("without alerts", False))
        for outcome in outcomes
        if wanted or not outcome.alerts
        for row in outcome.piles
    ]
    if piles:
        lines += [score.score(pd.DataFrame(piles), known).T.to_string(**shown), ""]
    for outcome in outcomes:
        ratios = [
            f"{row['quantity']} {row['value'] / score.true_value(known[outcome.structure], row['quantity']):.2f}"
            for row in outcome.estimates
        ]
        lines.append(f"{outcome.structure} ({outcome.law}): found over true: {', '.join(ratios)}")
        if outcome.piles:
            own = score.score(pd.DataFrame(outcome.piles), known).iloc[0]
            lines.append(
                f"    unsafe {own['unsafe passes']:.2f} of {own['short (r < 0.97)']:.0f}, sound rejected "
                f"{own['sound rejections']:.2f} of {own['sound (r >= 1)']:.0f}, half at {own['half at']:.2f}"
            )
        lines += [f"    alert: {alert}" for alert in outcome.alerts]
        lines += [f"    no criterion: {outcome.problem}"] if outcome.problem else []
    lines += ["", "Computed ground is kinder than real ground: this scatter is a floor, not what a site will show."]
    return "\n".join(lines)


if __name__ == "__main__":
    wanted = sys.argv[1] if len(sys.argv) > 1 else str(len(structures.KINDS))
    places = folders(wanted)
    made = all_outcomes(places, int(sys.argv[2]) if len(sys.argv) > 2 else 2)
    truths = {place.name: json.loads((place / "truth.json").read_text()) for place in places}
    print(report(made, truths))
