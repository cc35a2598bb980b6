"""What is told about a number comes from the function that computes it, and from nowhere else."""

import pytest

from dyntest.names import NAMES
from dyntest.presenting.explained import COMPUTED_BY, STEPS, explained


@pytest.mark.parametrize("name", [*COMPUTED_BY, *STEPS])
def test_everything_that_is_shown_is_explained(name):
    told = explained(name)
    assert told.name and len(told.what) > 20 and "shape (" not in " ".join(told.details)
    assert not any("----" in text or ">>>" in text for text in (told.what, *told.details, *told.sources))


def test_every_quantity_by_formula_has_a_name_in_the_table():
    assert set(COMPUTED_BY) <= set(NAMES)


def test_equations_and_sources_of_the_module_are_told_with_its_function():
    told = explained("case_resistance")
    assert any("``R_s(J, t1) = R − J Z v_toe" in text for text in told.details)
    assert any("Goble" in text for text in told.sources)
    assert told.details[-1] == "Assumes a uniform pile with all damping at the toe."


def test_a_step_is_called_by_its_words():
    assert explained("bearing graph").name == "Bearing graph"
