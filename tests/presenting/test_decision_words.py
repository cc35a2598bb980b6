"""Every kind of caution that a decision can give has its words, in both systems of units."""

import ast
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dyntest.decisions.criterion import RuledOut
from dyntest.decisions.end_of_drive_target import EndOfDriveTarget
from dyntest.decisions.resistance_factors import RequiredResistance
from dyntest.decisions.trust import Caution
from dyntest.presenting import decision_words
from dyntest.presenting.criterion_words import requirement_words, target_sentence
from dyntest.presenting.decision_words import ruled_out_words, told

LIBRARY = Path(decision_words.__file__).parent.parent


def test_counts_beyond_refusal_are_a_range_and_a_lower_stroke_is_no_reason():
    """A requirement far beyond the hammer: one line for the inspector's engineer, not one for every stroke."""
    counts = [RuledOut("refusal", 2.0 + 0.1 * i, 0.0254 / (233.1 - 20.0 * i), 0.0254 / 10) for i in range(4)]
    message = told(Caution("no usable stroke", facts={"reasons": counts}), "US").message
    assert message.endswith(": the count would be 173 to 233 blows per inch, at or beyond practical refusal")
    stresses = [RuledOut("tension", 1.0, 4e6, 2e6), RuledOut("lower stroke", 1.0, 4e6, 2e6)]
    message = told(Caution("no usable stroke", facts={"reasons": stresses}), "SI").message
    assert message.endswith(f": {ruled_out_words(stresses[0], 'SI')}")
    assert ruled_out_words(counts[0], "US").startswith("the count would be 233 blows")
    nearly = RuledOut("refusal", 2.0, 0.0254 / 9.9, 0.0254 / 10)  # 29.7 blows in 3 in are asked as 30, which is refusal
    assert ruled_out_words(nearly, "US").startswith("the count would be 10 blows")


@pytest.mark.parametrize(("name", "told_of"), [("restrike", "the restrike"), ("restrike_2", "restrike 2")])
def test_a_restrike_is_named_in_a_sentence_as_one_says_it(name, told_of):
    facts = {"initial": "initial", "restrike": name, "before": 2.4, "after": 2.8}
    message = told(Caution("different stroke", 0.2, 0.1, facts)).message
    assert message == f"the stroke was 2.40 m in the initial drive and 2.80 m in {told_of}"
    assert told(Caution("wait not known", facts=facts)).message == f"the wait before {told_of} is not known"


@pytest.mark.parametrize(
    ("share", "least", "asked"),
    [(0.02, 2, "at least 2 tested piles per site condition and 2 % of the piles"), (1.0, 1, "a dynamic test of every"),
     (0.0, 5, "at least 5 tested piles of one kind")],
)  # fmt: skip
def test_the_tests_that_a_factor_requires_are_those_of_its_document(share, least, asked):
    facts = {"share": share, "factor": 0.6, "source": "its document"}
    message = told(Caution("tested piles", 1, least, facts)).message
    assert asked in message and "its document" in message


@pytest.mark.parametrize(("factor", "told_as"), [(0.65, "0.65"), (1.0 / (1.275 * 1.3), "0.60332")])
def test_a_resistance_factor_has_the_digits_that_give_the_requirement(factor, told_as):
    """700 kN over 0.60 would be 1,167 kN, not the 1,160.25 kN beside it."""
    required = RequiredResistance(700e3 / factor, "factored", 700e3, factor)
    assert requirement_words(required, "SI") == f"factored load 700 kN over resistance factor {told_as}"


def kinds_in_use() -> set[str]:
    """The first argument of every `Caution(…)` in the library."""
    found = set()
    for path in (*LIBRARY.glob("decisions/*.py"), *LIBRARY.glob("reviewing/*.py")):
        tree = ast.parse(path.read_text())
        named = {
            target.id: node.value.value
            for node in ast.walk(tree)
            if isinstance(node, ast.Assign) and isinstance(node.value, ast.Constant)
            for target in node.targets
            if isinstance(target, ast.Name)
        }
        for node in ast.walk(tree):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Caution":
                first = node.args[0]
                found.add(first.value if isinstance(first, ast.Constant) else named[first.id])
    return found


def test_every_kind_has_words_and_no_words_are_idle():
    assert kinds_in_use() == set(decision_words._WORDS)


def test_decisions_and_reviewing_know_no_display_units():
    """Only presenting turns SI into what a reader sees."""
    for path in (*LIBRARY.glob("decisions/*.py"), *LIBRARY.glob("reviewing/*.py")):
        source = path.read_text()
        names = {node.arg for node in ast.walk(ast.parse(source)) if isinstance(node, ast.arg)}
        assert "system" not in names, path.name
        assert "names import show" not in source, path.name


@pytest.mark.parametrize(("system", "unit"), [("SI", "kN"), ("US", "kip")])
def test_numbers_come_in_the_units_asked_for(system, unit):
    facts = {"read": 1.5e6, "matched": 2.0e6}
    words = told(Caution("bearing graph against measured blows", -0.25, 0.15, facts), system)
    assert words.message.count(unit) == 2
    assert "15 %" in words.message


def test_the_pile_is_named_where_several_stand_together():
    assert told(Caution("lower bound", pile="P2-9")).message.startswith("P2-9: ")


@pytest.mark.parametrize("kind", ["compression", "bending", "tension", "refusal", "lower stroke"])
def test_every_reason_to_rule_a_stroke_out_has_words(kind):
    assert ruled_out_words(RuledOut(kind, 2.0, 0.002 if kind == "refusal" else 3e8, 2e8), "US")
    assert ruled_out_words(None, "US") == ""


@given(st.floats(2e5, 2e7), st.floats(0.6, 2.5), st.sampled_from(["US", "SI"]))
def test_a_reader_who_divides_the_numbers_of_the_target_finds_its_value(required, ratio, system):
    told = target_sentence(EndOfDriveTarget(required / ratio, required, "credited"), system)
    above, below, value = re.search(r": ([\d.,]+) / ([\d.]+) = ([\d.,]+) ", told).groups()
    places = len(value.partition(".")[2])
    assert f"{float(above.replace(',', '')) / float(below):,.{places}f}" == value


@pytest.mark.parametrize(
    ("kind", "credit"),
    [("not measured", True), ("not credited", True), ("relaxation", False), ("credited", False)],
)
def test_no_setup_is_promised_after_a_loss_or_once_credited(kind, credit):
    """Sample P3-1 lost resistance, and was told to credit setup if a restrike showed it."""
    cure = told(Caution("stroke not reached", 2.9, 2.8, {"kind": kind})).cure
    assert ("setup" in cure) == credit and cure.endswith("or accept by restrike only")
