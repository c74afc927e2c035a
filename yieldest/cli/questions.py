"""Ten questions in the terminal, or piped answers, that become a commented plan."""

from __future__ import annotations

import json
import shutil
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

import typer

from yieldest.cli.plan_folder import write_plan_folder
from yieldest.errors import InputError

Answer = TypeVar("Answer")
INVENTED = "invented"
"""The answer that leaves a file as `yieldest start` writes it."""


def ask(words: str, default: str, read: Callable[[str], Answer]) -> Answer:
    """Ask one question until its answer can be used; an empty one takes the default.

    An `InputError` when the answers end with one that cannot be used.
    """
    while True:
        typer.echo(f"{words} [{default}] ", nl=False)
        line = sys.stdin.readline()
        if not sys.stdin.isatty():
            typer.echo(line.strip())
        try:
            return read(line.strip() or default)
        except InputError as error:
            if not line:
                raise
            typer.echo(f"  {error}")
            if error.to_paste:
                typer.echo(error.to_paste)


def _number(lowest: float, highest: float, whole: bool = False) -> Callable[[str], float]:
    def read(text: str) -> float:
        try:
            value = float(text.replace(",", ".").rstrip("%m "))
        except ValueError:
            raise InputError(f"{text!r} is not a number; write one such as {highest:g}.") from None
        if not lowest <= value <= highest or (whole and value != int(value)):
            raise InputError(f"{text} is not between {lowest:g} and {highest:g}; mend it.")
        return value

    return read


def _wind(text: str) -> list[str]:
    """Return the lines of [wind] for a record or a mean speed, and show what was seen."""
    from yieldest.wind.read_wind import read_wind

    if text == INVENTED:
        return ['record = "wind.csv"           # invented: put your own record in its place']
    if text.replace(".", "", 1).isdigit():
        mean = _number(0.5, 20)(text)
        return [f"mean_speed_ms = {mean:g}           # a yearly mean that you trust"]
    path, _, unit = text.partition(" in ")
    record = read_wind(Path(path), units=unit.strip()) if unit else read_wind(Path(path))
    seen = f"{record.data_recovery.hours:,.0f} hours of readings, mean {record.mean_speed_ms:.2f}"
    typer.echo(f"  {seen} m/s as they were read.")
    stated = [f"units = {json.dumps(unit.strip())}"] if unit else []
    return [f"record = {_absolute(path)}   # {seen} m/s", *stated]


def _absolute(text: str) -> str:
    return json.dumps(str(Path(text).resolve()), ensure_ascii=False)


def _curve(text: str) -> str:
    """Return the line of [[build]] for a curve or readings, and show what was seen."""
    from yieldest.turbine.curve_file import read_power_curve
    from yieldest.turbine.reading_file import read_readings

    if text == INVENTED:
        return 'curve = "curve.csv"           # invented: put your own curve in its place'
    try:
        curve = read_power_curve(Path(text))
    except InputError as error:
        try:
            readings = read_readings(Path(text))
        except InputError:
            raise error from None
        typer.echo(f"  {readings.size:,} readings of wind and power.")
        return f"readings = {_absolute(text)}"
    typer.echo(f"  A curve up to {curve.power_w.max():.3g} W at {curve.speed_ms[-1]:.3g} m/s.")
    return f"curve = {_absolute(text)}"


def _bill(most: int, currency: str) -> Callable[[str], tuple[str, str]]:
    """Return what reads a bill, or the price of one machine, as a line and a file to write."""
    from yieldest.economics.read_bill import read_bill

    def read(text: str) -> tuple[str, str]:
        if text == INVENTED:
            return 'bill = "bill.csv"             # invented: put your own bill in its place', ""
        if text.replace(".", "", 1).isdigit():
            return 'bill = "bill.csv"', f"item,quantity,unit price,scope\nall,1,{text},per unit\n"
        bill = read_bill(Path(text), currency)
        bill.require_scopes(most)
        typer.echo(f"  {len(bill.items)} parts, {bill.capital_cost(1, 0.0):,.2f} for one machine.")
        return f"bill = {_absolute(text)}", ""

    return read


def _stand(text: str) -> tuple[float, float | None]:
    """Return hub height and the height of the roof below it, if it stands on one."""
    where, *heights = text.split()
    if where not in ("pole", "roof") or len(heights) != 1 + (where == "roof"):
        raise InputError(
            f"{text!r} is neither 'pole 12' nor 'roof 11 8' (hub and top of the roof, in metres "
            "above ground); write one of them."
        )
    hub, *top = (_number(0.5, 300)(height) for height in heights)
    if top and hub <= top[0]:
        raise InputError(f"the hub at {hub:g} m is not above the roof at {top[0]:g} m; mend it.")
    return hub, top[0] if top else None


def _price(text: str) -> tuple[float, str]:
    """Return a price of a kWh and its currency."""
    amount, _, currency = text.partition(" ")
    if len(currency) != 3 or not currency.isupper():
        raise InputError(
            f"{text!r} is no price with its currency (three letters, ISO 4217); write it as "
            "0.30 EUR."
        )
    return _number(0, 1e6)(amount), currency


def _counts(text: str) -> list[int]:
    read = _number(1, 10_000, whole=True)
    return list(dict.fromkeys(int(read(part)) for part in text.split()))


def ask_for_plan(folder: Path) -> Path:
    """Ask the ten things that matter, and write a folder with a commented plan.

    Returns the plan. An `InputError` when the folder is there already, or the answers end with one
    that cannot be used.
    """
    if folder.exists() or folder.is_symlink():
        raise InputError(f"{folder}: this is there already; name a folder that is not.")
    typer.echo("Ten questions; Enter takes what stands in brackets.")
    wind = ask(
        "1. Wind record (a file; 'FILE in mph' if it does not say), or mean speed in m/s?",
        INVENTED,
        _wind,
    )
    height = ask("2. Height of the anemometer above ground, in m?", "10", _number(0.1, 300))
    hub, top = ask("3. 'pole 12', or 'roof 11 8': hub and roof, m above ground?", "pole 12", _stand)
    counts = ask("4. How many machines? Several numbers are compared, as in '1 2 4'.", "1", _counts)
    curve = ask("5. Power curve, or readings of wind and power (a file)?", INVENTED, _curve)
    diameter = ask("6. Diameter of the rotor in m?", "1.8", _number(0.05, 50))
    price, currency = ask("7. What does a bought kWh cost?", "0.30 EUR", _price)
    bill, file = ask(
        "8. Parts bill (a file), or what one machine costs in all?",
        INVENTED,
        _bill(max(counts), currency),
    )
    used = ask("9. Share of the energy that you use yourself, in %?", "50", _number(0, 100))
    life = ask("10. How many years will it last?", "15", _number(1, 100, whole=True))
    roof = (
        "" if top is None else f"roof = {{ edge_height_m = {top:g}, width_m = 10 }}   # its top\n"
    )
    text = (
        "# Written from ten answers; every key there is: docs/plan-file.md.\n"
        f'title = "My yard"\ncurrency = "{currency}"              # of every sum\n\n'
        f'[site]\nterrain = "open"              # water, open, hedged, built or suburb\n{roof}\n'
        f"[wind]\n{chr(10).join(wind)}\nmeasured_height_m = {height:g}\n"
    )
    for count in counts:
        text += (
            f'\n[[build]]\nname = "{count} machine{"s" * (count > 1)}"\ncount = {count}\n'
            f"hub_height_m = {hub:g}\n{curve}\nrotor_diameter_m = {diameter:g}\n{bill}\n"
        )
    text += (
        f"\n[economics]\nprice_per_kwh = {price:g}          # what a bought kWh costs\n"
        f"self_consumption_share = {used / 100:g}  # or [demand]: docs/self-consumption.md\n"
        f"life_years = {life:.0f}\n"
    )
    write_plan_folder(folder)
    try:
        (folder / "plan.toml").write_text(text, encoding="utf-8")
        if file:
            (folder / "bill.csv").write_text(file, encoding="utf-8")
        for name in ("wind.csv", "curve.csv", "bill.csv"):
            if f'"{name}"' not in text:
                (folder / name).unlink()
    except OSError:
        shutil.rmtree(folder)
        raise
    return folder / "plan.toml"
