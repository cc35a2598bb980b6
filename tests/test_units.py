"""The table of common units against pint, which carries the definitions of NIST and BIPM."""

import subprocess
import sys
from itertools import product

import pytest

from dyntest import units
from dyntest.units import COMMON_UNITS, DIMENSIONS, unit_factor

WRITTEN = [
    *(("length", unit) for unit in ("ft", "in", "inch", "m", "mm", "cm", "km", "µm", "foot", "feet")),
    *(("area", unit) for unit in ("in^2", "cm^2", "mm^2", "m**2", "ft^2", "in in", "in*in")),
    *(("mass", unit) for unit in ("kg", "lb", "g", "Mg", "pound")),
    *(("force", unit) for unit in ("N", "kN", "MN", "lbf", "kip", "kips")),
    *(("energy", unit) for unit in ("J", "kJ", "kip ft", "lbf ft", "kip*in", "ft·kip")),
    *(("stress", unit) for unit in ("Pa", "kPa", "MPa", "GPa", "psi", "ksi", "psf", "ksf", "kip/in^2", "N/mm^2")),
    *(("density", unit) for unit in ("kg/m^3", "lb/ft^3", "g/cm^3")),
    *(("unit weight", unit) for unit in ("kN/m^3", "lbf/ft^3", "pcf", "kip/ft/ft/ft")),
    *(("velocity", unit) for unit in ("m/s", "ft/s", "mm/ms", "in/s")),
    *(("acceleration", unit) for unit in ("m/s^2", "ft/s^2", "m/s/s", "m*s^-2")),
    *(("stiffness", unit) for unit in ("kip/in", "MN/m", "kN/mm", "lbf/in")),
    *(("time", unit) for unit in ("s", "ms", "µs", "us", "min", "hour", "day")),
    *(("frequency", unit) for unit in ("Hz", "kHz", "MHz", "s^-1")),
    *(("strain", unit) for unit in ("m/m", "µm/m", "mm/m", "in/in", "µε", "με", "microstrain", "μm/m")),
]


@pytest.mark.parametrize(("dimension", "unit"), WRITTEN)
def test_a_common_unit_is_as_pint_has_it(dimension, unit):
    assert units._in_common_units(unit) is not None
    by_pint = units._by_pint(unit, dimension, "unknown", "other")
    assert unit_factor(unit, dimension) == pytest.approx(by_pint, rel=5e-15)  # `_by_pint` keeps 15 digits


def test_every_unit_of_the_table_is_known_to_pint():
    registry = units._registry()
    for name, (factor, powers) in COMMON_UNITS.items():
        quantity = registry.Quantity(1.0, name).to_base_units()
        assert quantity.magnitude == pytest.approx(float(factor), rel=2e-15), name
        assert quantity.check(dict(zip(("[mass]", "[length]", "[time]"), powers, strict=True))), name


@pytest.mark.parametrize(("dimension", "unit"), list(product(("length", "strain", "force"), ("kip ft", "s", "kg/m^3"))))
def test_a_unit_of_another_dimension_is_refused(dimension, unit):
    with pytest.raises(ValueError, match="not a unit of"):
        unit_factor(unit, dimension)


@pytest.mark.parametrize(
    ("dimension", "unit", "factor"),
    [
        ("acceleration", "m/s²", 1.0),
        ("acceleration", "m/s2", 1.0),
        ("acceleration", "m·s⁻²", 1.0),
        ("acceleration", "gn", 9.80665),
        ("strain", "um/m", 1e-6),
        ("strain", "ustrain", 1e-6),
        *(("strain", unit, 1e-6) for unit in ("1e-6", "1E-6", "10^-6", "10⁻⁶", "µdef", "µstr")),
        ("strain", "‰", 1e-3),
        ("acceleration", "mg", 9.80665e-3),
        ("area", "cm²", 1e-4),
        ("strain", "MicroStrain", 1e-6),
        ("strain", "%", 0.01),
        ("strain", "µin/in", 1e-6),
        ("acceleration", "G's", 9.80665),
        ("acceleration", "M/S2", 1.0),
        ("length", "FT", 0.3048),
        ("length", "in.", 0.0254),
        ("time", "Sec", 1.0),
        ("time", "MS", 1e-3),
    ],
)
def test_a_unit_as_recorders_write_it(dimension, unit, factor):
    assert unit_factor(unit, dimension) == factor


@pytest.mark.parametrize("unit", ["mV/V", "V/V", "rad", "deg", "dB", "count"])
def test_a_number_without_dimension_is_not_a_strain(unit):
    with pytest.raises(ValueError, match="not a unit of strain"):
        unit_factor(unit, "strain")


def test_a_unit_outside_the_table_is_read_by_pint():
    assert unit_factor("tonne", "mass") == 1000.0
    assert unit_factor("yard", "length") == pytest.approx(0.9144)


def test_the_examples_of_every_dimension_need_no_registry():
    program = (
        "import sys\nfrom dyntest.units import DIMENSIONS, to_si\n"
        "for name, (_, example) in DIMENSIONS.items(): to_si(example, name)\n"
        "import dyntest.reading.sheet\nassert 'pint' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", program], check=True)
    assert set(DIMENSIONS) == {dimension for dimension, _ in WRITTEN}
