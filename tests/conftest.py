"""Fixtures that several folders of tests share."""

import gc
import re
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, settings

SAMPLES = Path(__file__).parent.parent / "sample_signals"


settings.register_profile(
    "untimed", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow], print_blob=True
)
settings.load_profile("untimed")
"""No example has a deadline, and the same examples come at every run, on a busy machine too."""

MARKED_FOLDERS = {"benchmarks": "benchmark", "browser": "browser"}
"""Folders all of whose tests carry a mark."""

PATIENCE = 300.0
"""Longest time that an event is waited for before it counts as never coming [s]."""


def pytest_ignore_collect(collection_path, config):
    """Read no folder all of whose tests are left out by their mark."""
    mark = MARKED_FOLDERS.get(collection_path.name)
    return True if mark and f"not {mark}" in config.option.markexpr else None


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items):
    """Mark what lies in a folder of its own, before marks choose what is run."""
    for item in items:
        mark = MARKED_FOLDERS.get(item.path.parent.name)
        if mark:
            item.add_marker(mark)


def pytest_collection_finish():
    """Look for garbage as seldom as a command does, and never among what was loaded to collect the tests."""
    from dyntest.processes import COLLECTIONS

    gc.collect()
    gc.freeze()
    gc.set_threshold(*COLLECTIONS)


@pytest.fixture(scope="session")
def public_face():
    """Dotted names that README's table lists for others to build on."""
    readme = (Path(__file__).parent.parent / "README.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| `(dyntest[\w.]*)` \|(.*)\|$", readme, flags=re.M)
    return {f"{folder}.{name}" for folder, cells in rows for name in re.findall(r"`([\w.]+)`", cells)}


@pytest.fixture(scope="session")
def until():
    """Wait for an event: asks again and again until the answer is true, and gives it."""

    def wait(asked: Callable[[], object], what: str = "what was waited for") -> object:
        give_up = time.monotonic() + PATIENCE
        while not (answer := asked()):
            if time.monotonic() > give_up:
                pytest.fail(f"{what} did not come within {PATIENCE:.0f} s")
            time.sleep(0.02)
        return answer

    return wait


@pytest.hookimpl(tryfirst=True)
def pytest_configure(config):
    """Time nothing unless it is asked for: what is timed also runs once as a test."""
    asked = config.getoption("benchmark_only", False) or config.getoption("benchmark_enable", False)
    config.option.benchmark_disable = not asked


@pytest.fixture(scope="session")
def stepped_waves():
    """A wave calculation of its own, a few lines long, to check the library against.

    One segment is one time step. At each node between segments, with the wave D from above and U from below,
    ``v (Z1 + Z2 + viscous) = 2 D − 2 U − static`` and the node stands still where the static resistance can hold it;
    the resistance is rigid-plastic. Nothing comes back from above the gauges, so the downward wave is the pulse.
    """

    def run(pulse, impedance, static, viscous, toe):
        """Waves at the gauges; `static` and `viscous` have a value for each node, the last (the toe's) unused."""
        segments = len(impedance)
        down, up = np.zeros(segments), np.zeros(segments)  # arriving at the lower, at the upper end of each segment
        recorded = np.zeros(len(pulse))
        above, below = np.asarray(impedance[:-1]), np.asarray(impedance[1:])
        holds, drags = np.asarray(static[1:-1]), np.asarray(viscous[1:-1])
        for moment, wave in enumerate(pulse):
            recorded[moment] = up[0]
            push = 2 * down[:-1] - 2 * up[1:]
            slip = np.sign(push) * np.maximum(np.abs(push) - holds, 0.0) / (above + below + drags)
            toe_push = 2 * down[-1]
            if toe_push > 0:
                toe_slip = max(toe_push - toe[0], 0.0) / (impedance[-1] + toe[1])
            else:
                toe_slip = toe_push / impedance[-1]  # the soil does not pull
            new_up = np.append(down[:-1] - above * slip, down[-1] - impedance[-1] * toe_slip)
            new_down = np.append(wave, up[1:] + below * slip)
            down, up = new_down, new_up
        return np.asarray(pulse, dtype=float), recorded

    return run


@pytest.fixture(scope="session")
def plain_sheet():
    """Give the text of a test sheet: a steel pile with two gauges of each kind, and what a test says of its files."""

    def text(rest, pile="P", length="17 m"):
        return f"""format = 1
[test]
pile = "{pile}"
[pile]
material = "steel"
section = "HP12x53"
length_below_gauges = "{length}"
[gauges]
strain = ["strain_1", "strain_2"]
acceleration = ["acceleration_1", "acceleration_2"]
{rest}"""

    return text


@pytest.fixture(scope="session")
def lay_out_small_test():
    """Lay out a copy of a sample test of two drives, cut to a few blows and without a log; gives its sheet."""

    sample, kept = SAMPLES / "pier_3_shale", {}

    def cut(name, blows):
        """The file with some blows of a drive, made once."""
        if (name, blows) not in kept:
            records = pd.read_parquet(sample / f"{name}.parquet")
            chosen = records["blow"].unique()[-blows:] if name == "initial" else records["blow"].unique()[:blows]
            kept[name, blows] = records[records["blow"].isin(chosen)].to_parquet()
        return kept[name, blows]

    def lay_out(folder, initial=12, restrike=8):
        for name, blows in (("initial", initial), ("restrike", restrike)):
            (folder / f"{name}.parquet").write_bytes(cut(name, blows))
        sheet = folder / "sheet.toml"
        sheet.write_text((sample / "sheet.toml").read_text().replace('log = "driving_log.csv"\n', ""))
        return sheet

    return lay_out


@pytest.fixture
def small_test(tmp_path, lay_out_small_test):
    """The sheet of a small test that may be spoilt."""
    folder = tmp_path / "small"
    folder.mkdir()
    return lay_out_small_test(folder)


@pytest.fixture(scope="session")
def small_review(tmp_path_factory, lay_out_small_test):
    """The review of a small test that no one spoils, without matching and so without a criterion."""
    from dyntest.reviewing.review import review

    return review(lay_out_small_test(tmp_path_factory.mktemp("small")), match="none")


@pytest.fixture(scope="session")
def small_review_matched(small_review):
    """The same with a match of each drive."""
    from dyntest.reviewing.review import review

    return review(small_review.sheet.path)


@pytest.fixture(scope="session")
def reviewed_sample():
    """Give the review of a sample test, by its folder's name, each computed once."""
    from dyntest.reviewing.review import review

    kept = {}

    def give(name):
        if name not in kept:
            kept[name] = review(SAMPLES / name / "sheet.toml")
        return kept[name]

    return give


@pytest.fixture(scope="session")
def searching_from():
    """Give a search that takes the soil of a match, in the place of one among all soils."""
    from dyntest.wave_equation.comparison import Runs
    from dyntest.wave_equation.matching import match_from

    def begin(known):
        def search(blow, **options):
            yield Runs([])
            return match_from(blow, known)

        return search

    return begin


@pytest.fixture(scope="session")
def concrete_sample(tmp_path_factory, searching_from):
    """The review of a sound concrete sample, its blow matched from the soil of its last one, as one of a drive may be.

    The last blow is matched alone and under one static law, so this takes less than half of what `reviewed_sample`
    does.
    """
    from dyntest.reviewing import drive_match
    from dyntest.reviewing.review import review

    sample, folder = SAMPLES / "abutment_1_concrete", tmp_path_factory.mktemp("last")
    records = pd.read_parquet(sample / "initial.parquet")
    records[records["blow"] == records["blow"].max()].to_parquet(folder / "initial.parquet")
    text = (sample / "sheet.toml").read_text().replace('log = "driving_log.csv"\n', "")
    (folder / "sheet.toml").write_text(f'{text}\n[choices]\nsoil_law = "elastic-plastic"\n')
    last = review(folder / "sheet.toml").drives[0].match
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(drive_match, "search_match", searching_from(last))
        return review(sample / "sheet.toml")


@pytest.fixture(scope="session")
def damaged_unmatched():
    """The review of the damaged sample test pile without matching."""
    from dyntest.reviewing.review import review

    return review(SAMPLES / "abutment_4_damaged" / "sheet.toml", match="none")


FOOT, KIP, INCH = 0.3048, 4448.2216152605, 0.0254


@pytest.fixture(scope="session")
def told_result():
    """Give what a structure takes from a test pile, written down by hand: no review and no matching is run for it."""
    from datetime import datetime

    from dyntest.decisions.combined_criterion import PileCriterion
    from dyntest.decisions.criterion import COUNTING, Criterion, CriterionRow, RestrikeRule
    from dyntest.decisions.estimate import Estimate
    from dyntest.reading.parts import Layer
    from dyntest.reviewing.pile_result import DriveResistance, PileResult, SetupPoint

    diesel = (4 * INCH, 50 * FOOT, {6.0: 22, 7.0: 19, 8.0: 16, 9.0: 14, 10.0: 13})
    hydraulic = (6 * INCH, 40 * FOOT, {1.5: 47, 2.0: 29, 2.5: 22, 2.8: 19})
    shown = {6.5: 10, 8.0: 8, 9.5: 7}

    def make(pile, *, kind="open-end diesel", factor=1.0, alerts=(), setup=1.5, day=4, deepest=60.0):
        held_over, least, counts = hydraulic if kind == "hydraulic" else diesel
        rows = tuple(CriterionRow(stroke * FOOT, factor * held_over / count) for stroke, count in counts.items())
        restruck = tuple(CriterionRow(stroke * FOOT, INCH / count) for stroke, count in shown.items())
        rule = RestrikeRule("setup", 65 * FOOT, 6.8 * 86400.0, 380 * KIP, restruck, INCH, 3 * INCH)
        held = Criterion(
            rows,
            held_over,
            COUNTING["US"],
            required_resistance=270 * KIP,
            minimum_penetration=least,
            minimum_stroke=min(counts) * FOOT,
            maximum_stroke=max(counts) * FOOT,
            restrike=None if kind == "hydraulic" else rule,
            alerts=alerts,
            piles=(pile,),
        )
        found = Estimate(265 * KIP, 252 * KIP, 276 * KIP)
        start = datetime(2026, 5, day, 13, 5)
        drive = DriveResistance("initial", "initial", start, deepest * FOOT, found, 290 * KIP, 2.2e4, 0.42, 0.53,
                                8 * FOOT, 2.4e8, 0.5)  # fmt: skip
        depth = np.linspace(20.0, deepest, 9) * FOOT
        points = (SetupPoint("restrike_1", 6.8 * 86400.0, Estimate(setup, setup - 0.06, setup + 0.07), True),)
        return PileResult(
            pile=pile,
            display_units="US",
            shaft_soil="clay",
            toe_soil="clay",
            trust="yes",
            required_resistance=380 * KIP,
            condition="",
            drives=(drive,),
            setups=points,
            efficiency=0.6,
            depth=tuple(depth),
            case_resistance=tuple(290 * KIP * depth / depth[-1]),
            layers=(Layer(0.0, 12 * FOOT, "silt", "soft"), Layer(12 * FOOT, 70 * FOOT, "clay", "stiff")),
            tip_reinforcement=0.0,
            criterion=PileCriterion(pile, held, "steel", 6.8e5, kind, 1814.0, 0.09),
            targets=(),
        )

    return make


@pytest.fixture(scope="session")
def told_record():
    """Give the record of a test sheet with a result written down by hand, as an earlier run would have kept it."""
    from dyntest.reading.files import digests, program
    from dyntest.reading.sheet import read_sheet
    from dyntest.reviewing.survey import COLUMNS, COUNTS, TEXTS, PileRecord

    def make(folder, sheet, result):
        row = dict.fromkeys(COLUMNS) | dict.fromkeys(TEXTS, "") | dict.fromkeys(COUNTS, 2)
        row |= {"sheet": sheet, "pile": result.pile, "trust": result.trust, "display_units": result.display_units}
        row |= {"peak_gauge_stress": 2.2e8, "compression_stress": 2.4e8, "compression_stress_limit": 3.1e8}
        return PileRecord(sheet, digests(read_sheet(folder / sheet)), "best", program(), row, "", result)

    return make


@pytest.fixture(scope="session")
def told_sample(told_record, told_result):
    """Records of the four sample test piles with results written down by hand, by the names of their sheets."""
    from dyntest.decisions.trust import Caution

    hurt = (Caution("reduced section", 0.4, None, {"depth": 12.0}),)
    results = {
        "pier_2_clay": told_result("P2-4"),
        "pier_3_shale": told_result("P3-1", day=6, deepest=42.0),
        "abutment_1_concrete": told_result("A1-2", kind="hydraulic", day=7, deepest=50.0),
        "abutment_4_damaged": told_result("A4-3", kind="hydraulic", factor=0.8, alerts=hurt, day=8, deepest=50.0),
    }
    return {f"{name}/sheet.toml": told_record(SAMPLES, f"{name}/sheet.toml", one) for name, one in results.items()}
