"""The stresses held against their limits come from the matched pile; finite-element records have their truth."""

import json
from pathlib import Path

import pytest

from dyntest.decisions.stress_limits import driving_stress_limits
from dyntest.reviewing.review import review
from dyntest.reviewing.stresses import driving_stresses

DAMAGED = "abutment_4_damaged"


@pytest.fixture(scope="module", params=["small", pytest.param(DAMAGED, marks=pytest.mark.sweep)])
def matched(request):
    """A sound pile with a restrike, and one with a reduced section."""
    if request.param == DAMAGED:
        return request.getfixturevalue("reviewed_sample")(DAMAGED)
    return request.getfixturevalue("small_review_matched")


def test_every_drive_has_both_senses_with_depth_blow_and_range(matched):
    found = driving_stresses(matched.drives, matched.limits)
    assert {(one.drive, one.sense) for one in found} == {
        (drive.name, sense) for drive in matched.drives for sense in ("compression", "tension")
    }
    for one in found:
        assert one.matched
        assert one.low <= one.value <= one.high
        assert 0.0 <= one.depth <= matched.sheet.pile.length
        assert one.limit == getattr(matched.limits, one.sense).value


def test_every_blow_is_corrected_by_the_ratio_at_the_matched_one(matched):
    drive = matched.drives[0]
    one = next(s for s in driving_stresses([drive], matched.limits) if s.sense == "compression")
    table = drive.table.set_index("blow")["peak_compression_stress"]
    rejected = {blow for f in drive.findings if f.severity == "reject" for blow in f.blows}
    worst = table[~table.index.isin(rejected)].max()
    assert one.value == pytest.approx(one.ratio * worst)
    assert one.ratio >= 1.0  # along the pile a stress is nowhere less than the greatest
    if drive.match.section is not None:  # which rises above that at the gauges
        assert one.ratio > 1.0


def test_without_a_match_the_quick_estimate_stands_and_says_so(matched):
    from dataclasses import replace

    drive = replace(matched.drives[0], match=None)
    for one in driving_stresses([drive], matched.limits):
        assert not one.matched
        assert one.low == one.value == one.high


def test_the_answer_holds_the_matched_stress_against_the_limit(matched):
    assert matched.answers.stresses == driving_stresses(matched.drives, driving_stress_limits(matched.sheet.pile))


REFERENCE = Path(__file__).parent.parent / "data" / "reference_tests"
TRUE = {"compression": "max_compression_anywhere", "tension": "max_tension_anywhere"}


@pytest.mark.sweep
@pytest.mark.parametrize("name", ["steel_reduced_section", "concrete_sand"])
def test_the_matched_stress_of_finite_element_records(name):
    """The greatest of all blows (openseespy, see PROVENANCE.md): compression within 6 %, never below by more than 3 %.

    Tension is a small difference of large waves, so its bar is the same share of the compression.
    """
    found = {one.sense: one for one in review(REFERENCE / name / "sheet.toml").answers.stresses}
    blows = json.loads((REFERENCE / name / "truth.json").read_text())["blows"]
    true = {sense: max(blow[key] for blow in blows) for sense, key in TRUE.items()}
    for sense, one in found.items():
        assert one.matched
        miss = (one.value - true[sense]) / true["compression"]
        assert -0.03 <= miss <= 0.06, (sense, one.value, true[sense])
