"""The plan file: TOML, typed and validated, with errors that name the key and the line."""

from __future__ import annotations

import difflib
import math
import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal, Self, get_args

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from yieldest.doubt.inputs import QUANTITIES, PlanSpread
from yieldest.errors import InputError
from yieldest.overrides import Override, apply_override
from yieldest.textfile import open_text

if TYPE_CHECKING:
    from yieldest.estimate import Estimate

HIGHEST_CUT_OUT_MS = 120.0
"""Above any wind that was ever measured near the ground."""

Share = Annotated[float, Field(ge=0, lt=1)]
Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
Height = Annotated[float, Field(ge=0.1, le=1000)]
RotorSize = Annotated[float, Field(ge=0.01, le=1000)]
Sum = Annotated[float, Field(ge=0, le=1e12)]
_NAMES_A_FILE = "names a file"
FilePath = Annotated[str, Field(min_length=1), _NAMES_A_FILE]
MOST_WAKES = 200
"""Machines that wakes are reckoned for; the work grows with the square of the number."""
LONGEST_PLAN = 200_000
"""Characters; a plan for a hundred builds has some 40,000."""
LONGEST_PLAN_LINE = 20_000
"""Characters; the places of 200 machines take some 5,000."""
_CONTROLS = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029]")
"""What a text must not hold: a terminal would obey some of them."""
DEFAULT_DRAWS, FEWEST_DRAWS, MOST_DRAWS = 8_192, 512, 500_000
"""Draws for the doubt: by default, the fewest that say anything, the most that memory bears."""
Terrain = Literal["water", "open", "hedged", "built", "suburb"]


class _Section(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, strict=True)


def _at_most_one(section: BaseModel, *keys: str) -> None:
    stated = [key for key in keys if getattr(section, key) is not None]
    if len(stated) > 1:
        raise ValueError(f"{' and '.join(stated)} exclude each other; keep one of them")


class SiteObstacle(_Section):
    """A building, hedge or row of trees, as seen from the mast."""

    height_m: Annotated[float, Field(gt=0, le=200)]
    width_m: Positive
    distance_m: Positive
    bearing_deg: Annotated[float, Field(ge=0, le=360)]
    porosity: Share = 0.0


class SiteRoof(_Section):
    """The building under the machine, heights above ground."""

    edge_height_m: Annotated[float, Field(gt=0, le=200)]
    ridge_height_m: Annotated[float, Field(gt=0, le=200)] | None = None
    width_m: Positive
    edge_distance_m: Positive

    @model_validator(mode="after")
    def _ridge_on_top(self) -> Self:
        if self.ridge_height_m is not None and self.ridge_height_m < self.edge_height_m:
            raise ValueError("ridge_height_m is below edge_height_m; both are above ground")
        return self


def swept_area_m2(
    area_m2: float | None,
    diameter_m: float | None,
    width_m: float | None,
    height_m: float | None,
) -> float | None:
    """Return the area that one rotor sweeps, from whichever size is stated; None for none."""
    if area_m2 is not None:
        return area_m2
    if diameter_m is not None:
        return math.pi / 4 * diameter_m**2
    if width_m is not None and height_m is not None:
        return width_m * height_m
    return None


def _refuse_with_stand_in(section: BaseModel, *keys: str) -> None:
    for key in keys:
        if getattr(section, key) is not None:
            raise ValueError(f"{key} has no meaning for a stand_in; remove it")


class Site(_Section):
    """Where the machine stands."""

    elevation_m: Annotated[float, Field(ge=-430, le=6000)] | None = None
    mean_temperature_c: Annotated[float, Field(ge=-60, le=60)] | None = None
    mean_pressure_hpa: Annotated[float, Field(ge=300, le=1100)] | None = None
    terrain: Terrain | None = None
    roughness_length_m: Annotated[float, Field(gt=0, le=5)] | None = None
    shear_exponent: Annotated[float, Field(ge=-0.5, le=1)] | None = None
    displacement_m: NotNegative = 0.0
    obstacles: list[SiteObstacle] = []
    roof: SiteRoof | None = None
    turbulence_intensity: Annotated[float, Field(gt=0, le=1)] | None = None
    relative_humidity: Annotated[float, Field(ge=0, le=1)] | None = None

    @model_validator(mode="after")
    def _one_law(self) -> Self:
        _at_most_one(self, "terrain", "roughness_length_m", "shear_exponent")
        if self.displacement_m and self.terrain is None and self.roughness_length_m is None:
            raise ValueError(
                "displacement_m belongs to the log law; state terrain or roughness_length_m with it"
            )
        return self


class Columns(_Section):
    """Headings of the record by what they hold."""

    time: str | None = None
    date: str | None = None
    year: str | None = None
    month: str | None = None
    day: str | None = None
    hour: str | None = None
    minute: str | None = None
    second: str | None = None
    speed: str | None = None
    direction: str | None = None
    temperature: str | None = None
    pressure: str | None = None
    deviation: str | None = None
    gust: str | None = None


Threshold = NotNegative | Literal[False] | None


class Screen(_Section):
    """Thresholds of the screening tests; false switches a test off."""

    impossible_ms: Threshold = None
    sensor_top_ms: Threshold = None
    spike_factor: Threshold = None
    spike_excess_ms: NotNegative | None = None
    stuck_hours: Threshold = None
    frozen_hours: Threshold = None
    frozen_below_c: float | None = None
    calm_hours: Threshold = None
    repeated: Threshold = None
    disordered: Threshold = None
    gap_intervals: Threshold = None
    interval_readings: Threshold = None
    threshold_share: Threshold = None
    rounding_share: Threshold = None

    def stated(self) -> dict[str, float | None]:
        """Return the thresholds that are stated, None for off."""
        return {
            name: None if value is False else value
            for name, value in self.model_dump(exclude_none=True).items()
        }


_SOURCES = (
    "record",
    "frequency_table",
    "monthly_means",
    "monthly_means_ms",
    "mean_speed_ms",
    "weibull_scale_ms",
)
_FILE_KEYS = ("units", "delimiter", "decimal", "encoding", "skip_lines", "headings")
"""Keys that say how a text file is to be read; they have the names of `ReadOptions`."""
_RECORD_KEYS = (
    *("deviation_units", "temperature_units", "pressure_units", "date_order", "time_zone"),
    *("start", "interval_s", "missing", "sensor", "point", "threshold_ms", "average_s"),
)


class Reference(_Section):
    """A long record near the site."""

    record: FilePath
    units: str | None = None
    columns: Columns = Columns()
    time_zone: str | None = None
    date_order: Literal["day first", "month first", "year first"] | None = None

    def read_options(self) -> dict[str, Any]:
        """Return what is stated about reading the file, as arguments of `ReadOptions`."""
        return self.model_dump(exclude={"record"}, exclude_none=True)


class Also(_Section):
    """A second anemometer in the same record."""

    column: Annotated[str, Field(min_length=1)]
    height_m: Height


class Wind(_Section):
    """One source of wind."""

    record: FilePath | None = None
    frequency_table: FilePath | None = None
    monthly_means: FilePath | None = None
    monthly_means_ms: Annotated[list[Positive], Field(min_length=12, max_length=12)] | None = None
    mean_speed_ms: Positive | None = None
    weibull_shape: Annotated[float, Field(gt=0.5, le=10)] | None = None
    weibull_scale_ms: Positive | None = None
    measured_height_m: Height
    units: str | None = None
    deviation_units: str | None = None
    temperature_units: str | None = None
    pressure_units: str | None = None
    columns: Columns = Columns()
    delimiter: Annotated[str, Field(min_length=1)] | None = None
    decimal: Literal[".", ","] | None = None
    encoding: str | None = None
    skip_lines: Annotated[int, Field(ge=0)] | None = None
    headings: list[str] | None = None
    date_order: Literal["day first", "month first", "year first"] | None = None
    time_zone: str | None = None
    start: str | datetime | date | None = None
    interval_s: Positive | None = None
    missing: list[str | int | float] | None = None
    sensor: str | None = None
    point: Annotated[int, Field(ge=1)] | None = None
    threshold_ms: NotNegative | None = None
    average_s: NotNegative | None = None
    also: list[Also] = []
    reference: Reference | None = None
    on_the_spot: bool | None = None
    fit: (
        Literal[
            "interval-censored",
            "maximum likelihood",
            "moments",
            "energy pattern factor",
            "least squares",
            "mean cube",
            "empirical",
        ]
        | None
    ) = None
    energy_error_limit: Annotated[float, Field(ge=0, le=1)] = 0.05
    season_correction: bool = True
    screen: Screen = Screen()
    neighbour: FilePath | None = None

    @model_validator(mode="after")
    def _one_source(self) -> Self:
        _at_most_one(self, *_SOURCES)
        source = next((key for key in _SOURCES if getattr(self, key) is not None), None)
        if source is None:
            raise ValueError(f"there is no wind; state one of {', '.join(_SOURCES)}")
        if source in ("record", "frequency_table") and self.weibull_shape is not None:
            raise ValueError(f"weibull_shape belongs to stated means; a {source} is fitted instead")
        if source == "weibull_scale_ms" and self.weibull_shape is None:
            raise ValueError("weibull_scale_ms needs weibull_shape; state both")
        if (self.start is None) != (self.interval_s is None):
            raise ValueError("start and interval_s go together; state both")
        allowed = set(_FILE_KEYS if source in ("frequency_table", "monthly_means") else ())
        if source == "record":
            allowed = {*_FILE_KEYS, *_RECORD_KEYS}
        for key in (*_FILE_KEYS, *_RECORD_KEYS):
            if getattr(self, key) is not None and key not in allowed:
                raise ValueError(f"{key} belongs to a record, not to {source}; leave it out")
        if self.neighbour is not None and source != "record":
            raise ValueError(f"neighbour belongs to a record, not to {source}; leave it out")
        if source == "frequency_table" and self.fit not in (None, "interval-censored", "empirical"):
            raise ValueError("a frequency_table can only be fitted interval-censored or empirical")
        for key in ("also", "reference"):
            if source != "record" and getattr(self, key):
                raise ValueError(f"{key} belongs to a record, not to {source}; leave it out")
        return self

    def read_options(self) -> dict[str, Any]:
        """Return what is stated about reading the file, as arguments of `ReadOptions`."""
        stated = self.model_dump(include={*_FILE_KEYS, *_RECORD_KEYS}, exclude_none=True)
        stated["columns"] = self.columns.model_dump(exclude_none=True)
        stated["height_m"] = self.measured_height_m
        for key in ("headings", "missing"):
            stated[key] = tuple(map(str, stated.get(key, ())))
        if self.start is not None:
            stated["start"] = str(self.start)
        return stated


class LossShares(_Section):
    """Shares of energy lost, by the categories of IEC 61400-15."""

    availability: Share | None = None
    interaction: Share | None = None
    turbine_performance: Share | None = None
    electrical: Share | None = None
    environmental: Share | None = None
    curtailment: Share | None = None


class Array(_Section):
    """How the machines of a build stand, and what is known of their interaction."""

    layout: Literal["row", "grid"] | None = None
    coordinates_m: list[Annotated[list[float], Field(min_length=2, max_length=2)]] | None = None
    bearing_deg: Annotated[float, Field(ge=0, le=360)] | None = None
    spacing_rotor_widths: Annotated[float, Field(ge=1)] | None = None
    row_spacing_rotor_widths: Annotated[float, Field(ge=1)] | None = None
    columns: Annotated[int, Field(ge=1)] | None = None
    interaction_factor: Annotated[float, Field(gt=0, le=1.5)] | None = None
    interaction_uncertainty: Share | None = None
    evidence: Annotated[str, Field(min_length=1)] | None = None
    wake_decay: Annotated[float, Field(gt=0, le=0.5)] | None = None
    thrust_coefficient: Annotated[float, Field(ge=0, lt=1)] | None = None
    sectors: Annotated[int, Field(ge=4, le=72)] = 12

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        _at_most_one(self, "layout", "coordinates_m", "interaction_factor")
        if self.interaction_factor is not None:
            if self.evidence is None:
                raise ValueError(
                    "interaction_factor needs its evidence; state in words where it was measured"
                )
            return self
        if self.coordinates_m is None and self.layout is None:
            raise ValueError("state layout, coordinates_m or interaction_factor")
        if self.layout is not None and None in (self.bearing_deg, self.spacing_rotor_widths):
            raise ValueError(
                f"a {self.layout} needs bearing_deg (the way a row runs) and spacing_rotor_widths"
            )
        if self.layout == "grid" and self.columns is None:
            raise ValueError("a grid needs columns, the number of machines in a row")
        return self


class Cable(_Section):
    """A copper cable, for each machine or for all of them."""

    length_m: Positive
    cross_section_mm2: Annotated[float, Field(ge=0.1, le=1000)]
    voltage_v: Positive
    arrangement: Literal["dc", "single-phase", "three-phase"]
    power_factor: Annotated[float, Field(gt=0, le=1)] = 1.0
    conductor_temperature_c: Annotated[float, Field(ge=-40, le=120)] = 20.0
    carries: Literal["each machine", "the array"]


class Converter(_Section):
    """An inverter, charger or controller, for each machine or for all of them."""

    efficiency: Annotated[float, Field(gt=0, le=1)]
    limit_w: Positive | None = None
    carries: Literal["each machine", "the array"]


class ReadingColumns(_Section):
    """Headings of a table of readings by what they hold."""

    date: str | None = None
    time: str | None = None
    speed: str | None = None
    wind_pulses: str | None = None
    volts: str | None = None
    amps: str | None = None
    watts: str | None = None
    pulses: str | None = None
    ohms: str | None = None
    rpm: str | None = None
    temperature: str | None = None
    pressure: str | None = None


class MeterNotes(_Section):
    """How readings were taken."""

    columns: ReadingColumns = ReadingColumns()
    units: str | None = None
    circuit: Literal["dc", "single-phase", "three-phase"] | None = None
    power_factor: Annotated[float, Field(gt=0, le=1)] | None = None
    volts_show: Literal["rms", "peak", "peak to peak"] | None = None
    amps_show: Literal["rms", "peak", "peak to peak"] | None = None
    volts_between: Literal["lines", "line and neutral"] | None = None
    resistors: Literal["star", "delta"] | None = None
    load_ohm: Positive | None = None
    wh_per_pulse: Positive | None = None
    metres_per_pulse: Positive | None = None
    date_order: Literal["day first", "month first", "year first"] | None = None
    decimal: Literal[".", ","] | None = None
    averaging_s: NotNegative | None = None
    elevation_m: Annotated[float, Field(ge=-430, le=6000)] | None = None
    temperature_c: Annotated[float, Field(ge=-60, le=60)] | None = None
    power_doubt: Share | None = None
    speed_doubt: Share | None = None
    speed_doubt_ms: NotNegative | None = None


class StandIn(_Section):
    """A modelled curve for a machine nobody has measured."""

    power_coefficient: Positive
    furling_ms: Annotated[float, Field(gt=0, le=HIGHEST_CUT_OUT_MS)] | None = None
    doubt: Share | None = None


class LoadNotes(_Section):
    """What the machine feeds."""

    kind: Literal["resistor", "battery", "charger", "inverter"]
    measured_on: Literal["resistor", "battery", "charger", "inverter"] | None = None
    conversion: FilePath | None = None
    battery_volts: Positive | None = None
    no_load_draw_w: NotNegative = 0.0
    start_up_w: NotNegative = 0.0
    idle_draw_w: NotNegative = 0.0

    @model_validator(mode="after")
    def _converter(self) -> Self:
        if self.conversion is None and (self.no_load_draw_w or self.start_up_w):
            raise ValueError(
                "no_load_draw_w and start_up_w belong to a conversion; state conversion as a file "
                "or 'typical'"
            )
        return self


class Build(_Section):
    """One way to build: a number of machines of one kind at one height."""

    name: Annotated[str, Field(min_length=1)]
    count: Annotated[int, Field(ge=1, le=10000)] = 1
    hub_height_m: Annotated[float, Field(ge=0.1, le=300)]
    curve: FilePath | None = None
    readings: FilePath | None = None
    stand_in: StandIn | None = None
    meters: MeterNotes | None = None
    load: LoadNotes | None = None
    curve_air_density_kg_m3: Annotated[float, Field(ge=0.5, le=1.6)] | None = None
    density_correction: Literal["power", "speed"] = "power"
    cut_in_ms: Annotated[float, Field(ge=0, le=HIGHEST_CUT_OUT_MS)] | None = None
    cut_out_ms: Annotated[float, Field(gt=0, le=HIGHEST_CUT_OUT_MS)] | None = None
    beyond_last: Literal["hold", "zero", "cube law"] | None = None
    rated_power_w: Positive | None = None
    rotor_area_m2: Annotated[float, Field(ge=1e-4, le=1e6)] | None = None
    rotor_diameter_m: RotorSize | None = None
    rotor_width_m: RotorSize | None = None
    rotor_height_m: RotorSize | None = None
    rotor_type: Literal["lift", "drag"] | None = None
    losses: LossShares = LossShares()
    array: Array | None = None
    cable: list[Cable] = []
    converter: list[Converter] = []
    bill: FilePath | None = None

    @model_validator(mode="after")
    def _one_size(self) -> Self:
        _at_most_one(self, "rotor_area_m2", "rotor_diameter_m", "rotor_width_m")
        if (self.rotor_width_m is None) != (self.rotor_height_m is None):
            raise ValueError("rotor_width_m and rotor_height_m go together; state both")
        return self

    @model_validator(mode="after")
    def _one_interaction(self) -> Self:
        if self.array is not None:
            if self.losses.interaction is not None:
                raise ValueError("array and losses.interaction exclude each other; keep one")
            places = self.array.coordinates_m
            if places is not None and len(places) != self.count:
                raise ValueError(
                    f"array.coordinates_m names {len(places)} places for a count of {self.count}; "
                    "state one for each machine"
                )
            if places is not None and self.width_m is None:
                raise ValueError("array.coordinates_m needs the size of the rotor; state it")
            if places is not None and len({tuple(place) for place in places}) < len(places):
                raise ValueError("two machines stand at one place; mend array.coordinates_m")
            wakes = self.array.interaction_factor is None
            if wakes and self.count > MOST_WAKES:
                raise ValueError(
                    f"wakes are reckoned for at most {MOST_WAKES} machines; state a measured "
                    "interaction_factor instead"
                )
        if (self.cable or self.converter) and self.losses.electrical is not None:
            raise ValueError(
                "cable or converter and losses.electrical exclude each other; keep one"
            )
        if self.converter and self.load is not None and self.load.conversion is not None:
            raise ValueError(
                "converter and load.conversion exclude each other; each takes off the same losses"
            )
        return self

    @model_validator(mode="after")
    def _one_curve(self) -> Self:
        _at_most_one(self, "curve", "readings", "stand_in")
        if self.curve is None and self.readings is None and self.stand_in is None:
            raise ValueError("there is no power curve; state curve, readings or stand_in")
        if self.readings is None and self.meters is not None:
            raise ValueError("meters belongs to readings; state readings with it")
        if self.stand_in is not None:
            wanted = {
                "the rotor size": self.area_m2,
                "cut_in_ms": self.cut_in_ms,
                "rated_power_w": self.rated_power_w,
            }
            missing = next((key for key, value in wanted.items() if value is None), None)
            if missing is not None:
                raise ValueError(f"a stand_in needs {missing}; state it in the build")
            _refuse_with_stand_in(self, "beyond_last", "curve_air_density_kg_m3")
        return self

    @property
    def rotor_bottom_m(self) -> float:
        """Lowest point of the rotor above ground; the hub where its size is not stated."""
        if self.rotor_height_m is not None:
            return self.hub_height_m - self.rotor_height_m / 2
        return self.hub_height_m - (self.disc_diameter_m or 0.0) / 2

    @property
    def disc_diameter_m(self) -> float | None:
        """Diameter of a rotor that sweeps a disc, from its area where only that is stated."""
        if self.rotor_area_m2 is not None:
            return math.sqrt(4 * self.rotor_area_m2 / math.pi)
        return self.rotor_diameter_m

    @property
    def area_m2(self) -> float | None:
        """Swept area of one rotor, where its size is stated."""
        return swept_area_m2(
            self.rotor_area_m2, self.rotor_diameter_m, self.rotor_width_m, self.rotor_height_m
        )

    @property
    def width_m(self) -> float | None:
        """Width of the rotor across the wind, where its size is stated."""
        if self.rotor_width_m is not None:
            return self.rotor_width_m
        if self.rotor_diameter_m is not None:
            return self.rotor_diameter_m
        if self.rotor_area_m2 is not None:
            return math.sqrt(self.rotor_area_m2 * 4 / math.pi)
        return None


class Loan(_Section):
    """A loan paid back in equal yearly sums; its rate is nominal."""

    share: Annotated[float, Field(gt=0, le=1)]
    interest_rate: Annotated[float, Field(ge=0, le=1)]
    years: Annotated[int, Field(ge=1, le=100)]


class Money(_Section):
    """Money terms, real (in today's money) unless called nominal."""

    discount_rate: Annotated[float, Field(gt=-0.5, le=1)] | None = None
    life_years: Annotated[int, Field(ge=1, le=100)] | None = None
    price_per_kwh: Sum | None = None
    upkeep_share_per_year: Share | None = None
    wage_per_hour: Sum | None = None
    used_share: Annotated[float, Field(ge=0, le=1)] | None = None
    export_price_per_kwh: Sum | None = None
    price_rise_per_year: Annotated[float, Field(gt=-0.5, le=0.5)] | None = None
    degradation_per_year: Share | None = None
    grant: Sum | None = None
    grant_share: Annotated[float, Field(ge=0, le=1)] | None = None
    inflation: Annotated[float, Field(gt=-0.5, le=1)] | None = None
    loan: Loan | None = None
    grid_carbon_kg_per_kwh: Sum | None = None
    item_life: Literal["required", "as the build"] | None = None

    @model_validator(mode="after")
    def _terms_agree(self) -> Self:
        _at_most_one(self, "grant", "grant_share")
        if self.export_price_per_kwh is not None and self.used_share is None:
            raise ValueError(
                "export_price_per_kwh needs used_share, the share of the energy that is not sold"
            )
        return self


class SpreadOf(_Section):
    """The spread of one uncertain input, in one of these ways."""

    standard_uncertainty: NotNegative | None = None
    distribution: Literal["normal", "lognormal"] | None = None
    triangular: Annotated[list[float], Field(min_length=3, max_length=3)] | None = None
    uniform: Annotated[list[float], Field(min_length=2, max_length=2)] | None = None
    values: Annotated[list[float], Field(min_length=1)] | None = None

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        ways = ("standard_uncertainty", "triangular", "uniform", "values")
        _at_most_one(self, *ways)
        if all(getattr(self, way) is None for way in ways):
            raise ValueError(f"there is no spread; state one of {', '.join(ways)}")
        if self.distribution is not None and self.standard_uncertainty is None:
            raise ValueError("distribution belongs to standard_uncertainty; state it too")
        for way in ("triangular", "uniform"):
            bounds = getattr(self, way)
            if bounds is not None and (sorted(bounds) != bounds or bounds[0] == bounds[-1]):
                raise ValueError(f"{way} is {bounds}; write the lowest first and the highest last")
        return self


class LossSpreads(_Section):
    """Spreads of the shares lost."""

    availability: SpreadOf | None = None
    interaction: SpreadOf | None = None
    turbine_performance: SpreadOf | None = None
    electrical: SpreadOf | None = None
    environmental: SpreadOf | None = None
    curtailment: SpreadOf | None = None


class Correlated(_Section):
    """How the errors of two inputs go together."""

    between: Annotated[list[str], Field(min_length=2, max_length=2)]
    coefficient: Annotated[float, Field(gt=-1, lt=1)]


class Doubt(_Section):
    """How sure the inputs are; what is not stated here comes from the stages or is assumed."""

    draws: Annotated[int, Field(ge=0, le=MOST_DRAWS)] = DEFAULT_DRAWS
    seed: Annotated[int, Field(ge=0)] = 1
    stated_mean: SpreadOf | None = None
    anemometer: SpreadOf | None = None
    mounting: SpreadOf | None = None
    rounding: SpreadOf | None = None
    fit: SpreadOf | None = None
    sampling: SpreadOf | None = None
    seasons: SpreadOf | None = None
    past_years: SpreadOf | None = None
    long_term: SpreadOf | None = None
    shape: SpreadOf | None = None
    shear_exponent: SpreadOf | None = None
    exposure: SpreadOf | None = None
    coming_years: SpreadOf | None = None
    density: SpreadOf | None = None
    curve: SpreadOf | None = None
    curve_bins: SpreadOf | None = None
    losses: LossSpreads = LossSpreads()
    prices: SpreadOf | None = None
    upkeep: SpreadOf | None = None
    life_years: SpreadOf | None = None
    discount_rate: SpreadOf | None = None
    price_per_kwh: SpreadOf | None = None
    correlation: list[Correlated] = []

    @property
    def spreads(self) -> dict[str, dict[str, Any]]:
        """What is stated, by input: losses as losses.electrical."""
        stated = {
            **{name: getattr(self, name) for name in type(self).model_fields},
            **{f"losses.{name}": spread for name, spread in self.losses},
        }
        return {
            name: spread.model_dump()
            for name, spread in stated.items()
            if isinstance(spread, SpreadOf)
        }

    @model_validator(mode="after")
    def _sense(self) -> Self:
        for quantity, spread in self.spreads.items():
            nonsense = PlanSpread(**spread).nonsense(quantity)
            if nonsense is not None:
                raise ValueError(f"{quantity}: {nonsense}; mend the value")
        for one in self.correlation:
            for name in one.between:
                if name not in QUANTITIES:
                    raise ValueError(
                        f"correlation names {name!r}, which is no input; they are "
                        f"{', '.join(QUANTITIES)}"
                    )
        if 0 < self.draws < FEWEST_DRAWS:
            raise ValueError(f"draws is {self.draws}; state 0 for none, or {FEWEST_DRAWS} at least")
        return self


class Plan(_Section):
    """One site, one wind source, one or more builds, one set of money terms."""

    title: Annotated[str, Field(min_length=1)]
    currency: Annotated[str, Field(pattern="^[A-Z]{3}$")]
    site: Site = Site()
    wind: Wind
    build: Annotated[list[Build], Field(min_length=1)]
    money: Money = Money()
    doubt: Doubt = Doubt()
    path: Path

    @model_validator(mode="after")
    def _one_shear(self) -> Self:
        site = self.site
        if self.wind.also and (site.terrain or site.roughness_length_m or site.shear_exponent):
            raise ValueError(
                "wind.also measures the shear; leave terrain, roughness_length_m and "
                "shear_exponent out of [site]"
            )
        return self

    @model_validator(mode="after")
    def _different_names(self) -> Self:
        names = [build.name for build in self.build]
        twice = next((name for name in names if names.count(name) > 1), None)
        if twice is not None:
            raise ValueError(f"two builds are called {twice!r}; give each a name of its own")
        return self

    def file(self, name: str) -> Path:
        """Return the path of a file that the plan names, relative to the plan's folder."""
        return self.path.parent / name

    def estimate(self) -> Estimate:
        """Reckon yearly energy, cost per kWh and payback for every build of the plan.

        Raises
        ------
        InputError
            When a file that the plan names cannot be used.
        """
        from yieldest.estimate import estimate  # noqa: PLC0415 - it imports this module

        return estimate(self)

    def file_names(self) -> list[str]:
        """Return every file, folder or glob that the plan names, as it stands in the plan."""
        return list(dict.fromkeys(_file_names(self)))


def _file_names(section: BaseModel) -> Iterator[str]:
    for key, field in type(section).model_fields.items():
        value = getattr(section, key)
        parts = value if isinstance(value, list) else [value]
        if isinstance(value, str) and _NAMES_A_FILE in str((field.metadata, field.annotation)):
            yield value
        for part in parts:
            if isinstance(part, BaseModel):
                yield from _file_names(part)


def load_plan(path: Path, overrides: Sequence[Override] = ()) -> Plan:
    """Read and validate a plan file.

    Parameters
    ----------
    path : Path
        The TOML file, or the folder that holds it as plan.toml.
    overrides : sequence of Override
        Put over what the file says before it is validated, the last one winning.

    Raises
    ------
    InputError
        Naming the line, or the override, and the key that is wrong.
    """
    if path.is_dir():
        path = path / "plan.toml"
    text = _plan_text(path)
    try:
        content = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        # Python forgets where it was when brackets are nested without end.
        found = "brackets too deep" if isinstance(error, RecursionError) else error
        raise InputError(f"{path}: this is not valid TOML ({found}).") from error
    except ValueError as error:
        raise InputError(f"{path}: a number has too many digits ({error}); mend it.") from error
    if "path" in content:
        raise InputError(f"{path}, {_line_of(text, ('path',))}: unknown key 'path'.")
    places = {apply_override(content, override): override for override in overrides}
    if ("path",) in places:
        raise InputError(f"{places['path',].text}: unknown key 'path'.")
    _refuse_controls(path, content)
    try:
        return Plan.model_validate({**content, "path": path})
    except ValidationError as error:
        raise InputError(_sentence(path, text, error, places)) from error


def _plan_text(path: Path) -> str:
    with open_text(path, "utf-8-sig") as stream:
        text = stream.read(LONGEST_PLAN + 1)
    if len(text) > LONGEST_PLAN or max(map(len, text.splitlines()), default=0) > LONGEST_PLAN_LINE:
        raise InputError(
            f"{path}: a plan has at most {LONGEST_PLAN:,} characters, and {LONGEST_PLAN_LINE:,} in "
            "a line; check that this is the right file."
        )
    return text


def _refuse_controls(path: Path, content: Mapping[str, Any]) -> None:
    """Refuse texts that a terminal might obey, wherever they stand."""
    parts: list[tuple[str, Any]] = list(content.items())
    while parts:
        key, value = parts.pop()
        if isinstance(value, dict):
            parts += value.items()
        elif isinstance(value, list):
            parts += [(key, part) for part in value]
        for text in (key, value):
            if isinstance(text, str) and _CONTROLS.search(text):
                raise InputError(
                    f"{path}: {key!r} holds a control character ({text[:100]!r}); remove it."
                )


def _sentence(
    path: Path,
    text: str,
    error: ValidationError,
    overrides: Mapping[tuple[int | str, ...], Override],
) -> str:
    """Turn the first trouble pydantic found into one sentence with key and line or override."""
    # A misspelt key explains a missing one, so it is named first.
    trouble = min(error.errors(), key=lambda found: found["type"] != "extra_forbidden")
    location = tuple(trouble["loc"])
    key = _spell(location)
    place = f"{path}, {_line_of(text, location)}"
    blamed = _blamed(location, text, overrides) if overrides else None
    if blamed is not None:
        place = blamed.text
    kind, found = trouble["type"], trouble["input"]
    if kind == "extra_forbidden":
        near = difflib.get_close_matches(str(location[-1]), _keys_beside(location), n=1)
        hint = f"did you mean {near[0]!r}?" if near else (
            f"the keys here are {', '.join(_keys_beside(location))}."
        )  # fmt: skip
        return f"{place}: unknown key {key!r}; {hint}"
    if kind == "missing":
        return f"{place}: the key {key!r} is missing; add it."
    if kind == "value_error":
        where = f"{key}: " if key else ""
        return f"{place}: {where}{trouble['ctx']['error']}."
    return f"{place}: {key!r} is {found!r}, but {_wish(trouble['msg'])}; mend the value."


def _blamed(
    location: tuple[int | str, ...], text: str, overrides: Mapping[tuple[int | str, ...], Override]
) -> Override | None:
    """Return the last override at or around a wrong place, unless the file alone is as wrong."""
    try:
        Plan.model_validate({**tomllib.loads(text), "path": Path()})
    except ValidationError as error:
        if any(trouble["loc"] == location for trouble in error.errors()):
            return None
    for place, override in reversed(list(overrides.items())):
        depth = min(len(place), len(location))
        if place[:depth] == location[:depth]:
            return override
    return None


def _wish(message: str) -> str:
    if "pattern" in message:
        return "it should be three capital letters, such as EUR"
    wish = message.replace("Input should", "it should").replace("a valid ", "a ")
    wish = re.sub(r"a dictionary or instance of \w+", "a section of keys", wish)
    return wish.replace("a integer", "a whole number")


def _spell(location: tuple[int | str, ...]) -> str:
    """Write a place in the plan as a person would: build 2, losses.electrical."""
    words = ""
    for part in location:
        if isinstance(part, int):
            words += f" {part + 1}"
        else:
            words += (". "[words[-1:].isdigit()] if words else "") + part
    return words


def _keys_beside(location: tuple[int | str, ...]) -> list[str]:
    """Return the keys that the section around a place may hold."""
    model: Any = Plan
    for part in location[:-1]:
        if isinstance(part, str):
            model = model.model_fields[part].annotation
            while not (isinstance(model, type) and issubclass(model, BaseModel)):
                model = get_args(model)[0]
    return [key for key in model.model_fields if not (model is Plan and key == "path")]


def _line_of(text: str, location: tuple[int | str, ...]) -> str:
    """Find the line of a key, or of the section that should hold it.

    tomllib forgets lines, so this looks for table headings and "key =" at line starts; a key inside
    an inline table is reported by the line of that table.
    """
    best_depth, best_line = 0, 1
    tables: dict[tuple[str, ...], int] = {}
    here: tuple[int | str, ...] = ()
    for number, line in enumerate(text.splitlines(), start=1):
        heading = re.match(r"\s*(\[\[?)\s*([^\[\]]+?)\s*\]", line)
        entry = re.match(r"\s*([A-Za-z0-9_.\"'-]+)\s*=", line)
        if heading:
            names = tuple(name.strip("\"' ") for name in heading.group(2).split("."))
            if heading.group(1) == "[[":
                tables[names] = tables.get(names, -1) + 1
                # Tables within this one are counted from its own start.
                for inner in [t for t in tables if t[: len(names)] == names and t != names]:
                    del tables[inner]
            here = ()
            for depth, name in enumerate(names, start=1):
                here += (name, tables[names[:depth]]) if names[:depth] in tables else (name,)
            found = here
        elif entry:
            found = here + tuple(name.strip("\"'") for name in entry.group(1).split("."))
        else:
            continue
        if location[: len(found)] == found and len(found) > best_depth:
            best_depth, best_line = len(found), number
    return f"line {best_line}"
