"""The steps to the hub of whole plans, as the command line gives it."""

from itertools import pairwise

import numpy as np
import pytest
from conftest import kinds

from yieldest import load
from yieldest.energy.annual_energy import TurbulenceEffect
from yieldest.hub.correction_steps import WindCorrection, correction_steps, steps_uncertainty
from yieldest.hub.obstacles import RotorNearObstacle, ShelterAllRound
from yieldest.hub.rooftop import MachineOnRoof
from yieldest.model.hub_wind import MeasuredInTheOpen

STEP_KEYS = {"step", "before_ms", "after_ms", "factor", "method", "standard_uncertainty"}

FINDINGS = ("assumed", "warnings")


def write_record(path, time, **columns):
    lines = [",".join(["time", *columns])]
    lines += [
        f"{stamp},{','.join(f'{value:.3f}' for value in values)}"
        for stamp, values in zip(time, np.stack(list(columns.values()), axis=1), strict=True)
    ]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def invented_hours(days, seed=8):
    random = np.random.default_rng(seed)
    noise = np.convolve(random.standard_normal(days * 24 + 23), np.ones(24) / np.sqrt(24), "valid")
    time = np.arange(days * 24) * np.timedelta64(1, "h") + np.datetime64("2024-01-01T00")
    return time, 5.5 * np.exp(0.45 * noise), np.cumsum(random.normal(0, 9, days * 24)) % 360


def test_rungs_multiply_and_their_uncertainties_add_in_squares():
    corrections = [
        WindCorrection("a", 1.1, "", 0.03),
        WindCorrection("b", 0.9, "", 0.04),
        WindCorrection("c", 1.0, "", None),
    ]
    steps = correction_steps(5.0, corrections)
    assert steps[-1].after_ms == pytest.approx(5 * 1.1 * 0.9)
    assert steps_uncertainty(corrections) == pytest.approx(0.05)
    assert correction_steps(5.0, []) == ()


def check_ladder(build, start_ms):
    steps = build["correction_steps"]
    assert all(set(step) == STEP_KEYS for step in steps)
    assert steps[0]["before_ms"] == pytest.approx(start_ms)
    for step, following in pairwise(steps):
        assert step["after_ms"] == following["before_ms"]
    for step in steps:
        assert step["after_ms"] == pytest.approx(step["before_ms"] * step["factor"])
        assert step["method"]
    assert steps[-1]["after_ms"] == pytest.approx(build["hub_mean_speed_ms"])
    uncertainties = [step["standard_uncertainty"] or 0 for step in steps]
    assert build["wind_standard_uncertainty"] == pytest.approx(
        np.sqrt(np.square(uncertainties).sum())
    )
    return [step["step"] for step in steps]


def findings(yard):
    """The kinds of what is assumed and warned of, of the plan and its builds together."""
    estimate = load(yard).estimate()
    told = (estimate, *estimate.builds)
    return [{kind for one in told for kind in kinds(getattr(one, of))} for of in FINDINGS]


def test_every_demo_climbs_from_the_record_to_the_hub(run, demo_site):
    result = run("estimate", demo_site, "--draws", 0, "--json").json
    for build in result["builds"]:
        names = check_ladder(build, result["wind"]["clock_mean_speed_ms"])
        assert names[:3] == ["to the long term", "to a distribution", "to hub height"]
    shown = run("estimate", demo_site, "--draws", 0, "--full").out
    assert max(map(len, shown.splitlines())) <= 100
    for word in ("before", "after", "factor", "±", "method", "IEC 61400-2"):
        assert word in shown


def test_a_stated_mean_has_a_ladder_too(run, yard, edit):
    edit(yard / "plan.toml", 'record = "wind.csv" ', "mean_speed_ms = 5.0 ")
    build = run("estimate", yard, "--draws", 0, "--json").json["builds"][0]
    assert check_ladder(build, 5.0) == ["as stated", "to hub height"]
    assert build["correction_steps"][0]["standard_uncertainty"] is None


def test_a_reference_carries_the_record_to_the_long_term(run, yard, edit):
    time, speed, direction = invented_hours(800)
    part = slice(24 * 300, 24 * 345)
    write_record(yard / "long.csv", time, **{"speed (m/s)": speed, "direction": direction})
    write_record(yard / "wind.csv", time[part], **{"speed (m/s)": 0.9 * speed[part]})
    edit(
        yard / "plan.toml",
        '# reference = { record = "airport.csv", units = "kn" }',
        'reference = { record = "long.csv" }',
    )
    assert "long.csv" in run("check", yard).out
    result = run("estimate", yard, "--draws", 0, "--json").json
    found = result["wind"]["long_term"]
    of_years = 0.9 * speed[-24 * 731 :].mean()
    uncertainty = found["methods"][-1]["mean_standard_uncertainty"]
    assert abs(found["mean_speed_ms"] / of_years - 1) < 2 * uncertainty
    assert found["correlation"] > 0.999
    assert not found["clock_offset"]["applied"]
    assert found["chosen"] == found["methods"][-1]["name"]
    check_ladder(result["builds"][0], result["wind"]["clock_mean_speed_ms"])
    step = result["builds"][0]["correction_steps"][0]
    assert step["after_ms"] == pytest.approx(found["mean_speed_ms"])
    shown = run("estimate", yard, "--draws", 0, "--full").out
    for words in ("variance ratio", "best linear prediction", "(chosen)",
                  "correlation 1.00", "face value"):  # fmt: skip
        assert words in shown
    write_record(yard / "wind.csv", time[: 24 * 5], **{"speed (m/s)": speed[: 24 * 5]})
    refused = run("estimate", yard)
    assert refused.code == 2
    assert "at least 14 are needed" in refused.err
    assert len(refused.err.splitlines()) == 1


def test_two_heights_measure_the_shear(run, yard, edit):
    time, speed, direction = invented_hours(60)
    write_record(
        yard / "wind.csv",
        time,
        **{"speed (m/s)": speed, "low (m/s)": speed * 0.5**0.25, "direction": direction},
    )
    edit(yard / "plan.toml", 'terrain = "open"', '# terrain = "open"')
    edit(
        yard / "plan.toml",
        '# other_heights = [{ column = "speed 5 m (m/s)", height_m = 5 }]',
        'other_heights = [{ column = "low (m/s)", height_m = 5 }]',
    )
    result = run("estimate", yard, "--draws", 0, "--json").json
    build, shear = result["builds"][0], result["wind"]["shear"]
    assert shear["exponent"] == pytest.approx(0.25, abs=1e-3)
    assert np.shape(shear["exponent_by_sector_and_part_of_day"]) == (9, 4)
    check_ladder(build, speed.round(3).mean())
    assert build["height"]["factor"] == pytest.approx(1.2**0.25, rel=1e-3)
    assert "exponent 0.25 measured at 10, 5 m" in build["height_method"]
    edit(yard / "plan.toml", '# terrain = "open"', 'terrain = "open"')
    refused = run("check", yard)
    assert refused.code == 2
    assert "wind.other_heights measures the shear" in refused.err


def other_heights(run, yard, stated, command="estimate"):
    """Run a command on a plan of a mast of 10, 20 and 40 m with an exponent of 0.3."""
    time, speed, direction = invented_hours(60)
    columns = {f"speed {h}m (m/s)": speed * (h / 10) ** 0.3 for h in (10, 20, 40)}
    write_record(yard / "wind.csv", time, **columns, direction=direction)
    plan = yard / "plan.toml"
    text = plan.read_text().replace('terrain = "open"', '# terrain = "open"')
    key = '# other_heights = [{ column = "speed 5 m (m/s)", height_m = 5 }]'
    assert key in text
    plan.write_text(text.replace(key, f"other_heights = {stated}"))
    return run(command, yard, *(("--draws", 0, "--json") if command == "estimate" else ()))


LOWER = '{ column = "speed 20m (m/s)", height_m = 20 }'


@pytest.mark.parametrize("command", ["check", "estimate"])
@pytest.mark.parametrize(
    ("stated", "words"),
    [
        (
            '[{ column = "speed 10m (m/s)", height_m = 5 }]',
            "'speed 10m (m/s)' holds the very speeds of the record itself",
        ),
        (
            f'[{LOWER}, {{ column = "speed 20m (m/s)", height_m = 40 }}]',
            "'speed 20m (m/s)' holds the very speeds of 'speed 20m (m/s)'",
        ),
    ],
)
def test_one_anemometer_is_not_two(run, yard, command, stated, words):
    refused = other_heights(run, yard, stated, command)
    assert refused.code == 2
    assert words in refused.err
    assert len(refused.err.splitlines()) == 1


def test_a_height_of_another_anemometer_that_contradicts_its_heading_is_told(run, yard):
    doubted = other_heights(run, yard, '[{ column = "speed 20m (m/s)", height_m = 15 }]').json
    told = [text for text in doubted["warnings"] if "20 m high" in text]
    assert len(told) == 1
    assert "15 m is stated" in told[0]


def test_heights_as_the_headings_say_are_not_doubted(run, yard):
    both = f'[{LOWER}, {{ column = "speed 40m (m/s)", height_m = 40 }}]'
    agreed = other_heights(run, yard, both).json
    assert not any("m high" in text for text in agreed["warnings"])
    assert agreed["wind"]["shear"]["exponent"] == pytest.approx(0.3, abs=1e-3)


def test_obstacles_and_roof_take_wind_away(run, yard, edit):
    plain = run("estimate", yard, "--draws", 0, "--json").json["builds"][0]
    edit(yard / "plan.toml", "# obstacles = [", "obstacles = [")
    sheltered = run("estimate", yard, "--draws", 0, "--json").json
    build = sheltered["builds"][0]
    names = check_ladder(build, sheltered["wind"]["clock_mean_speed_ms"])
    assert names[-1] == "behind obstacles"
    assert build["hub_mean_speed_ms"] < plain["hub_mean_speed_ms"]
    assumed, warnings = findings(yard)
    assert {ShelterAllRound, MeasuredInTheOpen} <= assumed
    assert RotorNearObstacle in warnings
    edit(yard / "plan.toml", "# measured_at_hub_site = true", "measured_at_hub_site = true")
    measured_at_hub_site = run("estimate", yard, "--draws", 0, "--json").json["builds"][0]
    assert measured_at_hub_site["hub_mean_speed_ms"] > build["hub_mean_speed_ms"]
    edit(yard / "plan.toml", "# roof = {", "roof = {")
    roofed = run("estimate", yard, "--draws", 0, "--json").json
    names = check_ladder(roofed["builds"][0], roofed["wind"]["clock_mean_speed_ms"])
    assert names[-1] == "above the roof"
    assert roofed["builds"][0]["roof"]["above_edge_m"] == pytest.approx(6)
    assert roofed["builds"][0]["roof"]["above_ridge_m"] == pytest.approx(4)
    assert MachineOnRoof in findings(yard)[1]
    edit(yard / "plan.toml", "ridge_height_m = 8", "ridge_height_m = 13")
    refused = run("estimate", yard)
    assert refused.code == 2
    assert "not above the roof" in refused.err


def test_turbulence_and_humidity_are_said(run, yard, edit):
    edit(yard / "plan.toml", "# turbulence_intensity = 0.18", "turbulence_intensity = 0.3")
    edit(yard / "plan.toml", "# relative_humidity = 0.8", "relative_humidity = 0.8")
    result = run("estimate", yard, "--draws", 0, "--json").json
    build = result["builds"][0]
    assert build["turbulence"]["intensity"] == 0.3
    assert TurbulenceEffect in findings(yard)[1]
    assert build["air"]["humidity_energy_effect"] < 0
    assert "CIPM-2007" in build["air_density_method"]


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("# relative_humidity = 0.8", "relative_humidity = 80", "relative_humidity"),
        ("# roof = { edge", "on_roof = true #", "did you mean 'roof'"),
        ("# roof = { edge_height_m = 6", "roof = { edge_height_m = 9", "below edge_height_m"),
        (
            "# obstacles = [{ height_m = 7",
            "obstacles = [{ height_m = -7",
            "site.obstacles.0.height_m",
        ),
    ],
)
def test_a_wrong_key_of_the_surroundings_is_named(run, yard, edit, old, new, words):
    edit(yard / "plan.toml", old, new)
    refused = run("check", yard)
    assert refused.code == 2
    assert words in refused.err
    assert "line" in refused.err


def test_ten_years_give_a_fifty_year_wind(run, yard, edit):
    time, speed, _ = invented_hours(3660)
    write_record(yard / "wind.csv", time, **{"speed (m/s)": speed})
    result = run("estimate", yard, "--draws", 0, "--json").json
    strong = result["builds"][0]["extreme_winds"]
    assert strong["largest_reading_ms"] == pytest.approx(speed.max(), abs=1e-3)
    fifty = strong["fifty_year"]
    assert fifty["low_ms"] < fifty["speed_ms"] < fifty["high_ms"]
    assert fifty["years"] == 10
    assert strong["thrust_n"] > 0
    assert "50-year wind" in run("estimate", yard, "--draws", 0, "--full").out
