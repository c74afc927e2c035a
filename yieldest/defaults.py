"""What is taken where nobody states a value: each value once, with its unit and its source."""

from __future__ import annotations

from yieldest.frozen import frozen_dataclass
from yieldest.provenance import Finding
from yieldest.units import as_shown, number

COMMON_PRACTICE = "common practice, no source"
OUR_CHOICE = "our choice"
STANDARD_DENSITY_KG_M3 = 1.225
"""Air at sea level in the standard atmosphere (ISO 2533)."""
COVERAGE_FACTOR = 1.645
"""Standard uncertainties from the middle of a normal distribution to either end of its 90 % range,
the one coverage that is shown (JCGM 100:2008, table G.1)."""


@frozen_dataclass
class Default:
    """A value that is taken where nobody states one, in words, and the plan key that would.

    The unit is "share", "share a year", "years", "m/s", ...; "" for a plain number.
    """

    key: str
    words: str
    value: float
    unit: str
    source: str

    def __str__(self) -> str:
        """Write value and unit as people do: a share as per cent."""
        if self.unit.startswith("share"):
            return f"{100 * self.value:.3g} %{self.unit.removeprefix('share')}"
        return f"{number(self.value, self.unit, '.4g')} {as_shown(0.0, self.unit)[1]}".rstrip()


class Assumed(Finding):
    """A default was taken, for nobody stated the value."""

    default: Default

    def __str__(self) -> str:
        """Name the value that was taken."""
        return f"{self.default.words} {self.default} ({self.default.source})."


# The wind.

RAYLEIGH_SHAPE = Default("wind.weibull_shape", "Weibull shape", 2.0, "", "Rayleigh")
SHEAR_EXPONENT = Default(
    "site.shear_exponent",
    "With neither roughness nor terrain stated, shear exponent",
    0.2,
    "",
    "IEC 61400-2, normal wind profile",
)
ANEMOMETER_HEIGHT = Default(
    "wind.measured_height_m",
    "Height of the anemometer",
    10.0,
    "m",
    "the height of public stations, World Meteorological Organization",
)
YEAR_TO_YEAR = Default(
    "uncertainty.coming_years",
    "Year-to-year spread of the mean wind",
    0.06,
    "share",
    COMMON_PRACTICE,
)
"""Standard deviation of yearly means over their mean."""

# The hub.

# The turbine.

POWER_METERS = Default(
    "meters.power_uncertainty",
    "Standard uncertainty of the power meters",
    0.03,
    "share",
    "ordinary multimeters: common practice, no source",
)
ANEMOMETER = Default(
    "meters.speed_uncertainty",
    "Standard uncertainty of the anemometer",
    0.03,
    "share",
    "a cup anemometer without calibration: common practice, no source",
)
ANEMOMETER_CONSTANT = Default(
    "meters.speed_uncertainty_ms",
    "Constant part of the anemometer's standard uncertainty",
    0.1,
    "m/s",
    COMMON_PRACTICE,
)

# Energy.

WAKE_DECAY = Default(
    "build.array.wake_decay", "Wake decay", 0.075, "", "over land: Katic, Hojstrup & Jensen 1986"
)
"""Growth of a wake's radius per metre downwind."""
THRUST_COEFFICIENT = Default(
    "build.array.thrust_coefficient",
    "Thrust coefficient between cut-in and cut-out",
    0.8,
    "",
    COMMON_PRACTICE,
)
"""A rotor at its best has 8/9 (momentum theory), a loaded small one less."""
BATTERY_EFFICIENCY = Default(
    "battery.efficiency", "Battery, energy out over energy in", 0.85, "share", COMMON_PRACTICE
)

# Economics.

DISCOUNT_RATE = Default(
    "economics.discount_rate", "Real discount rate", 0.05, "share a year", COMMON_PRACTICE
)
LIFE_YEARS = Default(
    "economics.life_years",
    "Life",
    15,
    "years",
    "common practice for self-built machines, no source",
)
MAINTENANCE_SHARE = Default(
    "economics.maintenance_share_per_year",
    "Upkeep as a share of the capital cost, where the bill states none,",
    0.02,
    "share a year",
    COMMON_PRACTICE,
)
INFLATION = Default(
    "economics.inflation",
    "To bring the loan's payments into today's money, inflation",
    0.02,
    "share a year",
    "what large central banks aim at",
)
WORKING_DAY = Default("bill.labour", "A day of work on the bill", 8.0, "hours", COMMON_PRACTICE)

# Uncertainty.
