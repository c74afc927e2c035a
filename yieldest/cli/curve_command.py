"""The command `yieldest curve`: readings into a power curve."""

from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import typer

from yieldest.cli.options import MOSTLY, Command, Units, pairs, print_json, settings_of
from yieldest.files.whole_output import refuse_inputs

if TYPE_CHECKING:
    from yieldest.settings import Settings
    from yieldest.turbine.measured_curve import MeasuredCurve

PANELS = {
    MOSTLY: "rotor_diameter_m elevation_m shown_units out full",
    "The machine": "rotor_width_m rotor_height_m rotor_area_m2 rotor_type load",
    "When the table is not read as you meant (docs/readings.md)": (
        "column units date_order decimal averaging_s"
    ),
    "The circuit and the meters (docs/readings.md)": (
        "circuit power_factor volts_show amps_show volts_between resistors load_ohm wh_per_pulse "
        "metres_per_pulse"
    ),
    "The air (docs/air.md)": "temperature_c air_density density_correction",
    "How sure the meters are": "power_uncertainty speed_uncertainty speed_uncertainty_ms",
    "The ends of the curve (docs/power-curve.md)": (
        "cut_in_ms cut_out_ms extrapolation rated_power_w"
    ),
    "Where the energy goes": "generator_test winding_ohm",
}

WORDS = {
    "readings": (
        "READINGS",
        "A CSV of wind speed and watts, or volts and amps, or volts and ohms, or pulses.",
    ),
    "out": ("FILE", "Write the curve there as CSV, for a plan to name.", "--out", "-o"),
    "full": (
        "",
        "Print all the rest: every bin, losses, years, rules, methods, assumptions, cautions.",
    ),
    "load": ("", "What the machine fed; written into the curve file."),
    "column": (
        "ROLE=HEADING",
        'A heading that is not recognised, such as "volts=Ch 2"; again for another.',
    ),
    "air_density": ("KG/M3", "Or the density of that air itself."),
    "density_correction": (
        "",
        "What follows the density; speed only for pitch-regulated machines.",
    ),
    "generator_test": (
        "FILE",
        "A bench test: CSV of rpm and open-circuit volts, some lines with a load.",
    ),
    "winding_ohm": ("OHM", "Inner resistance of the generator."),
}


def curve(
    readings: Path,
    stated: dict[str, Any],
    out: Path | None = None,
    load: Literal["resistor", "battery", "charger", "inverter"] | None = None,
    column: list[str] | None = None,
    air_density: float | None = None,
    density_correction: Literal["power", "speed"] = "power",
    generator_test: Path | None = None,
    winding_ohm: float | None = None,
    shown_units: Units = None,
    full: bool = False,
    as_json: bool = False,
) -> None:
    """Make a power curve from your own readings of wind and power.

    One screen: how the readings were read, whether they are enough, a curve by the method of bins
    with its uncertainty, what a year of it brings, and where power is lost; all the rest with
    --full.
    Read more: docs/readings.md and docs/power-curve.md.

    Example: yieldest curve demo-sites/hill-yard/readings-0.9m.csv --rotor-diameter 0.9

    Example: yieldest curve readings.csv --rotor-diameter 0.9 --elevation 420 --out curve.csv
    """
    if out is not None:
        refuse_inputs(out, [readings, *([generator_test] if generator_test is not None else [])])
    from yieldest.turbine.conversion_chain import read_generator
    from yieldest.turbine.curve_ends import Ends
    from yieldest.turbine.measured_curve import measure_curve
    from yieldest.turbine.meters import Meters
    from yieldest.turbine.reading_columns import ROLES
    from yieldest.turbine.reading_file import read_readings
    from yieldest.turbine.rotor import Rotor

    columns = pairs("--column", "ROLE=HEADING", column, ROLES)
    meters = settings_of(
        Meters, stated, columns={role.replace(" ", "_"): heading for role, heading in columns}
    )
    rotor = settings_of(Rotor, stated)
    generator = None
    if generator_test is not None:
        generator = read_generator(generator_test, meters, winding_ohm)
    measured = measure_curve(
        read_readings(readings, meters),
        meters,
        rotor_area_m2=rotor.area_m2,
        rotor_type=rotor.rotor_type,
        density_correction=density_correction,
        load=load,
        generator=generator,
        air_density_kg_m3=air_density,
        ends=settings_of(Ends, stated),
    )
    if out is not None:
        _write(measured, out)
    if as_json:
        from yieldest.report.curve_json import curve_as_dictionary

        print_json(curve_as_dictionary(measured))
        return
    from yieldest.report.curve_text import print_curve
    from yieldest.report.terminal import console
    from yieldest.units import shown_in

    with shown_in(shown_units or "metric"):
        print_curve(measured, console(), full=full)
    if out is not None:
        typer.echo(f"\nwrote {out}")


def _write(measured: "MeasuredCurve", out: Path) -> None:
    from yieldest import __version__
    from yieldest.turbine.curve_file import write_curve

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


def _tables() -> "list[type[Settings]]":
    from yieldest.turbine.curve_ends import Ends
    from yieldest.turbine.meters import Meters
    from yieldest.turbine.rotor import Rotor

    return [Meters, Rotor, Ends]


COMMAND = Command(curve, WORDS, PANELS, _tables)
