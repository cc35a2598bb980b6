"""The sample structure's story, end to end: what its script put into the ground comes out of the review.

The values to come out are those of `sample_signals/make_samples.py`: they are not measured, and their records come
from the library's own simulator, so this holds the walk from sheet to answers and not the physics, which is held to
outside sources elsewhere.
"""

from dataclasses import replace

import pytest

from dyntest.presenting.criterion_words import inspectors_card
from dyntest.reviewing.pile_criterion import serious_doubts

FOOT, KIP = 0.3048, 4448.2216
REQUIRED = 380 * KIP


@pytest.fixture(scope="module")
def clay(reviewed_sample):
    return reviewed_sample("pier_2_clay")


@pytest.fixture(scope="module")
def shale(small_review_matched):
    """The last blows of its drive and the first of its restrike, which tell of the relaxation."""
    return small_review_matched


@pytest.fixture(scope="module", params=["from its last blow", pytest.param("afresh", marks=pytest.mark.sweep)])
def sound(request):
    """Matched from the soil of its last blow, and as the review does it."""
    if request.param == "afresh":
        return request.getfixturevalue("reviewed_sample")("abutment_1_concrete")
    return request.getfixturevalue("concrete_sample")


@pytest.fixture(scope="module")
def hurt(reviewed_sample):
    return reviewed_sample("abutment_4_damaged")


def test_setup_in_clay_is_measured_and_credited_with_a_margin(clay):
    last = clay.answers.setups[-1]
    assert last.setup_factor.value == pytest.approx(404 / 272, abs=0.06)  # shaft × 1.62, toe × 1.06 at the first blow
    assert last.setup_factor.low <= 404 / 272 <= last.setup_factor.high
    target = clay.answers.target
    assert target.middle == pytest.approx(REQUIRED / last.setup_factor.value, rel=0.02)
    assert target.middle <= target.value < 1.08 * target.middle
    assert target.required == pytest.approx(REQUIRED)
    assert REQUIRED * 272 / 404 < target.value < REQUIRED  # what becomes the requirement by the true change


def test_setup_fades_as_the_restrike_goes_on(clay):
    assert all(clay.answers.fades[name].fades for name in ("restrike_1", "restrike_2"))


def test_the_clay_criterion_fits_on_a_card(clay):
    found = clay.answers.criterion
    assert found.agrees
    assert not found.alerts
    averages = {round(row.stroke / FOOT, 1): 0.0254 / row.set_per_blow for row in found.rows}
    assert min(averages) == 6.0
    assert max(averages) == 10.0
    assert [averages[stroke] for stroke in sorted(averages)] == sorted(averages.values(), reverse=True)
    assert (
        3.5 <= averages[8.0] <= 6
    )  # the test pile itself had 47 blows in its last foot, at 7.9 ft and less resistance
    rule = found.criterion.restrike
    assert rule.change == "setup"
    assert rule.wait == pytest.approx(clay.answers.setups[-1].wait)
    words = inspectors_card(found.criterion, "US")
    assert len(words.sentences) <= 22
    assert any("50 ft" in sentence for sentence in words.meets)
    assert found.criterion.restrike.change == "setup" and words.restrike


def test_relaxation_in_shale_is_caught_and_the_target_raised(shale):
    (setup,) = shale.answers.setups
    assert setup.setup_factor.high < 1.0
    assert "relaxation" in [caution.kind for caution in setup.cautions]
    assert shale.answers.target.value >= REQUIRED / setup.setup_factor.value
    assert shale.answers.target.kind == "relaxation"


def test_damage_is_found_where_it_was_put(damaged_unmatched, sound):
    (drive,) = damaged_unmatched.drives
    assert [f for f in drive.findings if f.check == "integrity" and f.severity == "warning"]
    table, last = drive.table.set_index("blow"), drive.representative.blow
    assert 38 * FOOT < table["integrity_depth"][last] < 50 * FOOT
    assert table["integrity_factor"][last] < 0.8
    matched = replace(drive, match=sound.drives[0].match)  # as if the section had stayed hidden
    assert "damage" in [doubt.kind for doubt in serious_doubts(matched)]  # which forbids the criterion's use


@pytest.mark.sweep
def test_damage_is_matched_where_it_was_put_and_forbids_the_criterion(hurt):
    section = hurt.drives[0].match.section
    assert section is not None
    assert hurt.drives[0].match.misfit < 0.004  # 0.010 under the law alone that stood in for the section
    assert 36 * FOOT < section.depth < 50 * FOOT
    assert "damage" in [caution.kind for caution in hurt.answers.criterion.alerts]
    card = inspectors_card(hurt.answers.criterion.criterion, "US")
    assert len(card.alerts) == len(hurt.answers.criterion.alerts) and card.sentences[0] == card.alerts[0]


def test_its_sound_neighbour_is_not_called_damaged(sound):
    assert not [f for f in sound.drives[0].findings if f.check == "integrity" and f.severity != "note"]
    assert sound.drives[0].match.section is None
    assert "damage" not in [caution.kind for caution in sound.answers.criterion.alerts]


def test_tension_in_easy_driving_is_near_its_limit_and_rules_strokes_out(sound):
    drive, limit = sound.drives[0], sound.limits.tension.value
    easy = drive.table[drive.table["penetration"] < 32 * FOOT]
    assert easy["peak_tension_stress"].max() > 0.8 * limit
    hard = drive.table.tail(50)
    assert hard["peak_tension_stress"].median() < easy["peak_tension_stress"].quantile(0.9)
    rows = sound.answers.criterion.rows
    assert rows[-1].ruled_out is not None
    assert sound.answers.criterion.criterion.maximum_stroke < rows[-1].stroke
