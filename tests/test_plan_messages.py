"""What a plan that cannot be used is told: the key, what was found, what to do."""

import re

import pytest
from pydantic import ValidationError

from yieldest.errors import InputError
from yieldest.plan import load_plan
from yieldest.plan.keys import allowed, table_of, tables
from yieldest.plan.overrides import Override
from yieldest.plan.refusal import refusal
from yieldest.settings import SHARES, note

PLAN = """\
title = "Two ways"
currency = "EUR"
[site]
elevation_m = 100
[wind]
mean_speed_ms = 5.0
measured_height_m = 10
[[build]]
name = "first"
hub_height_m = 12
curve = "curve.csv"
[[build]]
name = "second"
hub_height_m = 12
curve = "curve.csv"
[economics]
price_per_kwh = 0.3
"""
SITE, WIND, BUILD, MONEY = (
    "elevation_m = 100",
    "mean_speed_ms = 5.0",
    'curve = "curve.csv"\n[economics]',
    "price_per_kwh = 0.3",
)

SPOILT = [
    # text, in its place, line, message
    (SITE, "elevaton_m = 100", 4, "unknown key 'site.elevaton_m'; did you mean 'elevation_m'?"),
    ("[site]", "[sight]", 3, "unknown key 'sight'; did you mean 'site'?"),
    (SITE, "discount_rate = 0.1", 4,
     "unknown key 'site.discount_rate'; it belongs to [economics]; move it there."),
    (SITE, "discont_rate = 0.1", 4,
     "unknown key 'site.discont_rate'; did you mean 'discount_rate', which belongs to "
     "[economics]?"),
    (SITE, 'units = "kn"', 4, "unknown key 'site.units'; it belongs to the top of the plan, "
     "[wind], [[wind.reference]] or [build.meters]; move it there."),
    ("[economics]", "[[cable]]", 16,
     "unknown key 'cable'; it belongs to [[build.cable]]; move it there."),
    ("[economics]", "[loan]", 16,
     "unknown key 'loan'; it belongs to [economics.loan]; move it there."),
    ("[economics]", "life_years = 9\n[economics]", 16,
     "unknown key 'build.1.life_years'; it belongs to [economics]; move it there."),
    ("[economics]", "[uncertainty]\nelectrical = { uniform = [0.1, 0.2] }\n[economics]", 17,
     "unknown key "
     "'uncertainty.electrical'; it belongs to [uncertainty.losses.electrical]; move it there."),
    (SITE, 'elevation_m = "100"', 4, "'site.elevation_m' is \"100\", but a number from -430 to "
     "6,000 was expected; write it without quotes."),
    (SITE, "elevation_m = nan", 4, "'site.elevation_m' is nan, but a number from -430 to 6,000 was "
     "expected; mend the value."),
    (SITE, "elevation_m = 100,5", 4, "'elevation_m = 100,5' has a decimal comma; write 100.5."),
    (SITE, "elevation_m = 0100", 4,
     "'elevation_m = 0100' has a number that begins with 0; write 100."),
    (SITE, "elevation_m = 100 m", 4,
     "'elevation_m = 100 m' has more than a number; leave out what follows 100."),
    (SITE, "terrain = open", 4, "'terrain = open' has no number, true, false or text in quotes; "
     "put quotes around text."),
    (SITE, "elevation_m = 100\nelevation_m = 3", 5,
     "'elevation_m = 3' stands in this table already; keep one of them."),
    (SITE, "the hill", 4, "'the hill' is neither a [table] nor a key = value; mend it, or put a # "
     "before it."),
    ("[site]", "[site", 3, "'[site' is not closed as it was opened; mend its brackets."),
    ("[site]", "[site]\n[site]", 4, "'[site]' stands in the plan already; put both together."),
    ('"Two ways"', '"Two ways', 1, "'title = \"Two ways' has a quote that is not closed; "
     "close it."),
    ("[economics]", "[[economics]]", 16,
     "'economics' is a list, where there is one table; write it as [economics]."),
    (SITE, "obstacles = { height_m = 3 }", 4, "'site.obstacles' is one table, where there may be "
     "several; write it as [[site.obstacles]]."),
    ('currency = "EUR"', 'currency = "euro"', 2, "'currency' is \"euro\", but a code of three "
     "capital letters was expected; mend the value."),
    ('currency = "EUR"', 'currency = "KWH"', 2, "currency: KWH is a unit, no currency; write a "
     "code of ISO 4217, such as EUR."),
    ('currency = "EUR"', 'currency = "nan"', 2, "'currency' is \"nan\", but a code of three "
     "capital letters was expected; mend the value."),
    (BUILD, BUILD.replace("[", "density_correction = '1'\n["), 16, "'build.1.density_correction' "
     "is \"1\", but one of \"power\", \"speed\" was expected; mend the value."),
    (BUILD, BUILD.replace("[", "array = { coordinates_m = 'plan' }\n["), 16, "'build.1.array."
     "coordinates_m' is \"plan\", but a list of lists of 2 numbers was expected; mend the value."),
    (SITE, 'elevation_m = "9999"', 4, "'site.elevation_m' is \"9999\", but a number from -430 to "
     "6,000 was expected; mend the value."),
    (SITE, 'elevation_m = ".5"', 4, "'site.elevation_m' is \".5\", but a number from -430 to "
     "6,000 was expected; mend the value."),
    (WIND, f"{WIND}\nseason_correction = 'true'", 7, "'wind.season_correction' is \"true\", but "
     "true or false was expected; write it without quotes."),
    (WIND, "monthly_means_ms = ['4.5']", 6, "'wind.monthly_means_ms.0' is \"4.5\", but 'wind."
     "monthly_means_ms' takes a list of 12 numbers from 0.01 to 60; write it without quotes."),
    (WIND, "monthly_means_ms = '4.5'", 6, "'wind.monthly_means_ms' is \"4.5\", but a list of 12 "
     "numbers from 0.01 to 60 was expected; mend the value."),
    (WIND, 'record = "x"\nheadings = "time"', 7, "'wind.headings' is \"time\", but a list of texts "
     "was expected; write it as [\"time\"]."),
    (SITE, "obstacles = [{ height_m = 3, width_m = 2e9, distance_m = 9, bearing_deg = 0 }]", 4,
     "'site.obstacles.0.width_m' is 2000000000.0, but a number from 0.0001 to 1,000,000,000 was "
     "expected; mend the value."),
    (SITE, "obstacles = [{ height_m = 3, width_m = 9, distance_m = 9, bearing_deg = 0, "
     "porosity = 100 }]", 4, "'site.obstacles.0.porosity' is 100, but a number from 0 to below 1 "
     "was expected; mend the value."),
    (MONEY, "price_per_kwh = inf", 17, "'economics.price_per_kwh' is inf, but a number from 0 to "
     "1,000,000,000,000 was expected; mend the value."),
    (MONEY, "price_per_kwh = -1", 17, "'economics.price_per_kwh' is -1, but a number of 0 or more "
     "was expected; mend the value."),
    (WIND, "", 5, "wind: there is no wind; state one of record, frequency_table, monthly_means, "
     "monthly_means_ms, mean_speed_ms, weibull_scale_ms."),
    (WIND, "monthly_means_ms = [1, 2, 3]", 6, "'wind.monthly_means_ms' is [1, 2, 3], but a list of "
     "12 numbers from 0.01 to 60 was expected; mend the value."),
    (WIND, 'record = "x"\nmissing = [true]', 7, "'wind.missing.0' is true, but 'wind.missing' "
     "takes a list of texts or numbers; mend the value."),
    (WIND, 'record = "x"\nquality_control = { stuck_hours = true }', 7,
     "'wind.quality_control.stuck_hours' is true, "
     "but a number of 0 or more, or false was expected; mend the value."),
    (BUILD, "[economics]", 12,
     "build.1: there is no power curve; state curve, readings or generic_curve."),
    (BUILD, BUILD.replace("[", "cable = [{ length_m = 3 }]\n["), 16, "the key 'build.1.cable.0."
     "cross_section_mm2' is missing (cross-section of one conductor); add cross_section_mm2 = 6."),
    (MONEY, "discount_rate = 5", 17,
     "'economics.discount_rate' is 5, but a number above -0.5 and up "
     "to 1 was expected; if 5 % is meant, write 0.05."),
    (MONEY, "loan = { share = 0.5, interest_rate = 6, years = 3 }", 17,
     "'economics.loan.interest_rate' is 6, but a number from 0 to 1 was expected; if 6 % "
     "is meant, write 0.06."),
    (MONEY, "[uncertainty]\ncurve = 0.1", 18,
     "'uncertainty.curve' is 0.1, but a table was expected; write it "
     "as curve = { standard_uncertainty = 0.05 }."),
    (WIND, 'record = "x"\nheight_m = 3', 7, "unknown key 'wind.height_m'; did you mean "
     "'measured_height_m', or does it belong to [[site.obstacles]] or [[wind.other_heights]]?"),
    (SITE, "loan = 500", 4,
     "unknown key 'site.loan'; it belongs to [economics.loan]; move it there."),
    (MONEY, "colour = 3", 17, "unknown key 'economics.colour'; the keys here are discount_rate, "
     "life_years, price_per_kwh, maintenance_share_per_year, wage_per_hour, "
     "self_consumption_share, "
     "export_price_per_kwh, real_price_escalation_per_year, degradation_per_year, grant, "
     "grant_share, "
     "inflation, loan, grid_carbon_kg_per_kwh, item_life; leave it out or mend it."),
    (WIND, "monthly_means_ms = [1, 2, 3, 4, 5]", 6, "'wind.monthly_means_ms' is a list of 5, but a "
     "list of 12 numbers from 0.01 to 60 was expected; mend the value."),
    (WIND, "mean_speed_ms = { speed = 5 }", 6, "'wind.mean_speed_ms' is a table, but a number "
     "from 0.01 to 60 was expected; mend the value."),
    (WIND, "mean_speed_ms = 5.0\nsensor = 'x'", 5,
     "wind: sensor belongs to a record, not to mean_speed_ms; leave it out."),
    (WIND, "mean_speed_ms = 5.0\nneighbour = 'x'", 5,
     "wind: neighbour belongs to a record, not to mean_speed_ms; leave it out."),
    (WIND, "weibull_scale_ms = 5.0", 5,
     "wind: weibull_scale_ms needs weibull_shape; state both."),
    (WIND, "record = 'x'\nweibull_shape = 2", 5, "wind: weibull_shape belongs to stated means, for "
     "a record is fitted; leave it out."),
    (WIND, "record = 'x'\nstart = 2025-01-01", 5,
     "wind: start and interval_s go together; state both."),
    (WIND, "frequency_table = 'x'\nfit = 'moments'", 5, "wind: fit is 'moments', but a "
     "frequency_table can only be fitted interval-censored or taken as it is, empirical; choose "
     "one of them."),
    (BUILD, BUILD.replace("[", "rotor_width_m = 2\n["), 12,
     "build.1: rotor_width_m and rotor_height_m go together; state both."),
    (BUILD, BUILD.replace("[", "meters = { circuit = 'dc' }\n["), 12,
     "build.1: meters belongs to readings; state readings with it."),
    (BUILD, "generic_curve = { power_coefficient = 0.2 }\n[economics]", 12,
     "build.1: a generic_curve needs the rotor size, cut_in_ms, rated_power_w, cut_out_ms (or "
     "furling_ms in generic_curve); state all of it in the build."),
    (BUILD, "generic_curve = { power_coefficient = 0.2 }\nrotor_area_m2 = 3\ncut_in_ms = 3\n"
     "rated_power_w = 300\ncut_out_ms = 12\nextrapolation = 'zero'\n[economics]", 12,
     "build.1: extrapolation has no meaning for a generic_curve; remove it."),
    (BUILD, BUILD.replace("[", "load = { kind = 'charger', start_up_w = 3 }\n["), 16,
     "build.1.load: no_load_draw_w and start_up_w belong to a conversion; state conversion as a "
     "file or 'typical'."),
    (MONEY, "grant = 1\ngrant_share = 0.1", 16,
     "economics: grant and grant_share exclude each other; keep one of them."),
    (SITE, "displacement_m = 3", 3, "site: displacement_m belongs to the log law; state terrain or "
     "roughness_length_m with it."),
    (MONEY, "price_per_kwh =", 17, "'price_per_kwh =' is not written as TOML wants it (invalid "
     "value); mend it."),
    ('currency = "EUR"', 'path = "x"', 2, "unknown key 'path'; leave it out, for files are looked "
     "for beside the plan."),
    ("measured_height_m = 10", "", 5, "the key 'wind.measured_height_m' is missing (height of the "
     "anemometer above ground); add measured_height_m = 10."),
]  # fmt: skip


def refused(tmp_path, text):
    path = tmp_path / "plan.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_plan(path)
    return str(caught.value).removeprefix(str(path))


def test_the_plan_that_is_spoilt_is_sound(tmp_path):
    (tmp_path / "plan.toml").write_text(PLAN, encoding="utf-8")
    assert load_plan(tmp_path).title == "Two ways"


@pytest.mark.parametrize(("old", "new", "line", "message"), SPOILT, ids=[s[1] for s in SPOILT])
def test_a_spoilt_plan_says_where_what_and_how_to_mend(tmp_path, old, new, line, message):
    assert PLAN.count(old) == 1
    assert refused(tmp_path, PLAN.replace(old, new)) == f", line {line}: {message}"


def test_a_text_that_never_ends_is_said(tmp_path):
    said = refused(tmp_path, PLAN.replace('"Two ways"', '"""Two ways'))
    # What stands in the brackets is the parser's own, and may change with the version of Python.
    assert said.startswith(": the file ends too early (")
    assert said.endswith("); close the last quote or bracket.")


@pytest.mark.parametrize("value", ["9" * 5000, "[" * 5000])
def test_what_cannot_be_parsed_is_said_in_one_line(tmp_path, value):
    said = refused(tmp_path, PLAN.replace(MONEY, f"price_per_kwh = {value}"))
    assert said == ": a number is too long, or brackets stand too deep in each other; mend them."


@pytest.mark.parametrize(
    ("encoded", "said"),
    [
        (PLAN.replace("ways", "Höfe").encode("latin-1"), ", line 1: this is not text in UTF-8; "),
        (PLAN.encode() + b"# \x81\n", ", line 18: this is not text in UTF-8; "),
        (PLAN.encode("utf-16"), ", line 1: this is not text in UTF-8; "),
        (PLAN.encode("utf-16-le"), ", line 1: there are zero bytes in the text, as UTF-16 has "
         "them; remove them, or "),
    ],
)  # fmt: skip
def test_a_plan_in_another_encoding_is_to_be_saved_as_utf_8(tmp_path, encoded, said):
    (tmp_path / "plan.toml").write_bytes(encoded)
    with pytest.raises(InputError) as caught:
        load_plan(tmp_path)
    assert str(caught.value) == f"{tmp_path / 'plan.toml'}{said}save it as UTF-8."


def test_whole_tables_that_lack_are_named(tmp_path):
    text = PLAN.replace(f"[wind]\n{WIND}\nmeasured_height_m = 10\n", "")
    assert "the table [wind] is missing (where the wind is known from); add it." in refused(
        tmp_path, text
    )


def test_two_builds_of_one_name_are_no_matter_of_a_line(tmp_path):
    said = refused(tmp_path, PLAN.replace('"second"', '"first"'))
    assert said == ": two builds are called 'first'; give each a name of its own."


@pytest.mark.parametrize("table", tables(), ids=lambda table: ".".join(table.path) or "top")
def test_every_key_may_be_misspelt_and_is_suggested(tmp_path, table):
    (tmp_path / "plan.toml").write_text(PLAN, encoding="utf-8")
    for name in table.keys:
        misspelt = name[:-2] + name[-1]
        if len(name) < 5 or misspelt in table.keys:
            continue
        path = [*table.path[:1], "1", *table.path[1:]] if "build" in table.path else table.path
        if table.many and table.path != ("build",):
            change = Override(".".join(path), [{misspelt: 1}])
        else:
            change = Override(".".join([*path, misspelt]), 1)
        with pytest.raises(InputError, match=f"unknown key .*{misspelt}'; did you mean '{name}'"):
            load_plan(tmp_path, [change])


def test_what_a_key_takes_is_said_in_words():
    words = {allowed(field) for table in tables() for field in table.keys.values()}
    assert "a number from 0 to below 1" in words
    assert 'one of "lift", "drag"' in words
    assert not any("None" in each or "<" in each for each in words)


def test_what_is_too_high_is_told_the_bound():
    """Even one that only keeps sums from overflowing, of which the reference says nothing."""
    hidden = 0
    for table in tables():
        for name, field in table.keys.items():
            try:
                table.model.model_validate({name: 10**15})
            except ValidationError as error:
                troubles = [each for each in error.errors() if each["type"] == "less_than_equal"]
            else:
                continue
            for trouble in troubles:
                where = (*table.path, *[0] * table.many, *trouble["loc"])
                bound = f"{trouble['ctx']['le']:,.13g}"
                assert re.search(rf" to {bound}\b", refusal({**trouble, "loc": where})), where
                hidden += bound not in allowed(field)
    assert hidden > 20


def test_shares_are_bounded_by_one():
    """What is said of per cent holds only where a number above 1 is refused."""
    for table in tables():
        for name, field in table.keys.items():
            if note(field, "unit") in SHARES and table_of(field)[0] is None:
                bounded = " 1" in allowed(field) or "0.5" in allowed(field)
                assert bounded or table.path == ("wind", "quality_control"), name
