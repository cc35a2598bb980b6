"""Mistakes put into the code one by one, each with the tests that have to notice it.

    python tests/mutations.py [number ...]

Every mistake is made in a copy of the project, and the tests named beside it are run there: at least one has to fail.
A text that is no longer in its file once is said to be out of date. Exit status 0 where every mistake was noticed.
"""

import os
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parent.parent


@dataclass(frozen=True)
class Mutation:
    """One mistake: a text of a file, what is written in its place, and the tests that notice."""

    what: str
    file: str
    old: str
    new: str
    tests: tuple[str, ...]


MUTATIONS = (
    Mutation(
        "the upward wave with the sign of the downward one",
        "dyntest/signals.py",
        "impedance * velocity), 0.5 * (force - impedance",
        "impedance * velocity), 0.5 * (force + impedance",
        ("tests/quantities/test_table.py", "tests/outside/test_case_method.py"),
    ),
    Mutation(
        "total resistance as the difference of the waves",
        "dyntest/quantities/case_resistance.py",
        "return arrived + returned  # (1)",
        "return arrived - returned  # (1)",
        ("tests/quantities/test_case_resistance.py", "tests/outside/test_case_method.py"),
    ),
    Mutation(
        "a stroke without the loss by friction",
        "dyntest/quantities/stroke.py",
        "np.square(blow_rate) - LOSS",
        "np.square(blow_rate)",
        ("tests/quantities/test_stroke.py", "tests/outside/test_diesel_stroke.py"),
    ),
    Mutation(
        "displacement at the end in the place of the largest",
        "dyntest/quantities/energy_and_motion.py",
        "return integrate(velocity, time_step).max(axis=1)",
        "return integrate(velocity, time_step)[:, -1]",
        ("tests/quantities",),
    ),
    Mutation(
        "integrity without the shaft resistance above the damage",
        "dyntest/quantities/integrity.py",
        "(down_peak - shaft_resistance + up_reflected)",
        "(down_peak + up_reflected)",
        ("tests/quantities/test_integrity.py",),
    ),
    Mutation(
        "a low-pass filter of another order",
        "dyntest/conditioning/corrections.py",
        "butter(FILTER_ORDER, corner",
        "butter(FILTER_ORDER // 2, corner",
        ("tests/conditioning",),
    ),
    Mutation(
        "blows laid at the top of their interval of the log",
        "dyntest/reading/logs.py",
        "penetration = np.repeat(log.depth_from, log.blows) + count * set_per_blow",
        "penetration = np.repeat(log.depth_from, log.blows) + (count - 1) * set_per_blow",
        ("tests/reading/test_logs.py",),
    ),
    Mutation(
        "a path that leaves the folder of the sheet is read",
        "dyntest/reading/build.py",
        "inside = path.resolve().is_relative_to(folder)",
        "inside = True",
        ("tests/reading/test_sheet_refusals.py", "tests/robustness/test_bad_places.py"),
    ),
    Mutation(
        "a kip of a thousand kilograms",
        "dyntest/units.py",
        '"kip": (1000 * _POUND_FORCE, _FORCE)',
        '"kip": (2204 * _POUND_FORCE, _FORCE)',
        ("tests/test_units.py", "tests/reading/test_sheet.py"),
    ),
    Mutation(
        "no allowance for a soil law that is only simple",
        "dyntest/wave_equation/matching.py",
        'FLOOR, FLOOR_OF_RADIATION = {"total": 0.015, "part": 0.02},',
        'FLOOR, FLOOR_OF_RADIATION = {"total": 0.0, "part": 0.0},',
        ("tests/wave_equation/test_mixture.py",),
    ),
    Mutation(
        "shaft and toe of a hyperbolic soil told as surely as those of another",
        "dyntest/wave_equation/matching.py",
        "    elif fit.problem.hyperbolic:",
        "    elif False:",
        ("tests/wave_equation/test_mixture.py",),
    ),
    Mutation(
        "the shaft of a restrike the same at every blow",
        "dyntest/wave_equation/candidates.py",
        "    if problem.blows[place].after:",
        "    if False:",
        ("tests/outside/test_matching_restrike.py",),
    ),
    Mutation(
        "what a law leaves unexplained does not widen the ranges",
        "dyntest/wave_equation/matching.py",
        "unexplained = fit.lasting / np.exp(fit.logarithm[0])",
        "unexplained = 0.0",
        ("tests/wave_equation/test_mixture.py",),
    ),
    Mutation(
        "two matches of one pile made to agree on their quakes",
        "dyntest/wave_equation/match_results.py",
        'SHARED = ("wave_speed_error",',
        'SHARED = ("shaft_quake", "toe_quake", "wave_speed_error",',
        ("tests/wave_equation/test_setup_change.py",),
    ),
    Mutation(
        "a stress that passes its limit between two strokes of the table overlooked",
        "dyntest/decisions/stroke_table.py",
        "if reason is None and between is not None and stroke > between.stroke:",
        "if False:",
        ("tests/decisions/test_stroke_table.py",),
    ),
    Mutation(
        "a correction of a depth that takes what the page was last drawn with",
        "dashboard/state.py",
        "    return st.session_state.get(key)\n\n\ndef asked",
        "    return None\n\n\ndef asked",
        ("tests/dashboard/test_live.py",),
    ),
    Mutation(
        "what a law leaves unexplained does not widen the change between two drives",
        "dyntest/wave_equation/match_results.py",
        "    total, part = least_spread(fit, dict.fromkeys(FLOOR, 0.0))",
        "    total, part = 0.0, 0.0",
        ("tests/wave_equation/test_setup_change.py",),
    ),
    Mutation(
        "the soil of the bearing graph not scaled to the resistance",
        "dyntest/wave_equation/bearing_graph.py",
        "scale=np.asarray(resistance, dtype=float) / match.modelled_resistance",
        "scale=np.ones_like(resistance)",
        ("tests/wave_equation/test_bearing_graph.py", "tests/outside/test_bearing_graph_reference.py"),
    ),
    Mutation(
        "steel driven to its yield strength",
        "dyntest/decisions/stress_limits.py",
        "STEEL_SHARE_OF_YIELD = 0.9",
        "STEEL_SHARE_OF_YIELD = 1.0",
        ("tests/outside/test_stress_limits.py", "tests/decisions/test_stress_limits.py"),
    ),
    Mutation(
        "setup credited without a margin for its error",
        "dyntest/decisions/end_of_drive_target.py",
        "value = min(plain, middle * margin(sigma))",
        "value = min(plain, middle)",
        ("tests/decisions/test_end_of_drive_target.py",),
    ),
    Mutation(
        "the measured bending left out of the stress that is held against its limit",
        "dyntest/decisions/stroke_table.py",
        "row.mean_stress, row.tension_stress, row.compression_stress",
        "row.mean_stress, row.tension_stress, row.mean_stress",
        ("tests/decisions/test_stroke_table.py",),
    ),
    Mutation(
        "counts rounded down",
        "dyntest/decisions/criterion.py",
        "return max(1, floor(length / set_per_blow + 0.5 + ROUNDING))",
        "return max(1, floor(length / set_per_blow + ROUNDING))",
        ("tests/decisions", "dyntest/decisions/criterion.py"),
    ),
    Mutation(
        "a pile accepted above its minimum penetration",
        "dyntest/decisions/bearing_piles.py",
        '"accepted": table["met_at_end"] & reached & in_range',
        '"accepted": table["met_at_end"] & in_range',
        ("tests/decisions/test_bearing_piles.py",),
    ),
    Mutation(
        "a restrike rule that knows of no loss",
        "dyntest/decisions/restrikes.py",
        "    if losses:\n        return RELAXATION",
        "    if False:\n        return RELAXATION",
        ("tests/decisions",),
    ),
    Mutation(
        "the axes of the criterion swapped",
        "dyntest/presenting/figures.py",
        "axes.plot(points[stroke], points[count], label=line, **look)",
        "axes.plot(points[count], points[stroke], label=line, **look)",
        ("tests/presenting/test_figures.py",),
    ),
    Mutation(
        "no line of the required resistance over the time waited",
        "dyntest/presenting/figures.py",
        "        if required is not None:\n",
        "        if False:\n",
        ("tests/presenting/test_figures.py",),
    ),
    Mutation(
        "no line of the required resistance over the blows",
        "dyntest/presenting/figures.py",
        '        "case_resistance_maximum": ("required", required),\n',
        "",
        ("tests/presenting/test_figures.py",),
    ),
    Mutation(
        "the axes of resistance over the time waited swapped on the page",
        "dashboard/views/setup.py",
        'x = alt.X("c0:Q", axis=axis(titles["c0"], format',
        'x = alt.X("c1:Q", axis=axis(titles["c0"], format',
        ("tests/dashboard/test_charts.py",),
    ),
    Mutation(
        "no line of the required resistance on the page",
        "dashboard/views/setup.py",
        "    if required is not None:\n        rule = pd",
        "    if False:\n        rule = pd",
        ("tests/dashboard/test_charts.py",),
    ),
    Mutation(
        "results written into the files that are there",
        "dyntest/reading/files.py",
        "            waiting.append((_written_beside(target, content), target))\n",
        "            target.write_bytes(content)\n",
        ("tests/reading/test_files.py", "tests/robustness/test_interruption.py"),
    ),
    Mutation(
        "a missing number written as nought",
        "dyntest/presenting/summary.py",
        "    if value is None or not math.isfinite(value):\n        return None",
        "    if value is None or not math.isfinite(value):\n        return 0.0",
        ("tests/presenting/test_summary.py", "dyntest/presenting/summary.py"),
    ),
    Mutation(
        "a damaged test pile accepted by its count",
        "dyntest/reviewing/structure.py",
        'piles.loc[look, "verdict"] = VERDICTS[1]',
        'piles.loc[look, "verdict"] = VERDICTS[0]',
        ("tests/reviewing/test_structure.py",),
    ),
    Mutation(
        "a pile kept although its files changed",
        "dyntest/reviewing/survey.py",
        "return digests(read_sheet(path)) == dict(record.inputs)",
        "return bool(digests(read_sheet(path)))",
        ("tests/reviewing/test_structure.py",),
    ),
    Mutation(
        "piles of the plan at each other's places",
        "dyntest/presenting/structure_board.py",
        'places = pd.DataFrame({"x": table.x, "y": table.y}, index=list(table.pile))',
        'places = pd.DataFrame({"x": table.y, "y": table.x}, index=list(table.pile))',
        ("tests/presenting/test_structure_board.py",),
    ),
    Mutation(
        "a hammer's drift without the scatter of its piles",
        "dyntest/reviewing/pile_result.py",
        "half = max(half, float(stdtrit(free, end)) * float(left @ left / free) ** 0.5)",
        "half = max(half, 0.0)",
        ("tests/reviewing/test_structure.py",),
    ),
    Mutation(
        "a toe gap of less than none",
        "dyntest/wave_equation/comparison.py",
        'low[layout.row("toe_gap")] = 0.0',
        "pass",
        ("tests/wave_equation/test_fitting.py",),
    ),
    Mutation(
        "a slope taken where a share is whole already",
        "dyntest/wave_equation/fitting.py",
        "return np.where(np.any(beyond, axis=0), -1.0, 1.0)",
        "return np.ones(beyond.shape[1])",
        ("tests/wave_equation/test_fitting.py",),
    ),
    Mutation(
        "soil that radiates and slipped counted at its spring's force",
        "dyntest/wave_equation/simulator.py",
        "springs[run.rows, columns] = run.shown(columns, peak)",
        "springs[run.rows, columns] = 2.0 * peak[0].reshape(-1, count)",
        ("tests/wave_equation/test_simulator.py",),
    ),
    Mutation(
        "residual stress that does not follow the soil of a candidate",
        "dyntest/wave_equation/candidates.py",
        "models[which][0].locked if state is None else candidates_of(state, back)",
        "models[which][0].locked",
        ("tests/wave_equation/test_candidates.py",),
    ),
    Mutation(
        "candidates that come to rest with those of a search beside theirs",
        "dyntest/wave_equation/comparison.py",
        "search=(place, *task.search)",
        "search=()",
        ("tests/wave_equation/test_fitting.py",),
    ),
    Mutation(
        "residual stress never fitted",
        "dyntest/wave_equation/fitting.py",
        "(300.0, 50.0, 0.0)",
        "(-1e9, -1e9, -1e9)",
        ("tests/outside/test_residual_stress.py", "-m", "sweep"),
    ),
    Mutation(
        "shaft and toe told by ranges of nineteen in twenty",
        "dyntest/wave_equation/matching.py",
        "enumerate((TAIL, TAIL_OF_PARTS, TAIL_OF_PARTS))",
        "enumerate((TAIL, TAIL, TAIL))",
        ("tests/wave_equation/test_mixture.py",),
    ),
    Mutation(
        "what another state of the program computed taken for today's",
        "dyntest/reviewing/survey.py",
        "(record.match, record.program) != (match, program())",
        "record.match != match",
        ("tests/reviewing/test_survey.py",),
    ),
    Mutation(
        "the maximum Case resistance told with the damping factor of the first peak",
        "dyntest/following/compute.py",
        "case_columns(waves, by_match, factor_for_maximum(by_match))",
        "case_columns(waves, by_match, by_match)",
        ("tests/following/test_follow.py",),
    ),
)


INSTALLED = {"dyntest": "dyntest", "dyntest_dashboard": "dashboard", "dyntest_samples": "sample_signals"}
"""Folder of each package by the name it is imported by."""


def copied(folder: Path) -> Path:
    """Give a copy of the project without what was made by running it, and beside it its packages by their names."""
    passed_over = shutil.ignore_patterns(".*", "__pycache__", "*.egg-info", "review", "survey", "build")
    project = Path(shutil.copytree(ROOT, folder / "project", ignore=passed_over))
    (folder / "packages").mkdir()
    for name, place in INSTALLED.items():
        (folder / "packages" / name).symlink_to(project / place)
    return project


def noticed(project: Path, mutation: Mutation) -> str:
    """Put a mistake into the copy, run the tests named for it, and take it out; gives what came of it."""
    path = project / mutation.file
    text = path.read_text(encoding="utf-8") if path.is_file() else ""
    if text.count(mutation.old) != 1:
        return "out of date: its text is not in the file once"
    path.write_text(text.replace(mutation.old, mutation.new), encoding="utf-8")
    try:
        here = {**os.environ, "PYTHONPATH": str(project.parent / "packages"), "PYTHONDONTWRITEBYTECODE": "1"}
        words = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", *mutation.tests]
        done = subprocess.run(words, cwd=project, env=here, capture_output=True, text=True)
    finally:
        path.write_text(text, encoding="utf-8")
    failed = [line for line in done.stdout.splitlines() if line.startswith(("FAILED", "ERROR"))]
    if done.returncode == 1 and failed:
        return f"noticed by {failed[0].split(' - ')[0].removeprefix('FAILED ')}"
    return f"NOT noticed (pytest left with {done.returncode})"


def main(chosen: list[str]) -> int:
    """Try the mistakes, all or those chosen by number, and give the exit status."""
    wrong = 0
    with tempfile.TemporaryDirectory() as folder:
        project = copied(Path(folder))
        for number, mutation in enumerate(MUTATIONS, 1):
            if not chosen or str(number) in chosen:
                outcome = noticed(project, mutation)
                wrong += not outcome.startswith("noticed")
                print(f"{number:2d}  {mutation.what}: {outcome}", flush=True)
    print(f"{wrong} mistakes were not noticed" if wrong else "every mistake was noticed")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
