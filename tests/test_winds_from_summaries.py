"""Distributions from frequency tables, monthly means, a stated mean, and Beaufort counts."""

import numpy as np
import pytest
from conftest import kinds
from scipy import stats

from yieldest.defaults import RAYLEIGH_SHAPE, Assumed
from yieldest.errors import InputError
from yieldest.provenance import Provenance
from yieldest.units import BEAUFORT_EDGES_MS
from yieldest.wind.from_summaries import (
    StrongMonth,
    cube_over_mean_cubed,
    distribution_of_frequencies,
    distribution_of_months,
    points_of_frequencies,
)
from yieldest.wind.summary_tables import (
    GapsClosed,
    HoursNotAYear,
    MonthlyMeans,
    SharesNotWhole,
    read_frequency_table,
    read_monthly_means,
)
from yieldest.wind.weibull import moment


def weibull_hours(edges, shape=1.9, scale=6.2):
    return 8760 * np.diff(stats.weibull_min.cdf(edges, shape, scale=scale))


def table_of(edges, hours, heading="from (m/s),to (m/s),hours"):
    rows = [f"{a},{b},{h:.6f}" for a, b, h in zip(edges[:-1], edges[1:], hours, strict=True)]
    return heading + "\n" + "\n".join(rows) + "\n"


def read(path, **stated):
    return read_frequency_table(path, **stated)


@pytest.mark.parametrize("width", [0.5, 1.0, 2.0])
def test_a_weibull_is_found_again_from_its_table(table_text, width):
    edges = np.arange(0, 40 + width, width)
    table = read(table_text(table_of(edges, weibull_hours(edges))))
    distribution = distribution_of_frequencies(table, 10)
    assert distribution.shape == pytest.approx(1.9, rel=1e-4)
    assert distribution.scale_ms == pytest.approx(6.2, rel=1e-4)
    assert table.hours == pytest.approx(8760, rel=1e-3)


def test_the_fit_agrees_with_a_general_library(table_text):
    """scipy.stats: the general fit of interval-censored values, one for each count."""
    random = np.random.default_rng(3)
    edges = np.arange(0, 31.0, 1.0)
    counts, _ = np.histogram(6 * random.weibull(1.7, 3000), edges)
    text = "from (m/s),to (m/s),count\n" + "".join(
        f"{a},{a + 1},{n}\n" for a, n in zip(edges[:-1], counts, strict=True)
    )
    distribution = distribution_of_frequencies(read(table_text(text)), 10)
    between = np.repeat(np.column_stack([edges[:-1], edges[1:]]), counts, axis=0)
    shape, _, scale = stats.weibull_min.fit(stats.CensoredData(interval=between), floc=0)
    assert distribution.shape == pytest.approx(shape, rel=2e-3)
    assert distribution.scale_ms == pytest.approx(scale, rel=2e-3)


def test_points_keep_the_mean_and_the_mean_cube(table_text):
    edges = np.arange(0, 31.0, 1.0)
    table = read(table_text(table_of(edges, weibull_hours(edges))))
    speed, share = points_of_frequencies(table, distribution_of_frequencies(table, 10))
    assert share.sum() == pytest.approx(1)
    assert share @ speed == pytest.approx(moment(1.9, 6.2, 1), rel=2e-3)
    assert share @ speed**3 == pytest.approx(moment(1.9, 6.2, 3), rel=1e-4)
    middles = (table.lower_ms + table.upper_ms) / 2
    excess = table.share @ middles**3 - moment(1.9, 6.2, 3)
    assert excess == pytest.approx(moment(1.9, 6.2, 1) / 4, rel=0.05)  # Sheppard


@pytest.mark.parametrize(
    ("text", "lower", "upper"),
    [
        ("speed (m/s),hours\n1,10\n2,20\n3,5\n", [0.5, 1.5, 2.5], [1.5, 2.5, 3.5]),
        ("speed_kmh;share\n3,6;0,5\n10,8;0,5\n", [0, 2], [2, 4]),
        ("Bft,percent\n0,20\n1,30\n2,50\n", [0, 0.3, 1.6], [0.3, 1.6, 3.4]),
        ("title\nbin (kn),frequency\n0.5,1\n1.5,3\n", [0, 1852 / 3600], None),
    ],
)
def test_tables_of_middles_and_of_beaufort_numbers(table_text, text, lower, upper):
    table = read(table_text(text))
    assert table.lower_ms == pytest.approx(lower)
    if upper is not None:
        assert table.upper_ms == pytest.approx(upper)
    assert table.share.sum() == pytest.approx(1)
    assert ("Bft" in text) != bool(table.provenance.assumed)


def test_a_table_from_the_top_down_is_the_same_table(table_text):
    lines = ["0,2,10", "2,4,30", "4,6,60"]
    up, down = (
        read_frequency_table(table_text("from (m/s),to (m/s),percent\n" + "\n".join(rows) + "\n"))
        for rows in (lines, lines[::-1])
    )
    assert up.share.tolist() == down.share.tolist() == [0.1, 0.3, 0.6]
    assert up.lower_ms.tolist() == down.lower_ms.tolist() == [0, 2, 4]


def test_a_beaufort_table_gives_the_distribution_behind_it(table_text):
    edges = np.append(BEAUFORT_EDGES_MS, 1e3)
    hours = weibull_hours(edges)
    text = "Beaufort,hours\n" + "".join(f"{n},{h:.5f}\n" for n, h in enumerate(hours))
    distribution = distribution_of_frequencies(read(table_text(text)), 10)
    assert distribution.shape == pytest.approx(1.9, rel=1e-3)
    assert distribution.scale_ms == pytest.approx(6.2, rel=1e-3)


def test_shares_that_make_no_whole_are_told_and_stretched(table_text):
    table = read(table_text("from (m/s),to (m/s),percent\n0,5,40\n5,10,40\n"))
    assert table.share.tolist() == [0.5, 0.5]
    (told,) = table.provenance.warnings
    assert isinstance(told, SharesNotWhole)
    assert (told.heading, told.total, told.whole) == ("percent", 80, 100)


@pytest.mark.parametrize(("hours", "doubted"), [(8760, False), (8784, False), (876, True),
                         (7301, True), (10_000, True)])  # fmt: skip
def test_hours_that_make_no_year_are_told(table_text, hours, doubted):
    table = read(table_text(f"from (m/s),to (m/s),hours\n0,5,{hours - 300}\n5,10,300\n"))
    assert table.hours == hours
    assert [one.hours for one in table.provenance.warnings] == [hours] * doubted
    assert kinds(table.provenance.warnings) <= {HoursNotAYear}


def test_classes_of_whole_knots_meet_half_way_and_a_missing_line_is_told(table_text):
    """The scale of wind forces in whole knots: 1 to 3, 4 to 6, 7 to 10 (WMO-No. 306)."""
    table = read(table_text("from (kn),to (kn),percent\n1,3,20\n4,6,30\n7,10,50\n"))
    assert table.lower_ms * 3600 / 1852 == pytest.approx([1, 3.5, 6.5])
    assert table.upper_ms * 3600 / 1852 == pytest.approx([3.5, 6.5, 10.5])
    assert kinds(table.provenance.warnings) == {GapsClosed}
    table = read(table_text("from (m/s),to (m/s),percent\n0,1,40\n1,2,30\n3,4,20\n4,5,10\n"))
    (told,) = table.provenance.warnings
    assert (told.from_ms, told.to_ms) == (2, 3)


def test_bounds_in_two_units_are_refused(table_text):
    with pytest.raises(InputError, match="different units"):
        read(table_text("from (m/s),to (km/h),hours\n0,18,5\n18,36,3\n"))
    table = read(table_text("from (km/h),to,hours\n0,18,8760\n"))
    assert table.upper_ms == pytest.approx([5])
    with pytest.raises(InputError, match="several columns could be the hours"):
        read(table_text("from (m/s),to (m/s),hours 10 m,hours 40 m\n0,5,5,4\n5,10,1,2\n"))


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("from (m/s),hours\n1,2\n", "from and to"),
        ("from (m/s),to (m/s)\n1,2\n", "hours or share"),
        ("from,to,hours\n1,2,3\n", "does not say the speed unit"),
        ("from (m/s),to (m/s),hours\n0,1,5\n1,2,-3\n", "line 3: -3"),
        ("from (m/s),to (m/s),hours\n0,1,5\n1,2,\n", "line 3: column 'hours' is blank"),
        ("from (m/s),to (m/s),hours\n0,1,5\n0.5,2,3\n", "line 3: the class from 0.5"),
        ("from (m/s),to (m/s),hours\n0,1,0\n1,2,0\n", "adds up to nothing"),
        ("speed (m/s),hours\n3,5\n2,5\n4,5\n", "line 3: the speed"),
        ("speed (m/s),hours\n3,5\n", "two classes"),
        ("Bft,hours\n0,5\n13,5\n", "line 3: 13"),
        ("from (m/s),to (m/s),hours\n0,1,5\n1,2,much\n", "line 3: 'much'"),
    ],
)
def test_a_table_that_cannot_be_used_is_named(table_text, text, named):
    with pytest.raises(InputError) as refused:
        read(table_text(text))
    assert named in str(refused.value)
    assert "table.csv" in str(refused.value)


def test_a_table_with_one_filled_class_has_no_distribution(table_text):
    table = read(table_text("from (m/s),to (m/s),hours\n0,1,0\n1,2,5\n"))
    with pytest.raises(InputError, match="two filled classes"):
        distribution_of_frequencies(table, 10)


SOURCE = Provenance("months", "monthly means")
MEANS = np.array([6.1, 5.8, 5.9, 5.2, 4.6, 4.1, 3.9, 3.8, 4.4, 5.0, 5.6, 6.0])
DAYS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])


def test_monthly_means_keep_mean_and_mean_cube_of_the_mixture():
    """Against scipy.stats: twelve Weibull distributions weighted by their days."""
    distribution, speed, share = distribution_of_months(MonthlyMeans(MEANS, SOURCE), 2.2, 10)
    weight = DAYS / 365
    scale = MEANS / stats.weibull_min.mean(2.2)
    mean = (weight * stats.weibull_min.mean(2.2, scale=scale)).sum()
    cube = (weight * [stats.weibull_min.moment(3, 2.2, scale=a) for a in scale]).sum()
    assert distribution.mean_speed_ms == pytest.approx(mean, rel=1e-9)
    assert moment(distribution.shape, distribution.scale_ms, 3) == pytest.approx(cube, rel=1e-7)
    assert distribution.shape < 2.2
    assert share.sum() == pytest.approx(1)
    assert share @ speed == pytest.approx(mean, rel=1e-9)
    assert share @ speed**3 == pytest.approx(cube, rel=0.01)


def test_a_month_windier_than_any_gust_is_refused(run, yard, edit):
    edit(yard / "plan.toml", 'record = "wind.csv" ', f"monthly_means_ms = {[5] * 11 + [6e300]} ")
    refused = run("estimate", yard)
    assert refused.code == 2
    assert "12 numbers from 0.01 to 60" in refused.err


def test_equal_months_are_the_distribution_of_one():
    distribution, _, _ = distribution_of_months(MonthlyMeans(np.full(12, 5.0), SOURCE), None, 10)
    assert distribution.shape == pytest.approx(2)
    assert distribution.mean_speed_ms == pytest.approx(5)
    assert distribution.provenance.assumed == (Assumed(RAYLEIGH_SHAPE),)


def test_the_warning_on_the_shape_says_what_is_so():
    """6/pi for Rayleigh (textbook); the warning says +30 % at 1.6 and -15 % at 2.4."""
    assert cube_over_mean_cubed(2) == pytest.approx(6 / np.pi, rel=1e-12)
    assert cube_over_mean_cubed(1.6) / cube_over_mean_cubed(2) == pytest.approx(1.30, abs=0.01)
    assert cube_over_mean_cubed(2.4) / cube_over_mean_cubed(2) == pytest.approx(0.85, abs=0.01)


@pytest.mark.parametrize("names", [range(1, 13), ["January", "Feb", "mar", "Apr", "May", "Jun",
                                   "Jul", "Aug", "Sept", "Oct", "Nov", "December"]])  # fmt: skip
def test_monthly_means_are_read_in_any_order(table_text, names):
    rows = [f"{name};{mean * 3.6:.6f}" for name, mean in zip(names, MEANS, strict=True)]
    path = table_text("month;mean speed (km/h)\n" + "\n".join(rows[::-1]).replace(".", ","))
    means = read_monthly_means(path)
    assert means.speed_ms == pytest.approx(MEANS, rel=1e-6)


MONTHS_OF_TWO_HEIGHTS = "month,max speed (m/s),speed 10 m (m/s),speed 40 m (m/s)\n" + "".join(
    f"{n},{3 * mean:.1f},{mean:.1f},{mean + 1:.1f}\n" for n, mean in enumerate(MEANS, start=1)
)


def test_months_of_two_heights_and_gusts_follow_the_rules_of_records(table_text, run, yard, edit):
    path = table_text(MONTHS_OF_TWO_HEIGHTS)
    for height_m, more in ((12, 0), (38, 1)):
        assert read_monthly_means(path, height_m=height_m).speed_ms == pytest.approx(MEANS + more)
        shown = run("wind", path, "--months", "--height", height_m, "--json").json
        assert shown["mean_speed_ms"] == pytest.approx(DAYS @ (MEANS + more) / 365)
    refused = run("wind", path, "--months")
    assert refused.code == 2
    assert "several columns could be the speed ('speed 10 m (m/s)', 'speed 40" in refused.err
    edit(yard / "plan.toml", 'record = "wind.csv" ', f'monthly_means = "{path}" ')
    assert run("estimate", yard, "--draws", 0, "--json").json["wind"][
        "mean_speed_ms"
    ] == pytest.approx(DAYS @ MEANS / 365)
    stated = run("wind", path, "--months", "--column", "speed=speed 40 m (m/s)", "--json").json
    assert stated["mean_speed_ms"] == pytest.approx(DAYS @ (MEANS + 1) / 365)
    assert "no column 'speed'" in run("wind", path, "--months", "--column", "speed=speed").err
    vane = run("wind", path, "--months", "--column", "direction=speed 40 m (m/s)")
    assert vane.code == 2 and "no column of the direction" in vane.err
    gusts = table_text(MONTHS_OF_TWO_HEIGHTS.replace("speed 10 m", "a").replace("speed 40 m", "b"))
    with pytest.raises(InputError, match="holds gusts, not means"):
        read_monthly_means(gusts)


def test_months_of_stations_side_by_side(table_text):
    rows = "".join(f"{n},{mean:.1f},{mean + 1:.1f}\n" for n, mean in enumerate(MEANS, start=1))
    path = table_text("month,HILL (m/s),TOWN (m/s)\n" + rows)
    with pytest.raises(InputError, match=r"'HILL \(m/s\)', 'TOWN \(m/s\)'.*--sensor \"HILL\""):
        read_monthly_means(path)
    assert read_monthly_means(path, sensor="town").speed_ms == pytest.approx(MEANS + 1)
    table = table_text("from (m/s),to (m/s),hours\n0,5,8000\n5,9,760\n")
    with pytest.raises(InputError, match="pick a column of speeds"):
        read_frequency_table(table, sensor="town")


def test_a_month_of_18_metres_per_second_is_doubted():
    means = MonthlyMeans(np.append(MEANS[:11], 18.0), SOURCE)
    told = distribution_of_months(means, None, 10)[0].provenance.warnings
    assert [one.speed_ms for one in told if isinstance(one, StrongMonth)] == [18]


@pytest.mark.parametrize(
    ("rows", "named"),
    [
        (["1,5"] * 12, "line 3: '1'"),
        ([f"{n},5" for n in range(1, 12)], "month 12 is missing"),
        ([f"{n},5" for n in [*range(1, 12), 13]], "line 13: '13'"),
        ([f"{n},{5 * (n != 4)}" for n in range(1, 13)], "line 5: a monthly mean"),
        ([f"{n},windy" for n in range(1, 13)], "line 2: 'windy'"),
    ],
)
def test_monthly_means_that_cannot_be_used_are_named(table_text, rows, named):
    with pytest.raises(InputError) as refused:
        read_monthly_means(table_text("month,speed (m/s)\n" + "\n".join(rows)))
    assert named in str(refused.value)


WINDS = {
    "frequency_table": 'frequency_table = "table.csv"',
    "monthly_means": 'monthly_means = "table.csv"\nweibull_shape = 1.9',
    "monthly_means_ms": f"monthly_means_ms = {MEANS.tolist()}",
    "weibull_scale_ms": "weibull_scale_ms = 6.2\nweibull_shape = 1.9",
    "mean_speed_ms": "mean_speed_ms = 5.5",
}


@pytest.mark.parametrize("source", WINDS)
def test_a_plan_takes_every_source_of_wind(run, yard, edit, source):
    edges = np.arange(0, 31.0, 1.0)
    table = table_of(edges, weibull_hours(edges))
    if source == "monthly_means":
        table = "month,speed (m/s)\n" + "".join(f"{n},{v}\n" for n, v in enumerate(MEANS, 1))
    (yard / "table.csv").write_text(table)
    edit(yard / "plan.toml", 'record = "wind.csv" ', WINDS[source] + " ")
    ran = run("estimate", yard, "--draws", 0, "--json")
    assert ran.code == 0, ran.err
    wind, build = ran.json["wind"], ran.json["builds"][0]
    assert 4.5 < wind["mean_speed_ms"] < 6
    assert build["net_kwh_per_year"] > 0
    by_pieces = build["time_series_gross_kwh_per_year"]
    if source.startswith("monthly") or source == "frequency_table":
        assert by_pieces == pytest.approx(build["gross_kwh_per_year"], rel=0.05)
    else:
        assert by_pieces is None
    shown = run("estimate", yard)
    assert shown.code == 0
    assert max(map(len, shown.out.splitlines())) <= 100
    assert run("check", yard).code == 0


@pytest.mark.parametrize(
    ("lines", "named"),
    [
        ('frequency_table = "t.csv"\nmean_speed_ms = 5', "frequency_table and mean_speed_ms"),
        ("monthly_means_ms = [5, 5, 5]", "monthly_means_ms"),
        ("weibull_scale_ms = 6.2", "weibull_shape"),
        ('frequency_table = "t.csv"\nweibull_shape = 2', "weibull_shape"),
        ('mean_speed_ms = 5\ntime_zone = "UTC"', "time_zone belongs to a record"),
        ('mean_speed_ms = 5\nunits = "mph"', "units belongs to a record"),
        ('frequency_table = "t.csv"\nfit = "moments"', "interval-censored"),
        ('record = "wind.csv"\nstart = "2025-01-01"', "start and interval_s"),
        ('record = "wind.csv"\ndate_order = "sometimes"', "date_order"),
        ('record = "wind.csv"\ndecimal = "x"', "decimal"),
        ('record = "wind.csv"\nskip_lines = -1', "skip_lines"),
    ],
)
def test_a_plan_refuses_winds_that_make_no_sense(run, yard, edit, lines, named):
    edit(yard / "plan.toml", 'record = "wind.csv" ', lines + " ")
    refused = run("check", yard)
    assert refused.code == 2
    assert named in refused.err
    assert "plan.toml, line 1" in refused.err or "plan.toml, line 2" in refused.err


def test_a_plan_can_state_everything_about_a_record(run, yard, edit):
    edit(
        yard / "plan.toml",
        'record = "wind.csv" ',
        'record = "log.txt"\nunits = "kn"\ntemperature_units = "F"\npressure_units = "inHg"\n'
        'delimiter = ":"\ndecimal = ","\nencoding = "latin-1"\nskip_lines = 1\n'
        'date_order = "day first"\ntime_zone = "+01:00"\nmissing = ["broken", 77]\n'
        'threshold_ms = 1.0\naverage_s = 0\ncolumns = { date = "Tag", speed = "Wind", '
        'temperature = "T", pressure = "P" } ',
    )
    days = [f"{day:02d}/{month:02d}/2025" for month in (1, 2) for day in range(1, 13)]
    rows = [f"{day}:{4 + n % 7},5:50:29,9" for n, day in enumerate(days)]
    rows[3] = rows[3].replace(":7,5:", ":broken:")
    rows[4] = rows[4].replace(":8,5:", ":77:")
    text = "Aufgeschrieben am Schuppen, grün\nTag:Wind:T:P\n" + "\n".join(rows)
    (yard / "log.txt").write_text(text, encoding="latin-1")
    ran = run("check", yard, "--json")
    assert ran.code == 0, ran.err
    told = {part["what"]: (part["found"], part["how"]) for part in ran.json["recognised"]}
    assert told["unit of speed"] == ("kn", "stated")
    assert told["order of the date"] == ("day first", "stated")
    assert told["missing speed"][0] == "77 (1 times), broken (1 times)"
    assert told["time zone"] == ("UTC+01:00, turned into UTC", "stated")
    assert ran.json["found"][0].endswith("22 speeds")
    assert run("estimate", yard, "--draws", 512).code == 0


def test_the_worked_examples_of_the_handbook():
    """docs/summed.md: shape 1.86 from months of shape 2; middles 1.6 % too large at 2 m/s."""
    distribution, _, _ = distribution_of_months(MonthlyMeans(MEANS, SOURCE), None, 10)
    assert distribution.shape == pytest.approx(1.86, abs=0.005)
    edges = np.arange(0, 42.0, 2.0)
    middles = (edges[1:] + edges[:-1]) / 2
    cube = weibull_hours(edges) / 8760 @ middles**3
    assert cube / moment(1.9, 6.2, 3) == pytest.approx(1.016, abs=0.001)


def test_the_wind_command_reads_a_frequency_table(run, table_text):
    edges = np.arange(0, 31.0, 1.0)
    path = table_text(table_of(edges, weibull_hours(edges)))
    told = run("wind", path, "--table", "--json").json
    assert told["kind"] == "frequency table"
    assert told["weibull"]["shape"] == pytest.approx(1.9, rel=1e-3)
    assert told["mean_speed_ms"] == pytest.approx(moment(1.9, 6.2, 1), rel=1e-3)
    assert told["mean_cube_m3_s3"] == pytest.approx(moment(1.9, 6.2, 3), rel=1e-3)
    assert sum(entry["share"] for entry in told["classes"]) == pytest.approx(1)
    shown = run("wind", path, "--table")
    assert shown.code == 0
    assert shown.out.index("How windy?") < shown.out.index("####")
    assert max(map(len, shown.out.splitlines())) <= 100
    assert run("wind", path).code == 2


def test_the_wind_command_reads_monthly_means(run, table_text):
    path = table_text("month,speed (m/s)\n" + "".join(f"{n},{v}\n" for n, v in enumerate(MEANS, 1)))
    told = run("wind", path, "--months", "--json").json
    assert told["month_mean_speed_ms"] == MEANS.tolist()
    assert told["mean_speed_ms"] == pytest.approx((MEANS * DAYS).sum() / 365)
    assert any("Rayleigh" in text for text in told["assumed"])
    shown = run("wind", path, "--months")
    assert "January" in shown.out and "spreads about them" in shown.out
    assert max(map(len, shown.out.splitlines())) <= 100
    assert "exclude each other" in run("wind", path, "--months", "--table").err
    for of_records in (
        *(("--out", path.with_name("o.csv")), ("--fit", "moments"), ("--sectors", "8")),
        *(("--date-order", "day first"), ("--no-season-correction",), ("--average", "600")),
        *(("--quality-control", "stuck_hours=off"), ("--time-zone", "UTC")),
    ):
        refused = run("wind", path, "--months", *of_records)
        assert (refused.code, of_records[0] in refused.err) == (2, True)


@pytest.mark.parametrize(
    ("text", "shares"),
    [
        ("speed (m/s),hours\n0-2,2000\n2-4,3000\n4 to 6,5000\n", (0.2, 0.3, 0.5)),
        ("Wind speed class (m/s),Frequency (%)\n1,20\n3,30\n5,50\n", (0.2, 0.3, 0.5)),
        ("bin from (m/s),bin to (m/s),%\n0,2,20\n2,4,30\n4,6,50\n", (0.2, 0.3, 0.5)),
    ],
)
def test_a_frequency_table_taken_for_a_record_is_told_how_it_is_read(tmp_path, run, text, shares):
    path = tmp_path / "classes.csv"
    path.write_text(text)
    refused = run("wind", path)
    assert refused.code == 2
    assert "frequency_table in a plan (yieldest wind FILE --table)" in refused.err
    assert run("wind", path, "--table").code == 0
    table = read_frequency_table(path)
    assert table.share == pytest.approx(shares)
    assert table.lower_ms == pytest.approx((0, 2, 4))
    assert table.upper_ms == pytest.approx((2, 4, 6))
