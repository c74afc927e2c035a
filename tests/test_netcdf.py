"""NetCDF records, as CF standard names describe them."""

import numpy as np
import pytest
import xarray as xr

from yieldest.errors import InputError
from yieldest.wind.read_wind import read_wind

TIMES = np.datetime64("2025-01-01", "ns") + np.arange(5) * np.timedelta64(1, "h")
SPEED = [3.0, 4.5, np.nan, 6.0, 7.5]


def variable(values, name, units, dims=("time",), **more):
    attributes = {"standard_name": name, **({} if units is None else {"units": units}), **more}
    return (dims, np.asarray(values, dtype=float), attributes)


@pytest.fixture(params=["NETCDF4", "NETCDF3_64BIT"])
def write(request, tmp_path):
    """Write variables to a NetCDF file, of either kind."""

    def write_file(variables, coordinates=None):
        path = tmp_path / "wind.nc"
        data = xr.Dataset(variables, {"time": TIMES, **(coordinates or {})})
        kind = request.param
        engine = "h5netcdf" if kind == "NETCDF4" else "scipy"
        data.to_netcdf(path, format=kind, engine=engine)
        return path

    return write_file


def test_a_speed_is_read_with_what_stands_beside_it(write):
    path = write(
        {
            "u10": variable(np.array(SPEED) * 3.6, "wind_speed", "km/h"),
            "wd": variable([10, 20, 30, 40, 50], "wind_from_direction", "degree"),
            "t2m": variable([280.15] * 5, "air_temperature", "K"),
            "sp": variable([98000.0] * 5, "surface_air_pressure", "Pa"),
            "fg": variable([5, 6, 7, 8, 9], "wind_speed_of_gust", "m s-1"),
        }
    )
    record = read_wind(path)
    assert record.speed_ms == pytest.approx(SPEED, nan_ok=True)
    np.testing.assert_array_equal(record.time, TIMES)
    assert record.direction_deg.tolist() == [10, 20, 30, 40, 50]
    assert record.temperature_c == pytest.approx([7.0] * 5)
    assert record.pressure_hpa == pytest.approx([980.0] * 5)
    assert record.gust_ms.tolist() == [5, 6, 7, 8, 9]
    found = {part.what: part.found for part in record.found}
    assert found["variable of speed"] == "u10"
    assert found["unit of speed"] == "km/h"


def test_components_make_speed_and_direction(write):
    """A wind from the west blows to the east: eastward_wind above zero, direction 270."""
    path = write(
        {
            "u": variable([3, 0, -3, 0, 3], "eastward_wind", "m s-1"),
            "v": variable([0, 4, 0, -4, 4], "northward_wind", "m s-1"),
        }
    )
    record = read_wind(path)
    assert record.speed_ms == pytest.approx([3, 4, 3, 4, 5])
    assert record.direction_deg == pytest.approx([270, 180, 90, 0, 216.8699], abs=1e-4)


def test_a_height_is_chosen_among_several(write):
    heights = {"height": ("height", [10.0, 50.0], {"standard_name": "height", "units": "m"})}
    values = np.column_stack([SPEED, np.array(SPEED) + 1])
    path = write({"ws": variable(values, "wind_speed", "m s-1", ("time", "height"))}, heights)
    with pytest.raises(InputError, match="heights 10, 50 m"):
        read_wind(path)
    record = read_wind(path, height_m=40)
    assert ("height", "50 m") in {(part.what, part.found) for part in record.found}
    assert record.height_m == 40
    assert record.speed_ms[0] == 4


def test_a_scalar_height_is_taken_from_the_file(write):
    path = write(
        {"ws": variable(SPEED, "wind_speed", "m s-1")},
        {"height": ((), 10.0, {"standard_name": "height", "units": "m"})},
    )
    assert read_wind(path).height_m == 10


def test_one_point_is_a_record_and_several_ask_for_one(write):
    values = np.array(SPEED)[:, None, None]
    one = write({"ws": variable(values, "wind_speed", "m s-1", ("time", "lat", "lon"))})
    assert read_wind(one).speed_ms[1] == 4.5
    values = np.stack([values[..., 0], values[..., 0] * 2], axis=-1)
    two = write({"ws": variable(values, "wind_speed", "m s-1", ("time", "lat", "lon"))})
    with pytest.raises(InputError, match="2 points"):
        read_wind(two)
    assert read_wind(two, point=2).speed_ms[1] == 9
    with pytest.raises(InputError, match="point 3"):
        read_wind(two, point=3)


@pytest.mark.parametrize(
    ("variables", "named"),
    [
        ({"rain": variable(SPEED, "rainfall_rate", "mm")}, "the variables are rain"),
        ({"ws": variable(SPEED, "wind_speed", None)}, "has no units"),
        ({"ws": variable(SPEED, "wind_speed", "furlongs")}, "furlongs"),
        ({"ws": variable([3, -4, 5, 6, 7], "wind_speed", "m s-1")}, "value 2 of the speed is -4"),
        (
            {"a": variable(SPEED, "wind_speed", "m/s"), "b": variable(SPEED, "wind_speed", "m/s")},
            "several variables",
        ),
    ],
)
def test_what_cannot_be_used_is_named(write, variables, named):
    path = write(variables)
    with pytest.raises(InputError) as refused:
        read_wind(path)
    assert named in str(refused.value)
    assert "wind.nc" in str(refused.value)


def test_a_variable_and_its_units_can_be_stated(write):
    path = write({"ws": (("time",), np.array(SPEED))})
    with pytest.raises(InputError, match="no variable has the standard name"):
        read_wind(path)
    record = read_wind(path, columns={"speed": "ws"}, units="kn")
    assert record.speed_ms[0] == pytest.approx(3 * 1852 / 3600)
    with pytest.raises(InputError, match="no variable 'wind'"):
        read_wind(path, columns={"speed": "wind"})


def test_damaged_files_and_files_without_time_are_named(write, tmp_path):
    whole = write({"ws": variable(SPEED, "wind_speed", "m s-1")}).read_bytes()
    damaged = tmp_path / "damaged.nc"
    damaged.write_bytes(whole[: len(whole) // 3])
    with pytest.raises(InputError, match=r"damaged\.nc"):
        read_wind(damaged)
    timeless = tmp_path / "timeless.nc"
    xr.Dataset({"ws": variable(SPEED, "wind_speed", "m s-1", ("x",))}).to_netcdf(
        timeless, engine="h5netcdf"
    )
    with pytest.raises(InputError, match="no time coordinate"):
        read_wind(timeless)


def test_a_glob_finds_one_file_and_several_are_refused(write):
    path = write({"ws": variable(SPEED, "wind_speed", "m/s")})
    found = read_wind(path.parent / "w*.nc")
    assert found.speed_ms == pytest.approx(SPEED, nan_ok=True)
    (path.parent / "x.nc").write_bytes(path.read_bytes())
    with pytest.raises(InputError, match=r"wind\.nc: only tables of text .* name this one alone"):
        read_wind(path.parent / "*.nc")


@pytest.mark.parametrize(
    "stated", [{"average_s": 600.0}, {"time_zone": "UTC"}, {"delimiter": ";"}, {"sensor": "a"}]
)
def test_what_belongs_to_text_is_refused(write, stated):
    path = write({"ws": variable(SPEED, "wind_speed", "m s-1")})
    with pytest.raises(InputError, match=rf"wind\.nc: {next(iter(stated))} belongs to a record of"):
        read_wind(path, **stated)


def test_marks_are_missing_values(write):
    marked = [3.0, -9999.0, 1e20, 6.0, 7.5]
    record = read_wind(write({"ws": variable(marked, "wind_speed", "m s-1")}))
    assert record.speed_ms == pytest.approx([3, np.nan, np.nan, 6, 7.5], nan_ok=True)
    stated = read_wind(write({"ws": variable(SPEED, "wind_speed", "m s-1")}), missing=["6"])
    assert stated.speed_ms == pytest.approx([3, 4.5, np.nan, np.nan, 7.5], nan_ok=True)


@pytest.mark.parametrize("calendar", ["noleap", "360_day"])
def test_a_calendar_of_its_own_is_refused_in_our_words(write, calendar):
    units = {"units": "days since 2001-01-01", "calendar": calendar}
    path = write(
        {"ws": variable(SPEED, "wind_speed", "m/s")}, {"time": ("time", np.arange(5.0), units)}
    )
    with pytest.raises(InputError, match=f"in the calendar '{calendar}'"):
        read_wind(path)


def test_rows_cannot_be_picked(write):
    path = write({"ws": variable(SPEED, "wind_speed", "m s-1")})
    with pytest.raises(InputError, match=r"wind\.nc, where: .*state point"):
        read_wind(path, where={"station": ["A"]})
