import pytest

from dyntest.decisions.stress_limits import driving_stress_limits
from dyntest.pile import Pile, PilePart
from dyntest.reading.parts import Requirement

KSI = 6894757.293168361  # exact: 1000 lbf/in^2
PARTS = (PilePart(20.0, 0.09, 40e9, 2400.0),)


def test_the_sheet_comes_first_and_only_where_it_speaks():
    pile = Pile("P1", "steel", PARTS, yield_strength=50 * KSI)
    sheet = Requirement(compression_stress_limit=250e6)
    limits = driving_stress_limits(pile, sheet)
    assert limits.compression.value == 250e6
    assert "[requirement] compression_stress_limit" in limits.compression.source
    assert limits.tension.value == pytest.approx(45.0 * KSI)
    assert "6-72" in limits.tension.source


@pytest.mark.parametrize(
    ("material", "missing"),
    [
        ("steel", ["yield_strength"]),
        ("timber", ["base_resistance"]),
        ("concrete", ["compressive_strength", "effective_prestress"]),
    ],
)
def test_a_missing_strength_is_asked_for_and_never_assumed(material, missing):
    for limit in vars(driving_stress_limits(Pile("P1", material, PARTS))).values():
        assert limit.value is None
        assert all(name in limit.needed for name in missing)


def test_only_what_is_missing_is_asked_for():
    pile = Pile("P1", "concrete", PARTS, compressive_strength=6 * KSI)
    needed = driving_stress_limits(pile).tension.needed
    assert "effective_prestress" in needed
    assert "compressive_strength" not in needed


def test_concrete_where_severely_corrosive():
    pile = Pile("P1", "concrete", PARTS, compressive_strength=6 * KSI, effective_prestress=0.8 * KSI)
    usual, corrosive = driving_stress_limits(pile), driving_stress_limits(pile, severely_corrosive=True)
    assert usual.compression.value / KSI == pytest.approx(4.300, abs=5e-4)
    assert usual.tension.value / KSI == pytest.approx(1.0327, abs=5e-5)
    assert corrosive.tension.value / KSI == pytest.approx(0.8)
    assert corrosive.compression == usual.compression


def test_a_prestress_that_leaves_nothing_gives_no_limit():
    pile = Pile("P1", "concrete", PARTS, compressive_strength=6 * KSI, effective_prestress=5.5 * KSI)
    limit = driving_stress_limits(pile).compression
    assert limit.value is None
    assert limit.needed == ("compressive_strength", "effective_prestress")


def test_the_tension_limit_of_concrete_is_for_prestressed_piles():
    pile = Pile("P1", "concrete", PARTS, compressive_strength=6 * KSI, effective_prestress=0.8 * KSI)
    limits = driving_stress_limits(pile)
    assert (limits.tension.prestressed_only, limits.compression.prestressed_only) == (True, False)
