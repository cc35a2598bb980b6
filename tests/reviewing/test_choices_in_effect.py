"""Every choice of a sheet has its effect on the review."""

from dataclasses import replace

import numpy as np
import pytest

from dyntest.errors import InputError
from dyntest.reading.edit import with_choices
from dyntest.reading.parts import Choices
from dyntest.reading.sheet import read_sheet
from dyntest.reviewing.review import conclude, review


@pytest.fixture(scope="module")
def sheet(tmp_path_factory, lay_out_small_test):
    """A small test that no one changes."""
    return lay_out_small_test(tmp_path_factory.mktemp("chosen"))


REQUIRED = 'nominal_resistance = "380 kip"\n'


def chosen(sheet, match="none", **choices):
    """Review the sheet with these choices; a matched one requires nothing, so that no criterion is derived."""
    new = sheet.with_name("chosen.toml")
    text = sheet.read_text() if match == "none" else sheet.read_text().replace(REQUIRED, "")
    new.write_text(with_choices(text, Choices(**choices)))
    return review(new, match=match)


def column(reviewed, code, drive=0):
    return reviewed.drives[drive].table[code].to_numpy()


def test_blow(sheet, small_review):
    first = int(column(small_review, "blow")[0])
    assert small_review.drives[0].representative.blow != first
    assert chosen(sheet, blow={"initial": first}).drives[0].representative.blow == first


def test_damping_factor(sheet, small_review):
    other = chosen(sheet, damping_factor=0.8)
    assert (column(other, "damping_factor") == 0.8).all()
    assert (column(other, "case_resistance") < column(small_review, "case_resistance")).all()


def test_leave_out(sheet, small_review):
    other = chosen(sheet, leave_out=("strain_1",))
    assert not np.allclose(column(other, "peak_force"), column(small_review, "peak_force"), rtol=0.02)
    assert "single strain gauge" in [finding.check for finding in other.drives[0].findings]


def test_low_pass(sheet, small_review):
    other = chosen(sheet, low_pass=800.0)
    assert (column(other, "peak_force") < column(small_review, "peak_force")).all()


def test_align(sheet, small_review):
    other = chosen(sheet, align=True)
    assert not np.array_equal(column(other, "proportionality"), column(small_review, "proportionality"))


@pytest.mark.sweep
def test_soil_law(sheet, small_review_matched):
    law = {"hyperbolic", "elastic-plastic"} - {small_review_matched.drives[0].match.law}
    assert {drive.match.law for drive in chosen(sheet, "best", soil_law=min(law)).drives} == law


def test_verification(sheet):
    text = sheet.read_text()
    assert REQUIRED in text
    loaded = sheet.with_name("loaded.toml")
    loaded.write_text(text.replace(REQUIRED, 'factored_load = "247 kip"\n'))
    with pytest.raises(InputError, match="verification"):
        read_sheet(loaded)
    required = chosen_required(loaded, "dynamic tests on some piles")
    assert required.value == pytest.approx(247 / 0.65 * 4448.2216)
    assert chosen_required(loaded, "dynamic tests on every pile").value == pytest.approx(247 / 0.75 * 4448.2216)
    with pytest.raises(InputError, match="is not known"):
        chosen_required(loaded, "a good feeling")


def chosen_required(sheet, verification):
    return chosen(sheet, verification=verification).answers.required


@pytest.mark.parametrize(("credit", "smaller"), [(True, True), (False, False), (None, False)])
def test_setup_credit(reviewed_sample, credit, smaller):
    """The target alone: no criterion is derived from it."""
    reviewed = reviewed_sample("pier_2_clay")
    other = replace(reviewed.sheet, choices=replace(reviewed.sheet.choices, setup_credit=credit))
    target = conclude(other, reviewed.drives, derive=lambda *_: (None, None)).answers.target
    assert (target.value < target.required) is smaller


def test_a_restrike_that_lost_raises_the_target_whatever_is_chosen(small_review_matched):
    target = small_review_matched.answers.target
    assert target.value > target.required
