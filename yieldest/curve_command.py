"""The `curve` command: readings into a power curve."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from yieldest.errors import InputError
from yieldest.outfile import refuse_inputs

if TYPE_CHECKING:
    from yieldest.turbine.measured import MeasuredCurve

_Shows = Literal["rms", "peak", "peak to peak"]


def curve(
    readings: Annotated[
        Path,
        typer.Argument(metavar="READINGS", help="CSV of wind speed and volts, amps, watts ..."),
    ],
    rotor_diameter: Annotated[
        float | None, typer.Option(help="Rotor diameter in m.", max=1000)
    ] = None,
    rotor_width: Annotated[
        float | None, typer.Option(help="Width of a vertical rotor in m.", max=1000)
    ] = None,
    rotor_height: Annotated[float | None, typer.Option(help="Its height in m.", max=1000)] = None,
    rotor_area: Annotated[
        float | None, typer.Option(help="Or the swept area in m2.", max=1e6)
    ] = None,
    rotor_type: Annotated[
        Literal["lift", "drag"] | None, typer.Option(help="Blades that fly, or that are pushed.")
    ] = None,
    column: Annotated[
        list[str] | None,
        typer.Option(help='A heading that is not recognised: "volts=Ch 2". Repeat for more.'),
    ] = None,
    units: Annotated[str | None, typer.Option(help="Unit of the wind speed.")] = None,
    circuit: Annotated[
        Literal["dc", "single-phase", "three-phase"] | None,
        typer.Option(help="Where the meters were."),
    ] = None,
    power_factor: Annotated[float | None, typer.Option(help="Of an AC circuit.", max=1)] = None,
    volts_show: Annotated[
        _Shows | None, typer.Option(help="What the volts of an AC circuit are.")
    ] = None,
    amps_show: Annotated[
        _Shows | None, typer.Option(help="What the amps of an AC circuit are.")
    ] = None,
    volts_between: Annotated[
        Literal["lines", "line and neutral"] | None, typer.Option(help="Of a three-phase circuit.")
    ] = None,
    resistors: Annotated[
        Literal["star", "delta"] | None, typer.Option(help="How three load resistors are joined.")
    ] = None,
    load_ohm: Annotated[
        float | None, typer.Option(help="Load resistance (of each resistor).")
    ] = None,
    wh_per_pulse: Annotated[
        float | None, typer.Option(help="Energy of one pulse of the meter.")
    ] = None,
    metres_per_pulse: Annotated[
        float | None, typer.Option(help="Wind run of one pulse of the anemometer.")
    ] = None,
    date_order: Annotated[
        Literal["day first", "month first", "year first"] | None,
        typer.Option(help="Of dates that could be read in several ways."),
    ] = None,
    decimal: Annotated[Literal[".", ","] | None, typer.Option(help="Decimal mark.")] = None,
    averaging: Annotated[
        float | None,
        typer.Option(help="Seconds each reading is a mean over; 0 for a glance.", min=0),
    ] = None,
    air_density: Annotated[float | None, typer.Option(help="At the readings, kg/m3.")] = None,
    elevation: Annotated[
        float | None,
        typer.Option(help="Where they were taken, m above sea level.", min=-430, max=6000),
    ] = None,
    temperature: Annotated[
        float | None, typer.Option(help="When they were taken, C.", min=-60, max=60)
    ] = None,
    density_correction: Annotated[
        Literal["power", "speed"],
        typer.Option(help="What follows the density: speed only for pitch-regulated machines."),
    ] = "power",
    power_doubt: Annotated[
        float | None, typer.Option(help="Standard uncertainty of power, as a share.", min=0, max=1)
    ] = None,
    speed_doubt: Annotated[
        float | None,
        typer.Option(help="Standard uncertainty of wind speed, as a share.", min=0, max=1),
    ] = None,
    speed_doubt_ms: Annotated[
        float | None, typer.Option(help="And its constant part, m/s.", min=0)
    ] = None,
    generator_test: Annotated[
        Path | None, typer.Option(help="CSV of rpm and open-circuit volts, some lines with a load.")
    ] = None,
    winding_ohm: Annotated[
        float | None, typer.Option(help="Inner resistance of the generator.")
    ] = None,
    load: Annotated[
        Literal["resistor", "battery", "charger", "inverter"] | None,
        typer.Option(help="What the machine fed; written into the curve file."),
    ] = None,
    beyond_last: Annotated[
        Literal["hold", "zero", "cube law"] | None,
        typer.Option(help="What to count above the last reading, up to the cut-out."),
    ] = None,
    cut_in: Annotated[
        float | None, typer.Option(help="m/s; by default from the readings.", min=0, max=120)
    ] = None,
    cut_out: Annotated[
        float | None, typer.Option(help="m/s; by default the last reading.", max=120)
    ] = None,
    rated_power: Annotated[float | None, typer.Option(help="W, where the cube law ends.")] = None,
    out: Annotated[Path | None, typer.Option(help="Write the curve to this CSV.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Full precision for machines.")] = False,
) -> None:
    """Make a power curve from your own readings, and say where the energy goes.

    Example: yieldest curve readings.csv --rotor-diameter 0.9 --out curve.csv
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
    if (rotor_width is None) != (rotor_height is None):
        raise InputError("--rotor-width and --rotor-height go together; state both.")
    if sum(size is not None for size in (rotor_area, rotor_diameter, rotor_width)) > 1:
        raise InputError(
            "--rotor-area, --rotor-diameter and --rotor-width exclude each other; keep one."
        )
    from yieldest.build_readings import meter_doubt  # noqa: PLC0415
    from yieldest.plan import swept_area_m2  # noqa: PLC0415
    from yieldest.turbine.air_at_test import AirAtTest  # noqa: PLC0415
    from yieldest.turbine.ends import Ends  # noqa: PLC0415
    from yieldest.turbine.generator import read_generator  # noqa: PLC0415
    from yieldest.turbine.measured import Machine, measure_curve  # noqa: PLC0415
    from yieldest.turbine.meters import Meters  # noqa: PLC0415

    meters = Meters(
        columns=_columns(column or []),
        units=units,
        circuit=circuit,
        power_factor=power_factor,
        volts_show=volts_show,
        amps_show=amps_show,
        volts_between=volts_between,
        resistors=resistors,
        load_ohm=load_ohm,
        wh_per_pulse=wh_per_pulse,
        metres_per_pulse=metres_per_pulse,
        date_order=date_order,
        decimal=decimal,
        averaging_s=averaging,
    )
    generator = None
    if generator_test is not None:
        generator = read_generator(generator_test, meters, winding_ohm)
    measured = measure_curve(
        readings,
        meters,
        Machine(
            rotor_area_m2=swept_area_m2(rotor_area, rotor_diameter, rotor_width, rotor_height),
            rotor_type=rotor_type,
            correction=density_correction,
            load=load,
            generator=generator,
        ),
        air=AirAtTest(air_density, elevation, temperature),
        doubt=meter_doubt(power_doubt, speed_doubt, speed_doubt_ms),
        ends=Ends(cut_in, cut_out, beyond_last, rated_power),
    )
    if out is not None:
        _write(measured, out)
    if as_json:
        from yieldest.show.curve_machine import curve_as_dictionary  # noqa: PLC0415

        content = curve_as_dictionary(measured)
        typer.echo(json.dumps(content, indent=2, allow_nan=False, ensure_ascii=False))
        return
    from yieldest.show.curve import print_curve  # noqa: PLC0415
    from yieldest.show.text import console  # noqa: PLC0415

    print_curve(measured, console())
    if out is not None:
        typer.echo(f"\nwrote {out}")


def _above_zero(**amounts: float | None) -> None:
    for name, amount in amounts.items():
        if amount is not None and not amount > 0:
            raise InputError(
                f"--{name.replace('_', '-')} is {amount:g}, but it should be above 0; mend it."
            )


def _columns(stated: list[str]) -> dict[str, str]:
    from yieldest.turbine.headings import ROLES  # noqa: PLC0415

    columns = {}
    for text in stated:
        role, equals, heading = text.partition("=")
        if not equals or role not in ROLES or not heading:
            raise InputError(
                f"--column {text!r} is not a role and a heading, as in 'volts=Ch 2'; the roles are "
                f"{', '.join(ROLES)}."
            )
        columns[role] = heading
    return columns


def _write(measured: "MeasuredCurve", out: Path) -> None:
    from yieldest import __version__  # noqa: PLC0415
    from yieldest.turbine.files import write_curve  # noqa: PLC0415

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
