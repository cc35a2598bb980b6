"""Named HP sections."""

import pytest

from dyntest.reading.build import named_section, sections


@pytest.mark.parametrize("name", ["HP12x53", "HP12X53", "hp12x53", "hp 12X53", " HP 12 x 53 ", "HP12×53"])
def test_a_section_is_found_however_it_is_spelt(name):
    section = named_section(name)
    assert section.name == "HP12x53"
    assert section.depth == pytest.approx(11.8 * 0.0254)
    assert section.flange_width == pytest.approx(12.0 * 0.0254)


@pytest.mark.parametrize("section", sections().values(), ids=sections().keys())
def test_nominal_mass_goes_with_the_area(section):
    """A rolled section weighs what its area of steel weighs; names round to the pound per foot."""
    assert section.mass_per_length == pytest.approx(7850.0 * section.area, rel=0.02)


@pytest.mark.parametrize(
    ("name", "cure"),
    [
        ("HP12x55", "write HP12x89, HP12x84, HP12x74, HP12x63 or HP12x53"),
        ("W12x53", "write HP12x53"),
        ("HP310x79", "give an area instead"),
        ("", "give an area instead"),
        ("x" * 1000, "give an area instead"),
        ("HP12\nx55", "HP12x53"),
    ],
)
def test_an_unknown_section_is_refused_with_the_nearest(refuses, name, cure):
    refuses(lambda: named_section(name, "P2-4/sheet.toml", "[pile] section"), "P2-4/sheet.toml, [pile] section", cure)
