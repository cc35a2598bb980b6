"""Choices written into a sheet: they read back the same, and nothing else is touched."""

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dyntest.errors import InputError
from dyntest.reading.edit import statements, with_choices
from dyntest.reading.parts import Choices
from dyntest.reading.sheet import read_sheet

SHEET = '''# a remark at the top
format = 1

[test]  # of the test
project = """two lines with a trap:
[choices]
align = true
"""
pile = 'P1 # no remark'

[soil]
shaft = "clay"

[[drive]]
kind = "initial"
signals = ["a [choices].csv",   # a trap
  "b.csv"]
'''
OLD = """
[choices]            # decided on Monday
# two gauges were loose
leave_out = ["strain_1"]   # loose
low_pass = "2 kHz"
align = true

[choices.blow]
initial = 12   # the last sound one
"""

choices = st.builds(
    Choices,
    blow=st.dictionaries(st.sampled_from(["initial", "restrike_1", "restrike_2"]), st.integers(1, 9999)),
    damping_factor=st.none() | st.floats(0.0, 2.0),
    leave_out=st.lists(st.sampled_from(["strain_1", 'a "b" [c]', "µ#"]), unique=True).map(tuple),
    low_pass=st.none() | st.floats(200.0, 9000.0),
    align=st.booleans(),
    soil_law=st.sampled_from(["best", "hyperbolic", "elastic-plastic"]),
    verification=st.none() | st.text(st.characters(categories=["L", "N", "P", "Zs"]), min_size=1),
    setup_credit=st.none() | st.booleans(),
)
tails = st.sampled_from(
    [
        "",
        OLD,
        OLD + "\n[requirement]\ndamping_factor = 0.4 # not a choice\n",
        "[choices]\nblow.initial = 3\nblow.restrike = 4\n",
        "[choices.blow]\ninitial = 3",
        "[choices]\nblow = { initial = 3 }\nsetup_credit = true",
    ]
)


@given(choices, tails, st.sampled_from(["\n", "\r\n"]))
def test_choices_read_back_the_same_and_nothing_else_changes(chosen, tail, ending):
    before = (SHEET + tail).replace("\n", ending)
    after = with_choices(before, chosen)
    old, new = tomllib.loads(before), tomllib.loads(after)
    found = new.pop("choices", {})
    old.pop("choices", None)
    assert new == old
    low_pass = found.pop("low_pass", None)
    if low_pass is not None and chosen.low_pass != 2000.0:
        low_pass = float(low_pass.removesuffix(" Hz"))
        assert low_pass == chosen.low_pass
    assert Choices(**{**found, "leave_out": tuple(found.get("leave_out", ())), "low_pass": chosen.low_pass}) == chosen
    assert after.startswith(SHEET.replace("\n", ending))
    assert all(line.endswith("\r") for line in after.split("\n")[:-1]) == (ending == "\r\n")
    for remark in (
        "# decided on Monday",
        "# two gauges were loose",
        "# loose",
        "# the last sound one",
        "# not a choice",
    ):
        assert after.count(remark) == before.count(remark)


@given(choices, tails)
def test_writing_twice_is_writing_once(chosen, tail):
    once = with_choices(SHEET + tail, chosen)
    assert with_choices(once, chosen) == once


def test_a_choice_that_stays_keeps_its_line():
    after = with_choices(
        SHEET + OLD, Choices(leave_out=("strain_1",), low_pass=2000.0, align=True, blow={"initial": 9})
    )
    assert 'leave_out = ["strain_1"]   # loose\nlow_pass = "2 kHz"\nalign = true\n' in after
    assert "blow = { initial = 9 }\n" in after
    assert "[choices.blow]" not in after


def test_choices_of_another_form_are_replaced_or_refused_but_never_half():
    inline = 'choices = { align = true }\nformat = 1\n[test]\npile = "A"\n'
    after = with_choices(inline, Choices(setup_credit=True))
    assert tomllib.loads(after) == {"format": 1, "test": {"pile": "A"}, "choices": {"setup_credit": True}}
    dotted = "choices.align = true\nformat = 1\n"
    assert tomllib.loads(with_choices(dotted, Choices()))["format"] == 1


def test_a_real_sheet_is_read_with_its_new_choices(small_test):
    sheet = read_sheet(small_test)
    chosen = Choices(
        blow={"initial": 480}, damping_factor=0.35, leave_out=("strain_2",), low_pass=1500.0, setup_credit=True
    )
    new = small_test.with_name("chosen.toml")
    new.write_text(with_choices(sheet.text, chosen))
    assert read_sheet(new).choices == chosen
    assert new.read_text().startswith(small_test.read_text())


def test_statements_joined_are_the_whole():
    text = SHEET + OLD
    assert "".join(one.text for one in statements(text)) == text
    assert [one.table for one in statements(text) if one.header] == [
        ("test",),
        ("soil",),
        ("drive",),
        ("choices",),
        ("choices", "blow"),
    ]


def test_what_cannot_be_replaced_safely_is_refused(monkeypatch):
    monkeypatch.setattr("dyntest.reading.edit._same", lambda before, after: False)
    with pytest.raises(InputError) as caught:
        with_choices(SHEET, Choices(align=True))
    assert caught.value.place == "[choices]"
