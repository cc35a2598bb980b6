"""The names that README lists for others to build on exist, and say what they do."""

import importlib
import re
from pathlib import Path

import pytest

README = Path(__file__).parents[1] / "README.md"
LISTED = re.findall(r"^\| `(dyntest\.[\w.]+)` \|", README.read_text(encoding="utf-8"), flags=re.MULTILINE)


def test_there_is_a_list():
    assert "dyntest.reviewing.review.review" in LISTED
    assert len(LISTED) == len(set(LISTED))


@pytest.mark.parametrize("name", LISTED)
def test_a_listed_name_exists_and_is_described(name):
    module, _, function = name.rpartition(".")
    found = getattr(importlib.import_module(module), function)
    assert callable(found)
    assert "Returns\n" in found.__doc__
