"""Ten questions in the terminal, or piped answers, that become a commented plan."""

from __future__ import annotations

import json
import os
import re
import sys
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path

import typer

from yieldest.cli.plan_folder import write_plan_folder
from yieldest.economics.bill_columns import LARGEST_AMOUNT
from yieldest.economics.prices import HUNDREDTHS, PRICE, SIGNS, number_as_written
from yieldest.errors import InputError
from yieldest.files.whole_output import scratch_beside
from yieldest.frozen import frozen_dataclass
from yieldest.model.check import Checked, CurveRead, checked
from yieldest.model.inputs import Inputs, read
from yieldest.plan import load_plan
from yieldest.report.sentences.words import sentence
from yieldest.units import SPEED_FACTORS, SPEED_UNITS, unit_of

INVENTED = "invented"
"""The answer that leaves a file as `yieldest start` writes it."""
_SITES = {"pole": "yard", "roof": "house"}
"""What the places are called where both are compared, by what stands there."""
_LENGTHS = {"m": 1.0, "cm": 0.01, "ft": 0.3048, "feet": 0.3048}
_YEARS = {"years": 1.0, "year": 1.0, "": 1.0}
_SEVERAL = re.compile(r"[\s,;]+(?:and\s+)?")
_ROOF = {
    "edge_height_m": "height of its edge, the gutter, above ground.",
    "ridge_height_m": "height of the ridge above ground; of a flat roof the same.",
    "width_m": "longest side of the house.",
    "edge_distance_m": "distance from the mast to the farthest edge of the roof.",
    "hub_height_m": "height of the hub, the rotor's middle, above ground.",
}
"""What is asked of a roof, by key."""
Keys = tuple[str, ...]
_KEY = re.compile(r"[a-z_]+\s*=\s*\S.*")
"""A key of the plan with its value, as a refusal names it."""


@frozen_dataclass
class _Answers:
    """The answers so far, as pieces of a plan; the file of what was not asked yet is invented."""

    wind: tuple[str, ...] = ('record = "wind.csv"          # invented: put your own in its place',)
    units: str = ""
    height_m: float = 10.0
    pole_m: float | None = 12.0
    roof: Mapping[str, float] | None = None
    counts: tuple[int, ...] = (1,)
    curve: tuple[str, ...] = (
        'curve = "curve.csv"          # invented: put your own in its place',
        "cut_out_ms = 18              # above it no power is counted",
    )
    rotor: str = ""
    price: float = 0.30
    currency: str = "EUR"
    bill: tuple[str, ...] = ('bill = "bill.csv"            # invented: put your own in its place',)
    used: str = ""
    life_years: float = 15.0
    imperial: bool = False

    def plan(self) -> str:
        """Return the plan."""
        roof = dict(self.roof or {})
        stands = {"pole": self.pole_m, "roof": roof.pop("hub_height_m", None)}
        hubs = {stand: hub for stand, hub in stands.items() if hub is not None}
        several, sizes = len(hubs) > 1, ", ".join(f"{key} = {size:g}" for key, size in roof.items())
        lines = [
            "# A plan for yieldest, from ten answers. Everything behind a # is a remark.",
            "# Every key there is, with its unit: docs/plan-file.md.",
            'title = "My yard"',
            f'currency = "{self.currency}"             # of every sum, by ISO 4217',
            *(['units = "imperial"          # speeds in mph, heights in ft'] * self.imperial),
        ]
        for stand in hubs:
            lines += ["", *(["[[site]]", f'name = "{_SITES[stand]}"'] if several else ["[site]"])]
            lines += [f"roof = {{ {sizes} }}"] if stand == "roof" else []
            lines += ['# terrain = "hedged"         # or water, open, built, suburb: state yours']
        lines += ["", "[wind]", *self.wind, *filter(None, [self.units])]
        lines += [f"measured_height_m = {self.height_m:g}      # of the anemometer above ground"]
        for stand, hub in hubs.items():
            for count in self.counts:
                words = f"{count} machine{'s' * (count > 1)}{f', {stand}' if several else ''}"
                lines += ["", "[[build]]", f'name = "{words}"', f"count = {count}"]
                lines += [f'site = "{_SITES[stand]}"'] if several else []
                lines += [f"hub_height_m = {hub:g}           # above ground"]
                lines += [*self.curve, *filter(None, [self.rotor]), *self.bill]
        terms = [
            f"price_per_kwh = {self.price:g}         # what a bought kWh costs",
            f"life_years = {self.life_years:g}",
        ]
        share, demand = ([self.used], []) if "share" in self.used else ([], [self.used])
        lines += ["", "[economics]", *terms, *share]
        lines += ["", "[demand]", *demand] if any(demand) else []
        return "\n".join([*lines, ""])


class _Questions:
    """The questions about one folder to be, each answer tried in the plan that it belongs to."""

    def __init__(self, folder: Path, scratch: Path) -> None:
        self.folder, self.scratch = folder, scratch
        self.answers = _Answers()
        self.inputs: Inputs | None = None
        self.named: dict[str, str] = {}
        """Paths as the plan names them, and as they were given."""

    def ask(self, words: str, default: str, take: Callable[[str, Keys], str]) -> None:
        """Ask until an answer can be taken; an empty one is the default.

        `take` is given the answer, and the keys of the plan that were added to it after it was
        refused, and returns what is to be said of it. An `InputError` when the answers end.
        """
        typer.echo(words)
        refused = ""
        keys: Keys = ()
        while True:
            typer.echo(f"   [{default}] " if default else "   ", nl=False)
            try:
                line = sys.stdin.readline()
            except UnicodeDecodeError:
                raise InputError("the answers are not UTF-8 text; save them as such.") from None
            if not line:
                typer.echo()
                raise InputError(
                    f"the answers end at the question {words.splitlines()[0]!r}, so nothing was "
                    "written; give one on each line, an empty one for what stands in brackets."
                )
            if not sys.stdin.isatty():
                typer.echo(line.strip())
            text = line.strip() or default
            if refused and _KEY.fullmatch(text):
                keys = (*keys, text)
            else:
                refused, keys = text, ()
            try:
                if not text.isprintable() or not text:
                    raise InputError("this needs an answer, in plain characters.")
                typer.echo(f"   {self.as_given(take(refused, keys))}")
                return
            except InputError as error:
                typer.echo(f"   ! {self.as_given(str(error))}")
                typer.echo(error.to_paste, nl=bool(error.to_paste))

    def as_given(self, text: str) -> str:
        """Return a sentence with files named as they were in the answers."""
        for path, given in self.named.items():
            text = text.replace(path, given)
        return re.sub(rf"{re.escape(str(self.scratch))}/plan.toml(, line \d+)?: ", "", text)

    def file(self, text: str) -> str:
        """Return a file as the plan names it: from its folder, unless it was given in full."""
        path = Path(text.strip("'\"")).expanduser()
        if path.is_absolute() or self.folder.is_absolute():
            name = str(path.absolute())
        else:
            name = os.path.relpath(path.resolve(), self.folder.resolve())
        self.named = {str(self.scratch / name): str(path), **self.named}
        return json.dumps(Path(name).as_posix(), ensure_ascii=False)

    def tried(self, **given: object) -> Checked:
        """Put answers into the plan, and return what is found; an `InputError` refuses them."""
        answers = replace(self.answers, **given)  # type: ignore[arg-type]
        plan = self.scratch / "plan.toml"
        plan.write_text(answers.plan(), encoding="utf-8")
        inputs = read(load_plan(plan), like=self.inputs)
        found = checked(inputs)
        self.answers, self.inputs = answers, inputs
        return found

    def wind(self, text: str, keys: Keys) -> str:
        """Take a record or a yearly mean; what unit it is in may still be open."""
        self.unit = "m/s"
        if text == INVENTED:
            return "A fortnight of invented wind, to look around with."
        if mean := re.fullmatch(r"(\d+(?:[.,]\d+)?)\s*(\D*)", text):
            self.unit = unit_of("speed", mean[2]) if mean[2] else "m/s"
            self.mean = _number(text, mean[1])
            return self.mean_in(self.unit, ())
        record = (f"record = {self.file(text)}", *keys)
        try:
            self.tried(wind=record)
        except InputError:
            # What a file does not say is asked next; nothing but its unit may be missing.
            self.tried(wind=record, units='units = "m/s"')
            self.unit = ""
            return "Read, but it does not say the unit of its speeds."
        assert self.inputs is not None
        (wind,) = self.inputs.winds.values()
        if wind.record is not None:
            found = {part.what: part.found for part in wind.record.found}
            self.unit = unit_of("speed", found["unit of speed"])
        return self.seen_wind()

    def seen_wind(self) -> str:
        assert self.inputs is not None
        (wind,) = self.inputs.winds.values()
        record = wind.record
        if record is None:
            return f"Mean {wind.start_ms:.3g} m/s."
        return (
            f"{record.data_recovery.hours:,.0f} hours from {str(record.time[0])[:10]} to "
            f"{str(record.time[-1])[:10]}, mean {wind.start_ms:.3g} m/s."
        )

    def unit_of_wind(self, text: str, keys: Keys) -> str:
        unit = unit_of("speed", text)
        if self.answers.wind[0].startswith("mean_speed_ms"):
            return self.mean_in(unit, keys)
        self.tried(units="" if unit == self.unit else f"units = {json.dumps(unit)}")
        return self.seen_wind()

    def mean_in(self, unit: str, keys: Keys) -> str:
        if unit not in SPEED_FACTORS:
            raise InputError(f"a mean in {unit} cannot be turned into m/s; give one in m/s.")
        mean = round(self.mean * SPEED_FACTORS[unit], 3)
        self.tried(wind=(f"mean_speed_ms = {mean:g}         # a yearly mean that you trust", *keys))
        return self.seen_wind()

    def place(self) -> None:
        """Ask where the machine stands, and what is below it."""
        kinds: list[str] = []

        def taken(text: str, _: Keys) -> str:
            if text.lower() not in ("pole", "roof", "both"):
                raise InputError(f"{text!r} is none of pole, roof and both; write one of them.")
            kinds[:] = ["pole", "roof"] if text.lower() == "both" else [text.lower()]
            return f"On {' against '.join(f'a {kind}' for kind in kinds)}."

        self.ask("4. Does it stand on a pole or on a roof? 'both' compares them.", "pole", taken)
        if "pole" in kinds:
            words = "   On the pole: height of the hub, the rotor's middle, above ground (m or ft)."
            self.length(words, 12.0, lambda height_m: self.tried(pole_m=height_m))
        stated: dict[str, float] = {}
        for key, words in _ROOF.items() if "roof" in kinds else ():

            def on_roof(length_m: float, key: str = key) -> None:
                pole_m = self.answers.pole_m if "pole" in kinds else None
                self.tried(roof=_roof({**stated, key: length_m}), pole_m=pole_m)

            stated[key] = self.length(f"   Roof: {words}", _roof(stated)[key], on_roof)

    def length(self, words: str, default: float, take: Callable[[float], object]) -> float:
        """Ask for a length, and return it in m."""
        found: list[float] = []

        def taken(text: str, _: Keys) -> str:
            found.append(_with_unit(text, _LENGTHS))
            # Who answers in feet reads in feet.
            if text.lower().endswith(("ft", "feet")):
                self.answers = replace(self.answers, imperial=True)
            take(found[-1])
            return f"{found[-1]:g} m."

        self.ask(words, f"{default:g} m", taken)
        return found[-1]

    def counts(self, text: str, _: Keys) -> str:
        counts = tuple(dict.fromkeys(_whole(part) for part in _SEVERAL.split(text) if part))
        if not counts:
            raise InputError(f"{text!r} holds no number; write one, such as 1.")
        self.tried(counts=counts)
        return f"{len(counts)} compared." if len(counts) > 1 else "One way to build."

    def power(self, text: str, keys: Keys) -> str:
        """Take a power curve or readings, whichever the file holds."""
        if text == INVENTED:
            return "The curve of an invented machine."
        file = self.file(text)
        refusals = {}
        for kind in ("curve", "readings"):
            try:
                found = self.tried(curve=(f"{kind} = {file}", *keys))
            except InputError as error:
                refusals[kind] = str(error).rstrip(".")
            else:
                seen = next(one for one in found.read if isinstance(one, CurveRead))
                return f"Taken as {kind}; {sentence(seen)}."
        raise InputError(f"as a curve: {refusals['curve']}. As readings: {refusals['readings']}.")

    def rotor(self, text: str, _: Keys) -> str:
        sizes = [_with_unit(part, _LENGTHS) for part in text.split("x") if text != "unknown"]
        if len(sizes) > 2:
            raise InputError(f"{text!r} is no size; write 1.8 m, or 1.2 m x 1.6 m.")
        if not sizes:
            self.tried(rotor="")
            return "Without it less of the curve can be judged."
        if len(sizes) == 2:
            self.tried(rotor=f"rotor_width_m = {sizes[0]:g}\nrotor_height_m = {sizes[1]:g}")
        else:
            self.tried(rotor=f"rotor_diameter_m = {sizes[0]:g}")
        return " by ".join(f"{size:g} m" for size in sizes) + "."

    def price(self, text: str, _: Keys) -> str:
        match = PRICE.fullmatch(text) or PRICE.fullmatch(text.upper())
        signs = [] if match is None else [sign for sign in match.group("before", "after") if sign]
        if match is None or len(signs) != 1 or signs[0] == "%":
            raise InputError(f"{text!r} is no price with its currency; write it as 0.30 EUR.")
        if signs[0].lower() in HUNDREDTHS:
            raise InputError(f"{text!r} is in hundredths; write it in whole money, as 0.30 EUR.")
        codes = SIGNS.get(signs[0], (signs[0],))
        if len(codes) > 1:
            raise InputError(
                f"{signs[0]} is the sign of {', '.join(codes)}; write {match['number']} and one "
                "of these."
            )
        price = _number(text, match["number"])
        self.tried(price=price, currency=codes[0])
        return f"{price:g} {codes[0]} for a kWh; every sum is in {codes[0]}."

    def bill(self, text: str, keys: Keys) -> str:
        """Take a parts bill, or what a machine costs in all, which becomes one."""
        match = PRICE.fullmatch(text)
        if match is not None:
            total = _number(text, match["number"])
            for sign in filter(None, match.group("before", "after")):
                if self.answers.currency not in SIGNS.get(sign, (sign,)):
                    raise InputError(f"{text!r} is not in {self.answers.currency}; write it so.")
            if not 0 <= total <= LARGEST_AMOUNT:
                raise InputError(
                    f"{text!r} is no cost of a machine; write a sum from 0 to "
                    f"{LARGEST_AMOUNT:,.0f} {self.answers.currency}, such as 1250."
                )
            line = f"the whole machine,1,{total:.12g},per unit"
            tried = self.scratch / "sum.csv"
            tried.write_text(f"item,quantity,unit price,scope\n{line}\n")
            self.tried(bill=(f'bill = "{tried.name}"',))
            # Not before, for after a refusal the invented bill may be wanted yet.
            tried.replace(self.scratch / "bill.csv")
            stated = 'bill = "bill.csv"            # the sum alone'
            self.answers = replace(self.answers, bill=(stated,))
        elif text == INVENTED:
            return "The bill of an invented machine."
        else:
            self.tried(bill=(f"bill = {self.file(text)}", *keys))
        assert self.inputs is not None
        said, lines = [], 0
        for build in {build.settings.count: build for build in self.inputs.builds}.values():
            assert build.bill is not None
            count, cost = build.settings.count, build.bill.capital_cost(build.settings.count, 0.0)
            said.append(f"{cost:,.2f} for {count} machine{'s' * (count > 1)}")
            lines = len(build.bill.items)
        return f"{lines} line{'s' * (lines > 1)}; {', '.join(said)}, own work not counted."

    def used(self, text: str, _: Keys) -> str:
        """Take a share of the energy, or what the house draws in a year."""
        if yearly := re.fullmatch(r"(.+?)\s*kwh", text, re.IGNORECASE):
            drawn = _number(text, yearly[1])
            self.tried(used=f"kwh_per_year = {drawn:.12g}         # what the house draws")
            return f"{drawn:g} kWh in a year, set against the wind hour by hour."
        share = _number(text, text.rstrip("% "))
        if 0 < share <= 1 and "%" not in text:
            raise InputError(f"{text} can be {share:g} % or {100 * share:g} %; write one, with %.")
        self.tried(
            used=f"self_consumption_share = {share / 100:g} # the house uses itself; or [demand]"
        )
        return f"{share:g} % replaces bought kWh; the rest earns nothing until its price is stated."

    def life(self, text: str, _: Keys) -> str:
        years = _with_unit(text, _YEARS)
        self.tried(life_years=years)
        return f"{years:g} years."


def _roof(stated: Mapping[str, float]) -> dict[str, float]:
    """Return the sizes of a roof, with defaults for those that are not stated."""
    edge_m, width_m = stated.get("edge_height_m", 6.0), stated.get("width_m", 12.0)
    ridge_m = stated.get("ridge_height_m", edge_m)
    sizes = (edge_m, ridge_m, width_m, width_m / 2, ridge_m + 3)
    return {**dict(zip(_ROOF, sizes, strict=True)), **stated}


def _number(answer: str, number: str) -> float:
    """Return the one number that a text can be."""
    found = number_as_written(number, None)
    if len(found) == 1:
        return found[0]
    readings = " or ".join(f"{each:g}" for each in found)
    can = f"can be {readings}; write one of these" if found else "is no number; write one, as 12.5"
    raise InputError(f"{answer!r} {can}.")


def _with_unit(text: str, units: Mapping[str, float]) -> float:
    """Return a quantity in the first of the units, which is that of a bare number too."""
    match = re.fullmatch(r"(.*?\d[.,]?)\s*([a-z]*)", text.strip().lower())
    if match is None or match[2] not in ("", *units):
        known = ", ".join(filter(None, units))
        raise InputError(f"{text!r} is no number with a unit of {known}; mend it.")
    return round(_number(text, match[1]) * units.get(match[2], 1.0), 3)


def _whole(text: str) -> int:
    number = _number(text, text)
    if number != int(number) or number < 1:
        raise InputError(f"{text!r} is no number of machines; write 1 or more.")
    return int(number)


def ask_for_plan(folder: Path) -> Path:
    """Ask the ten things that matter, and write a folder with a commented plan.

    Each answer is tried at once in a plan with the answers so far, as `estimate` reads it. Returns
    the plan. An `InputError` when the folder is there already, or the answers end.
    """
    if folder.exists() or folder.is_symlink():
        raise InputError(f"{folder}: this is there already; name a folder that is not.")
    with scratch_beside(folder) as scratch:
        for file in write_plan_folder(scratch / "invented"):
            file.rename(scratch / file.name)
        (scratch / "invented").rmdir()
        asked = _Questions(folder, scratch)
        typer.echo(
            "Ten questions; an empty answer takes what stands in brackets. When one is refused, "
            'give\nanother, or add the key that it names, as in columns = { time = "Zeit" }.\n'
        )
        asked.ask(
            "1. Wind: a file with times and speeds, or a yearly mean such as 5.2 m/s.",
            INVENTED,
            asked.wind,
        )
        asked.ask(
            f"2. Unit of the speeds: one of {', '.join(SPEED_UNITS)}.",
            asked.unit,
            asked.unit_of_wind,
        )
        asked.length(
            "3. Height of the anemometer, or of that mean, above ground (m or ft).",
            asked.answers.height_m,
            lambda height_m: asked.tried(height_m=height_m),
        )
        asked.place()
        asked.ask(
            "5. How many machines? Several numbers are compared, as in 1 2 4.", "1", asked.counts
        )
        asked.ask(
            "6. Power: a file with a power curve, or with readings of wind and power.",
            INVENTED,
            asked.power,
        )
        asked.ask(
            "   Rotor: its diameter, or width x height as in 1.2 m x 1.6 m; or unknown.",
            "1.8 m" if "curve.csv" in asked.answers.curve[0] else "unknown",
            asked.rotor,
        )
        asked.ask(
            "7. Price of a bought kWh with its currency (three letters); it is what you save.",
            "0.30 EUR",
            asked.price,
        )
        asked.ask(
            "8. Parts bill: a file, or what one machine costs in all, your own work not counted.",
            INVENTED,
            asked.bill,
        )
        asked.ask(
            "9. Share of the energy that you use yourself, or what the house draws: 3000 kWh.",
            "50 %",
            asked.used,
        )
        asked.ask("10. Life of the machine in years; it pays within these.", "15", asked.life)
        made = scratch / "made"
        made.mkdir()
        for file in scratch.iterdir():
            if f'"{file.name}"' in asked.answers.plan() or file.name == "plan.toml":
                file.rename(made / file.name)
        made.rename(folder)
    return folder / "plan.toml"
