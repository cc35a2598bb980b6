"""Terms are used alike: a wording that a term replaces stands nowhere in what a reader sees."""

import ast
from pathlib import Path

import pytest

import dyntest
from dyntest.presenting.terms import NOT_WRITTEN, TERMS, short_length, tape, wrapped

LIBRARY = Path(dyntest.__file__).parent
PRODUCT = sorted([*LIBRARY.rglob("*.py"), *LIBRARY.parent.glob("dashboard/**/*.py")])


def texts(source: str) -> list[str]:
    """Every text of a module that is not a docstring."""
    tree = ast.parse(source)
    documented = (ast.Module, ast.ClassDef, ast.FunctionDef)
    told = {
        id(node.body[0].value) for node in ast.walk(tree) if isinstance(node, documented) and ast.get_docstring(node)
    }
    told |= {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    nodes = [node for node in ast.walk(tree) if isinstance(node, ast.Constant) and isinstance(node.value, str)]
    return [node.value for node in nodes if id(node) not in told]


@pytest.mark.parametrize("path", PRODUCT, ids=lambda path: path.stem)
def test_no_replaced_wording_is_written(path):
    if path.name == "terms.py":
        return
    written = " ".join(texts(path.read_text(encoding="utf-8"))).casefold()
    assert [words for words in NOT_WRITTEN if words.casefold() in written] == []


def test_a_replaced_wording_would_be_seen():
    assert texts('"""doc"""\nx = f"as likely {1}"\n') == ["as likely "]


def test_every_term_has_a_meaning():
    assert all(len(meaning) > 10 for meaning in TERMS.values())


@pytest.mark.parametrize(("length", "us", "si"), [(17.0, "56 ft", "17.0 m"), (1.4935, "5 ft", "1.5 m")])
def test_depths_are_rounded_as_a_tape_reads(length, us, si):
    assert (tape(length, "US"), tape(length, "SI")) == (us, si)


def test_short_lengths_are_whole():
    assert (short_length(0.1524, "US"), short_length(0.150, "SI")) == ("6 in", "150 mm")


@pytest.mark.parametrize(("columns", "wide"), [("80", 80), ("30", 60), ("250", 100)])
def test_lines_are_as_wide_as_the_terminal_within_reason(monkeypatch, columns, wide):
    monkeypatch.setenv("COLUMNS", columns)
    lines = wrapped("word " * 100)
    assert wide - 5 <= max(map(len, lines)) <= wide
