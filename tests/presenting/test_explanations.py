"""The table of explanations says what the functions that compute the numbers say in their docstrings."""

import ast
import inspect
import re
from importlib import import_module
from pathlib import Path

import pytest

from dyntest.names import NAMES
from dyntest.presenting.explanations import EXPLANATIONS, NUMBERED, TABLE, explained_name, reference
from dyntest.presenting.finding_words import WORDS as FINDING_WORDS

LISTED_IN = Path(__file__).parents[2] / "DEVELOPERS.md"

GREEK = {
    "epsilon": "ε", "sigma": "σ", "eta": "η", "beta": "β", "rho": "ρ", "tau": "τ", "Delta": "Δ", "integral": "∫",
    "sqrt": "√", "dif": "d", "overline": "", "quad": "", "abs": "", "sum": "Σ", "log": "log",
}  # fmt: skip
"""What the words of the typesetter's notation stand for."""


def docstrings(module: str) -> str:
    """Every docstring of a module as one text, white space folded."""
    nodes = ast.walk(ast.parse(inspect.getsource(import_module(module))))
    documented = ast.Module | ast.FunctionDef | ast.ClassDef
    return " ".join(" ".join((ast.get_docstring(node) or "").split()) for node in nodes if isinstance(node, documented))


def symbols(text: str) -> set[str]:
    """Letters of an equation, whatever notation it is written in."""
    for word, letter in GREEK.items():
        text = re.sub(rf"\b{word}\b", f" {letter} ", text)
    return set(re.sub(r"[^A-Za-zα-ωΔΣβ]", "", text.replace("mean", "").replace("over", "").replace("of", "")))


@pytest.mark.parametrize("one", TABLE, ids=lambda one: one.keys[0])
def test_equations_are_those_of_the_docstrings(one):
    known = docstrings(one.computed_in)
    for equation in one.equations:
        assert equation in known


@pytest.mark.parametrize("one", TABLE, ids=lambda one: one.keys[0])
def test_an_explanation_gives_validity_and_source(one):
    assert len(one.what) > 15
    assert len(one.validity) > 5
    assert one.source.endswith(".")
    assert all(len(sentence.split()) <= 25 for sentence in re.split(r"(?<=\.) ", one.validity))


@pytest.mark.parametrize("one", [one for one in NUMBERED if one.equations], ids=lambda one: one.keys[0])
def test_the_typeset_equation_has_the_letters_of_the_written_one(one):
    plain = symbols(" ".join(one.equations))
    typeset = symbols(one.typeset)
    assert len(plain - typeset) <= 3, (plain, typeset)


def test_a_key_is_explained_once_and_named_as_the_table_of_names_names_it():
    keys = [key for one in TABLE for key in one.keys]
    assert len(keys) == len(set(keys)) == len(EXPLANATIONS)
    assert NAMES["integrity_factor"].words in explained_name(EXPLANATIONS["integrity_factor"]).lower()
    assert explained_name(EXPLANATIONS["pay length"]) == "Pay length"


def test_numbers_of_equations_follow_their_order():
    assert [reference(one.keys[0]) for one in NUMBERED] == [f"eq. {n + 1}" for n in range(len(NUMBERED))]
    assert reference("penetration") == ""


def test_the_developers_page_lists_the_numbers_as_the_table_has_them():
    section = LISTED_IN.read_text(encoding="utf-8").split("## What each number means")[1].split("\n## ")[0]
    listed = re.findall(r"^\| (`\w+`.*?) \| (.*?) \| (.*?) \|$", section, flags=re.M)
    rows = {(", ".join(f"`{key}`" for key in one.keys if key in NAMES), one.what, one.source) for one in TABLE}
    numbers = [row for row in listed if row[0].strip("`").split("`")[0] in NAMES]
    assert len(numbers) > 8
    assert [row for row in numbers if row not in rows] == []


def test_the_share_of_the_shaft_says_that_damping_is_in_it_wherever_it_is_named():
    """Read as the share of the static resistance it would mislead."""
    name = NAMES["shaft_share"].words
    assert "static and dynamic" in name and "match the blow" in EXPLANATIONS["shaft_share"].validity
    (uniform,) = [words for (check, _), words in FINDING_WORDS.items() if check == "uniform pile"]
    assert name in uniform.problem and "shaft share" not in uniform.problem.replace(name, "")
