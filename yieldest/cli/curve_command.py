"""The command `yieldest curve`: readings into a power curve."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from yieldest.cli.options import MOSTLY, AsJson, DateOrder, pairs, print_json
from yieldest.errors import InputError
from yieldest.files.whole_output import refuse_inputs

if TYPE_CHECKING:
    from yieldest.turbine.measured_curve import MeasuredCurve

_Shows = Literal["rms", "peak", "peak to peak"]

MACHINE = "The machine"
TABLE = "When the table is not read as you meant (docs/readings.md)"
CIRCUIT = "The circuit and the meters (docs/readings.md)"
AIR = "The air (docs/air.md)"
UNCERTAINTY = "How sure the meters are"
ENDS = "The ends of the curve (docs/power-curve.md)"
GENERATOR = "Where the energy goes"

BEYOND_ANY_MACHINE = 1e9
"""In any unit of an option; beyond it the computing would overflow."""


def curve(
    readings: Annotated[
        Path,
        typer.Argument(
            metavar="READINGS",
            help="A CSV of wind speed and watts, or volts and amps, or volts and ohms, or pulses.",
        ),
    ],
    rotor_diameter: Annotated[
        float | None,
        typer.Option(
            metavar="METRES",
            rich_help_panel=MOSTLY,
            help="Diameter of the rotor; without any size, no power coefficient.",
        ),
    ] = None,
    elevation: Annotated[
        float | None,
        typer.Option(
            metavar="METRES",
            rich_help_panel=MOSTLY,
            help="Where the readings were taken, above sea level.",
            min=-430,
            max=6000,
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out",
            "-o",
            metavar="FILE",
            rich_help_panel=MOSTLY,
            help="Write the curve there as CSV, for a plan to name.",
        ),
    ] = None,
    rotor_width: Annotated[
        float | None,
        typer.Option(
            metavar="METRES", rich_help_panel=MACHINE, help="Width of a vertical rotor instead."
        ),
    ] = None,
    rotor_height: Annotated[
        float | None,
        typer.Option(metavar="METRES", rich_help_panel=MACHINE, help="And its height."),
    ] = None,
    rotor_area: Annotated[
        float | None,
        typer.Option(metavar="M2", rich_help_panel=MACHINE, help="Or the swept area."),
    ] = None,
    rotor_type: Annotated[
        Literal["lift", "drag"] | None,
        typer.Option(rich_help_panel=MACHINE, help="Blades that fly, or that are pushed."),
    ] = None,
    load: Annotated[
        Literal["resistor", "battery", "charger", "inverter"] | None,
        typer.Option(
            rich_help_panel=MACHINE, help="What the machine fed; written into the curve file."
        ),
    ] = None,
    column: Annotated[
        list[str] | None,
        typer.Option(
            metavar="ROLE=HEADING",
            rich_help_panel=TABLE,
            help='A heading that is not recognised, such as "volts=Ch 2"; again for another.',
        ),
    ] = None,
    units: Annotated[
        str | None,
        typer.Option(
            metavar="UNIT",
            rich_help_panel=TABLE,
            help="Unit of the wind speed: m/s, km/h, mph, kn, ft/s or Beaufort.",
        ),
    ] = None,
    date_order: Annotated[
        DateOrder | None,
        typer.Option(rich_help_panel=TABLE, help="Of dates that could be read in several ways."),
    ] = None,
    decimal: Annotated[
        Literal[".", ","] | None, typer.Option(rich_help_panel=TABLE, help="Decimal mark.")
    ] = None,
    averaging: Annotated[
        float | None,
        typer.Option(
            metavar="SECONDS",
            rich_help_panel=TABLE,
            help="What each reading is a mean over; 0 for a glance.",
            min=0,
        ),
    ] = None,
    circuit: Annotated[
        Literal["dc", "single-phase", "three-phase"] | None,
        typer.Option(rich_help_panel=CIRCUIT, help="Where the meters were; dc unless stated."),
    ] = None,
    power_factor: Annotated[
        float | None,
        typer.Option(
            metavar="SHARE", rich_help_panel=CIRCUIT, help="Of an AC circuit, 0 to 1.", max=1
        ),
    ] = None,
    volts_show: Annotated[
        _Shows | None,
        typer.Option(rich_help_panel=CIRCUIT, help="What the volts of an AC circuit are."),
    ] = None,
    amps_show: Annotated[
        _Shows | None,
        typer.Option(rich_help_panel=CIRCUIT, help="What the amps of an AC circuit are."),
    ] = None,
    volts_between: Annotated[
        Literal["lines", "line and neutral"] | None,
        typer.Option(rich_help_panel=CIRCUIT, help="Where the volts of three phases were taken."),
    ] = None,
    resistors: Annotated[
        Literal["star", "delta"] | None,
        typer.Option(rich_help_panel=CIRCUIT, help="How three load resistors are machines."),
    ] = None,
    load_ohm: Annotated[
        float | None,
        typer.Option(
            metavar="OHM", rich_help_panel=CIRCUIT, help="Load resistance, of each resistor."
        ),
    ] = None,
    wh_per_pulse: Annotated[
        float | None,
        typer.Option(
            metavar="WH", rich_help_panel=CIRCUIT, help="Energy of one pulse of the energy meter."
        ),
    ] = None,
    metres_per_pulse: Annotated[
        float | None,
        typer.Option(
            metavar="METRES",
            rich_help_panel=CIRCUIT,
            help="Wind run of one pulse of the anemometer.",
        ),
    ] = None,
    temperature: Annotated[
        float | None,
        typer.Option(
            metavar="CELSIUS",
            rich_help_panel=AIR,
            help="Air temperature at the readings, where no column says it.",
            min=-60,
            max=60,
        ),
    ] = None,
    air_density: Annotated[
        float | None,
        typer.Option(
            metavar="KG/M3", rich_help_panel=AIR, help="Or the density of that air itself."
        ),
    ] = None,
    density_correction: Annotated[
        Literal["power", "speed"],
        typer.Option(
            rich_help_panel=AIR,
            help="What follows the density; speed only for pitch-regulated machines.",
        ),
    ] = "power",
    power_uncertainty: Annotated[
        float | None,
        typer.Option(
            metavar="SHARE",
            rich_help_panel=UNCERTAINTY,
            help="Standard uncertainty of the power; 0.03 unless stated.",
            min=0,
            max=1,
        ),
    ] = None,
    speed_uncertainty: Annotated[
        float | None,
        typer.Option(
            metavar="SHARE",
            rich_help_panel=UNCERTAINTY,
            help="Standard uncertainty of the wind speed; 0.03 unless stated.",
            min=0,
            max=1,
        ),
    ] = None,
    speed_uncertainty_ms: Annotated[
        float | None,
        typer.Option(
            metavar="M/S",
            rich_help_panel=UNCERTAINTY,
            help="And its constant part; 0.1 unless stated.",
            min=0,
        ),
    ] = None,
    cut_in: Annotated[
        float | None,
        typer.Option(
            metavar="M/S",
            rich_help_panel=ENDS,
            help="No power below it; told from the readings unless stated.",
            min=0,
            max=120,
        ),
    ] = None,
    cut_out: Annotated[
        float | None,
        typer.Option(
            metavar="M/S",
            rich_help_panel=ENDS,
            help="No power above it; the last reading unless stated.",
            max=120,
        ),
    ] = None,
    extrapolation: Annotated[
        Literal["hold", "zero", "cube law"] | None,
        typer.Option(
            rich_help_panel=ENDS,
            help="What is counted between the last reading and the cut-out: the last power, "
            "nothing, or the cube law up to the rated power.",
        ),
    ] = None,
    rated_power: Annotated[
        float | None,
        typer.Option(metavar="WATTS", rich_help_panel=ENDS, help="Where the cube law ends."),
    ] = None,
    generator_test: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            rich_help_panel=GENERATOR,
            help="A bench test: CSV of rpm and open-circuit volts, some lines with a load.",
        ),
    ] = None,
    winding_ohm: Annotated[
        float | None,
        typer.Option(
            metavar="OHM", rich_help_panel=GENERATOR, help="Inner resistance of the generator."
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Make a power curve from your own readings of wind and power.

    A curve by the method of bins with its uncertainty, where the energy goes, how complete the
    readings
    are, what was left out and why, and with the size of the rotor the power coefficient. Read more:
    docs/readings.md and docs/power-curve.md.

    Example: yieldest curve demo-sites/hill-yard/readings-0.9m.csv --rotor-diameter 0.9

    Example: yieldest curve readings.csv --rotor-diameter 0.9 --elevation 420 --out curve.csv
    """
    _above_zero(
        rotor_diameter=rotor_diameter,
        rotor_width=rotor_width,
        rotor_height=rotor_height,
        rotor_area=rotor_area,
        power_factor=power_factor,
        load_ohm=load_ohm,
        wh_per_pulse=wh_per_pulse,
        metres_per_pulse=metres_per_pulse,
        air_density=air_density,
        winding_ohm=winding_ohm,
        cut_out=cut_out,
        rated_power=rated_power,
    )
    if out is not None:
        refuse_inputs(out, [readings, *([generator_test] if generator_test is not None else [])])
    from yieldest.turbine.curve_ends import Ends  # noqa: PLC0415
    from yieldest.turbine.generator import read_generator  # noqa: PLC0415
    from yieldest.turbine.measured_curve import measure_curve  # noqa: PLC0415
    from yieldest.turbine.meters import Meters  # noqa: PLC0415
    from yieldest.turbine.reading_headings import ROLES  # noqa: PLC0415
    from yieldest.turbine.rotor import Rotor  # noqa: PLC0415
    from yieldest.wind.read_options import options_of  # noqa: PLC0415

    columns = pairs("--column", "ROLE=HEADING", column, ROLES)
    meters = options_of(
        Meters,
        None,
        {
            "columns": {role.replace(" ", "_"): heading for role, heading in columns},
            "units": units,
            "circuit": circuit,
            "power_factor": power_factor,
            "volts_show": volts_show,
            "amps_show": amps_show,
            "volts_between": volts_between,
            "resistors": resistors,
            "load_ohm": load_ohm,
            "wh_per_pulse": wh_per_pulse,
            "metres_per_pulse": metres_per_pulse,
            "date_order": date_order,
            "decimal": decimal,
            "averaging_s": averaging,
            "elevation_m": elevation,
            "temperature_c": temperature,
            "power_uncertainty": power_uncertainty,
            "speed_uncertainty": speed_uncertainty,
            "speed_uncertainty_ms": speed_uncertainty_ms,
        },
    )
    rotor = options_of(
        Rotor,
        None,
        {
            "rotor_area_m2": rotor_area,
            "rotor_diameter_m": rotor_diameter,
            "rotor_width_m": rotor_width,
            "rotor_height_m": rotor_height,
            "rotor_type": rotor_type,
        },
    )
    generator = None
    if generator_test is not None:
        generator = read_generator(generator_test, meters, winding_ohm)
    measured = measure_curve(
        readings,
        meters,
        rotor_area_m2=rotor.area_m2,
        rotor_type=rotor.rotor_type,
        density_correction=density_correction,
        load=load,
        generator=generator,
        air_density_kg_m3=air_density,
        ends=Ends(
            cut_in_ms=cut_in,
            cut_out_ms=cut_out,
            extrapolation=extrapolation,
            rated_power_w=rated_power,
        ),
    )
    if out is not None:
        _write(measured, out)
    if as_json:
        from yieldest.report.curve_json import curve_as_dictionary  # noqa: PLC0415

        print_json(curve_as_dictionary(measured))
        return
    from yieldest.report.curve_text import print_curve  # noqa: PLC0415
    from yieldest.report.estimate_text import console  # noqa: PLC0415

    print_curve(measured, console())
    if out is not None:
        typer.echo(f"\nwrote {out}")


def _above_zero(**amounts: float | None) -> None:
    for name, amount in amounts.items():
        if amount is not None and not amount > 0:
            raise InputError(
                f"--{name.replace('_', '-')} is {amount:g}, but it should be above 0; mend it."
            )
        if amount is not None and amount > BEYOND_ANY_MACHINE:
            raise InputError(
                f"--{name.replace('_', '-')} is {amount:g}, beyond any machine; mend it."
            )


def _write(measured: "MeasuredCurve", out: Path) -> None:
    from yieldest import __version__  # noqa: PLC0415
    from yieldest.turbine.curve_file import write_curve  # noqa: PLC0415

    source = Path(measured.curve.provenance.source).name
    missed = sum(not rule.met for rule in measured.rules[:3])
    write_curve(
        measured.curve,
        out,
        (
            f"Power curve from the readings in {source}, by yieldest {__version__}.",
            f"{measured.readings.size} readings: {measured.averaging.words}; method of bins of "
            "0.5 m/s (IEC 61400-12-1).",
            f"Rules for small turbines missed: {missed} of 3.",
        ),
    )
