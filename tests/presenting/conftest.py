"""Reviewed tests that the tests of report and files share; each is worked out once."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from dyntest.conditioning.condition import condition
from dyntest.presenting.figures import review_figures
from dyntest.reading.sheet import read_sheet
from dyntest.reading.signal_tables import read_signals
from dyntest.reviewing.review import Review, review

SAMPLES = Path(__file__).parents[2] / "sample_signals"


def cut(sample: str, folder: Path, blows: int) -> Path:
    """Lay out the last blows of a sample's initial drive, numbered from 1 and without a log; gives its sheet."""
    records = pd.read_parquet(SAMPLES / sample / "initial.parquet")
    records["blow"] -= records["blow"].max() - blows
    records[records["blow"] > 0].to_parquet(folder / "initial.parquet")
    sheet = folder / "sheet.toml"
    sheet.write_text((SAMPLES / sample / "sheet.toml").read_text().replace('log = "driving_log.csv"\n', ""))
    return sheet


@pytest.fixture
def reviewed(small_review):
    """The small test without matching, under a shorter name."""
    return small_review


@pytest.fixture
def matched(small_review_matched):
    """The same, matched."""
    return small_review_matched


@pytest.fixture(scope="session")
def matched_review(small_review_matched):
    """A steel pile with a restrike, matched; US units."""
    return small_review_matched


@pytest.fixture(scope="session")
def plain_review(small_review):
    """The same without matching, and so without a criterion."""
    return small_review


@pytest.fixture(scope="session")
def matched_figures(matched_review):
    """Figures of the matched test, drawn once for all that show or compare them."""
    return review_figures(matched_review)


@pytest.fixture(scope="session")
def plain_figures(plain_review):
    """Those of the test without matching."""
    return review_figures(plain_review)


@pytest.fixture(scope="session")
def concrete_review(concrete_sample, renamed):
    """A concrete pile, matched, with no restrike; SI units."""
    return renamed(concrete_sample, display_units="SI")


@pytest.fixture(scope="session")
def damaged_review(damaged_unmatched, renamed):
    """A damaged concrete pile, not matched, with no restrike; SI units."""
    return renamed(damaged_unmatched, display_units="SI")


@pytest.fixture(scope="session")
def averaged_review(tmp_path_factory):
    """Averaged traces with no requirement, no hammer and no restrike; SI units."""
    folder = tmp_path_factory.mktemp("averaged")
    source = read_sheet(cut("abutment_1_concrete", folder, 6))
    waves = condition(read_signals(source, source.drives[0]), source.pile).waves
    blows, samples = waves.force.shape
    table = {
        "blow": np.repeat(waves.blow, samples),
        "time [s]": np.tile(waves.time, blows),
        "force [N]": waves.force.ravel(),
        "velocity [m/s]": waves.velocity.ravel(),
    }
    pd.DataFrame(table).to_parquet(folder / "averaged.parquet")
    sheet = folder / "averaged.toml"
    sheet.write_text(
        'format = 1\n[test]\npile = "A9"\n[pile]\nmaterial = "concrete"\narea = "1296 cm^2"\n'
        'length_below_gauges = "17.4 m"\nwave_speed = "4000 m/s"\ndensity = "2400 kg/m^3"\n'
        '[gauges]\nforce = "force"\nvelocity = "velocity"\n'
        '[[drive]]\nkind = "initial"\nsignals = "averaged.parquet"\n'
    )
    return review(sheet, match="none")


@pytest.fixture(scope="session")
def rejected_review(tmp_path_factory, lay_out_small_test):
    """Records with a dead strain gauge, so that no blow can stand for its drive."""
    sheet = lay_out_small_test(tmp_path_factory.mktemp("rejected"))
    for path in sheet.parent.glob("*.parquet"):
        records = pd.read_parquet(path)
        dead = {name: 0.0 for name in records.columns if name.startswith("strain_1")}
        records.assign(**dead).to_parquet(path)
    return review(sheet)


@pytest.fixture(scope="session")
def renamed() -> Callable[..., Review]:
    """Give a review under other names, as a sheet with them would have given it."""

    def rename(reviewed, **names):
        return replace(reviewed, sheet=replace(reviewed.sheet, **names))

    return rename
