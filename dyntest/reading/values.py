"""Values of a test sheet: the ranges outside which a unit or a digit must be wrong.

The ranges catch slips such as ``"30000 psi"`` for a modulus of steel. They are not design limits. A range without a
source beside it is common practice, no source, and deliberately wide.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Range:
    """A range of plausible values.

    Parameters
    ----------
    low, high : float
        Bounds, both allowed [`unit`].
    unit : str
        Unit of the bounds, SI in the sense of `dyntest.units.DIMENSIONS`; empty for a ratio.
    or_zero : bool
        Whether zero is plausible too, for a value that may not apply.
    """

    low: float
    high: float
    unit: str = ""
    or_zero: bool = False

    def __contains__(self, value: float) -> bool:
        """Whether a value lies inside [`unit`]."""
        return self.low <= value <= self.high or (self.or_zero and value == 0.0)

    def __str__(self) -> str:
        """Both bounds and the unit, for a message."""
        factor, unit = self._written()
        zero = "0 or " if self.or_zero else ""
        return f"{zero}{self.low / factor:g} to {self.high / factor:g} {unit}".rstrip()

    def write(self, value: float) -> str:
        """Give a value as the bounds are written.

        Examples
        --------
        >>> Range(1e9, 1e12, "Pa").write(2.1e11)
        '210 GPa'
        """
        factor, unit = self._written()
        return f"{value / factor:.4g} {unit}".rstrip()

    def _written(self) -> tuple[float, str]:
        if self.unit != "Pa":
            return 1.0, self.unit
        return (1e9, "GPa") if self.high > 2e9 else (1e6, "MPa")


LENGTH = Range(0.1, 300.0, "m")
LENGTH_FROM_ZERO = Range(0.0, 300.0, "m")
PENETRATION = Range(0.3, 300.0, "m", or_zero=True)
"""Minimum penetration, and that of a restrike: a pile driven less than a foot is not tested, so mm was meant as m."""
SOIL_DEPTH = Range(0.03, 300.0, "m", or_zero=True)
"""Bottom of a soil layer, scour: 0.1 ft is the finest that is measured, so less was meant in m or ft."""
AREA = Range(1e-4, 20.0, "m^2")
STROKE = Range(0.05, 20.0, "m")
MASS = Range(1.0, 1e6, "kg")
RAM_MASS = Range(10.0, 1e6, "kg")
RAM_WEIGHT = Range(100.0, 1e7, "N")
"""A ram of ``"4 lbf"`` was meant in kip: the lightest rams that drive piles weigh some tens of kilograms."""
FORCE = Range(1e4, 5e8, "N")
"""A resistance or load of ``"380 lbf"`` was meant in kip: no pile is tested for less than a tonne. The largest offshore
piles stay below 300 MN."""
ENERGY = Range(100.0, 1e7, "J")
STRESS = Range(1e5, 2e9, "Pa")
STRESS_FROM_ZERO = Range(0.0, 2e9, "Pa")
COMPRESSION_LIMIT = Range(2e6, 2e9, "Pa")
"""A limit of ``"45 psi"`` was meant in ksi: timber, the weakest, takes several megapascals."""
STIFFNESS = Range(2e6, 1e12, "N/m")
"""A cushion of ``"9000 lbf/in"`` was meant in kip/in: a 75 mm disc of soft wood, 100 mm thick, has 4 MN/m across the
grain."""
FREQUENCY = Range(100.0, 1e5, "Hz")
MODULUS = Range(1e6, 1e12, "Pa")
DENSITY = Range(300.0, 10_000.0, "kg/m^3")
UNIT_WEIGHT = Range(3e3, 1e5, "N/m^3")
WAVE_SPEED = Range(1000.0, 7000.0, "m/s")

ELEVATION = Range(-4000.0, 9000.0, "m")
"""Anchor piles are driven in more than a kilometre of water."""
PRESSURE = Range(1e5, 5e7, "Pa")
LOAD = Range(1e3, 5e8, "N", or_zero=True)
"""Downdrag of ``"40 lbf"`` was meant in kip."""
SAMPLE_RATE = Range(1e3, 1e7, "Hz")
TRIGGER_STRAIN = Range(1e-6, 5e-3, "m/m")
STREAM_TIME = Range(1e-5, 10.0, "s")

SHARE = Range(0.01, 1.0)
"""Efficiency, restitution [1]; none of them can exceed 1."""
RESISTANCE_FACTOR = Range(0.07, 1.0)
"""The lowest in AASHTO's tables is 0.10, for one dynamic formula; a small group takes 80 % of it (from memory)."""
SAFETY_FACTOR = Range(1.0, 10.0)
DAMPING_FACTOR = Range(0.0, 2.0)
"""Case damping factor [1]; published values by soil run from 0.05 to 1.10 (from memory, after FHWA-HI-97-013,
ch. 17)."""


@dataclass(frozen=True)
class Material:
    """Plausible properties of a pile material.

    Parameters
    ----------
    modulus : Range
        Dynamic Young's modulus [Pa].
    density : Range
        Mass density [kg/m^3].
    wave_speed : Range
        Speed of the stress wave [m/s].
    strength : dict of str to Range
        Keys of the sheet that state its strength, each with its range [Pa].
    """

    modulus: Range
    density: Range
    wave_speed: Range
    strength: dict[str, Range]


MATERIALS = {
    # Wave speed of steel about 16,800 ft/s (UFC 3-220-20, 6-9.2), modulus 29,000 ksi (FHWA-NHI-16-009, 8.2).
    "steel": Material(
        modulus=Range(180e9, 225e9, "Pa"),
        density=Range(7600.0, 8100.0, "kg/m^3"),
        wave_speed=Range(4800.0, 5400.0, "m/s"),
        strength={"yield_strength": Range(150e6, 1000e6, "Pa")},
    ),
    # Wave speed of concrete 10,000 to 13,000 ft/s (UFC 3-220-20, 6-9.2), widened for light and very strong concrete.
    "concrete": Material(
        modulus=Range(10e9, 65e9, "Pa"),
        density=Range(1500.0, 3000.0, "kg/m^3"),
        wave_speed=Range(2500.0, 5000.0, "m/s"),
        strength={
            "compressive_strength": Range(10e6, 200e6, "Pa"),
            "effective_prestress": Range(0.0, 30e6, "Pa"),
        },
    ),
    # Modulus of timber 1,250 to 1,500 ksi and base resistance 0.90 to 1.25 ksi (FHWA-NHI-16-009, 8.2.1), widened.
    "timber": Material(
        modulus=Range(4e9, 20e9, "Pa"),
        density=Range(350.0, 1300.0, "kg/m^3"),
        wave_speed=Range(2500.0, 5500.0, "m/s"),
        strength={"base_resistance": Range(2e6, 20e6, "Pa")},
    ),
}
"""Every material by its name in the sheet."""

STEEL_MODULUS = 210e9
"""Modulus of steel if the sheet gives none [Pa] (EN 1993-1-1, 3.2.6, from memory)."""

STEEL_DENSITY = 7850.0
"""Density of steel if the sheet gives none [kg/m^3] (EN 1991-1-1, Table A.4, 77.0 to 78.5 kN/m³, from memory)."""
