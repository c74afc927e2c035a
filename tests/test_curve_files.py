"""Curve files: densities, thrust, notes, and the way there and back."""

import re

import numpy as np
import pytest
import scipy.special
from scipy import stats

from yieldest.energy.closed_form import mean_power_w
from yieldest.errors import InputError
from yieldest.report.sentences.words import sentences
from yieldest.turbine.curve_ends import Ends
from yieldest.turbine.curve_file import (
    AreaNotStated,
    CommentNotUsed,
    CurveNote,
    read_power_curve,
    write_curve,
)
from yieldest.turbine.generic_curve import (
    GenericCurve,
    NeverRated,
    NobodyMeasured,
    generic_power_curve,
)
from yieldest.turbine.power_curve import (
    MODELLED_UNCERTAINTY,
    STATED_UNCERTAINTY,
    CurveUncertaintyAssumed,
)
from yieldest.turbine.rotor import HighCoefficient


@pytest.mark.parametrize(
    ("powers", "line"), [("0,100,-120,360", 4), ("-80,100,120,360", 2), ("0,100,120,-360", 5)]
)
def test_a_slip_of_the_sign_is_refused_with_its_line(table_text, powers, line):
    rows = [f"{3 * place},{power}" for place, power in enumerate(powers.split(","), start=1)]
    path = table_text("\n".join(["speed (m/s),power (W)", *rows]))
    with pytest.raises(InputError, match=rf"line {line}: a power of -\d+ W is below zero"):
        read_power_curve(path)


def test_what_a_machine_at_rest_draws_is_no_slip(table_text):
    path = table_text("speed (m/s),power (W)\n2,-3\n3,-2\n6,100\n9,360\n20,-2\n")
    np.testing.assert_allclose(read_power_curve(path).power_w, [-3, -2, 100, 360, -2])


def test_several_densities_are_interpolated(table_text):
    path = table_text(
        "speed (m/s),power at 1.0 kg/m3 (W),power at 1.2 kg/m3 (W),power at 1.25 kg/m3 (kW)\n"
        "3,0,0,0\n6,100,120,0.125\n9,300,350,0.36\n"
    )
    curve = read_power_curve(path)
    assert curve.air_density_kg_m3 in (1.2, 1.25)
    at = curve.at_density(1.1, "power")
    np.testing.assert_allclose(at.power_w, [0, 110, 325])
    np.testing.assert_allclose(curve.at_density(1.2, "power").power_w, [0, 120, 350])
    # Below the family: its lowest column, scaled by the standard's formula.
    np.testing.assert_allclose(curve.at_density(0.9, "power").power_w, [0, 90, 270])
    moved = curve.at_density(0.9, "speed")
    np.testing.assert_allclose(moved.power_w, [0, 100, 300])
    np.testing.assert_allclose(moved.speed_ms, np.array([3, 6, 9]) * (1 / 0.9) ** (1 / 3))


def test_thrust_coefficient_and_thrust_agree(table_text):
    """10 N at 4 m/s on 2 m2 at 1.225 kg/m3: 10 / (0.5 x 1.225 x 2 x 16) = 0.510 (definition)."""
    coefficient = read_power_curve(table_text("speed (m/s),power (W),ct\n3,0,0.2\n4,9,0.51\n"))
    np.testing.assert_allclose(coefficient.thrust_coefficient, [0.2, 0.51])
    force = read_power_curve(
        table_text("speed (m/s),power (W),thrust (N)\n3,0,2\n4,9,10\n"), rotor_area_m2=2.0
    )
    assert force.thrust_coefficient[1] == pytest.approx(0.510, abs=5e-4)
    stretched = read_power_curve(
        table_text("speed (m/s),power (W),ct\n3,0,0.2\n4,9,0.51\n"), ends=Ends(cut_out_ms=8)
    )
    np.testing.assert_allclose(stretched.thrust_coefficient, [0.2, 0.51, 0.51])
    unknown = read_power_curve(table_text("speed (m/s),power (W),thrust (N)\n3,0,2\n4,9,10\n"))
    assert unknown.thrust_coefficient is None
    assert AreaNotStated("table.csv", thrust=True) in unknown.provenance.warnings


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("speed (m/s),power (W),ct\n3,0,0.2\n4,9,5.1\n", "line 3: the thrust coefficient is 5.1"),
        ("speed (m/s),power (W),thrust (kg)\n3,0,1\n4,9,5\n", "unit of thrust"),
        ("speed (m/s),power (W),uncertainty (W)\n3,0,1\n4,9,-1\n", "line 3: a standard uncert"),
        ("speed (m/s),power at 1.2 kg/m3 (W),P 1.2 kg/m3 (W)\n3,0,1\n4,9,1\n", "same air density"),
        ("speed (m/s),power at 12 kg/m3 (W)\n3,0\n4,9\n", "between 0.5 and 1.6"),
        ("speed (m/s),power (W)\n3,0\n4e9,9\n", "line 3: 4e[+]09 m/s is more than any wind"),
        (",".join(["x"] * 1001) + "\n" + ",".join(["1"] * 1001) + "\n", "1001 columns are more"),
        ("# air density: thin\nspeed (m/s),power (W)\n3,0\n4,9\n", "holds no number"),
    ],
)
def test_what_cannot_be_used_is_named(table_text, text, words):
    with pytest.raises(InputError, match=words):
        read_power_curve(table_text(text))


def test_density_in_headings_and_plan_exclude_each_other(table_text):
    path = table_text("speed (m/s),power at 1.2 kg/m3 (W)\n3,0\n4,9\n")
    with pytest.raises(InputError, match="remove curve_air_density_kg_m3"):
        read_power_curve(path, air_density_kg_m3=1.1)


def test_notes_are_understood(table_text):
    curve = read_power_curve(
        table_text(
            "# load: resistor\n# air density: 1.1 kg/m3\n# last measured speed: 7 m/s\n"
            "# kind: modelled\nspeed (m/s),power (W)\n3,0\n7,90\n12,200\n"
        )
    )
    assert (curve.load, curve.air_density_kg_m3, curve.last_measured_ms) == ("resistor", 1.1, 7)
    assert curve.modelled
    assert curve.relative_uncertainty == MODELLED_UNCERTAINTY
    assert curve.extrapolation == "hold"
    assert "modelled" in [
        one.what for one in curve.provenance.warnings if isinstance(one, CurveNote)
    ]


POINTS = "speed (m/s),power (W)\n3,0\n7,90\n12,200\n"


@pytest.mark.parametrize(
    ("note", "words"),
    [
        ("# kind: guessed", "one of measured, modelled"),
        ("# load: foo", "one of resistor, battery"),
        ("# extrapolation: cubic", "one of hold, zero, cube law"),
        ("# air densty: 0.9", "did you mean '# air density: 0.9'?"),
        ("# air density: 1e-300", "no number from 0.5 to 1.6 kg/m3"),
        ("# air density: 9", "no number from 0.5 to 1.6 kg/m3"),
        ("# last measured speed: 0", "no number from 0.1 to 120 m/s"),
        ("# air density: 0.9\n# Air Density = 1.1", "two comments say what the air density is"),
    ],
)
def test_notes_that_cannot_be_meant_are_refused(table_text, note, words):
    with pytest.raises(InputError, match=re.escape(words)):
        read_power_curve(table_text(f"{note}\n{POINTS}"))


def test_notes_in_other_spellings_are_understood(table_text):
    curve = read_power_curve(table_text(f"# Air_Density_kg_m3 = 0.9\n# Kind: Modeled\n{POINTS}"))
    assert (curve.air_density_kg_m3, curve.modelled) == (0.9, True)


def test_notes_without_a_colon_are_understood_where_they_say_no_more(table_text):
    notes = "# air density 0.9 kg/m3\n# Load charger\n# kind modelled\n# last measured speed 7\n"
    curve = read_power_curve(table_text(notes + POINTS))
    assert (curve.air_density_kg_m3, curve.load, curve.modelled) == (0.9, "charger", True)
    assert curve.last_measured_ms == 7
    words = "# load resistor bank was hot\n# kind of a guess\n# air density as on the day\n"
    assert read_power_curve(table_text(words + POINTS)).load is None
    with pytest.raises(InputError, match=r"no number from 0\.5 to 1\.6"):
        read_power_curve(table_text(f"# air density 9\n{POINTS}"))


def test_notes_that_nobody_knows_are_named_and_sentences_are_left_alone(table_text):
    notes = (
        "# rotor diameter: 2.4 m\n# Source: a notebook\n# I read it twice: once in rain.\n"
        "# Invented numbers: put your own readings in their place.\n"
    )
    found = read_power_curve(table_text(notes + POINTS)).provenance.warnings
    assert [one.comment for one in found if isinstance(one, CommentNotUsed)] == [
        "# rotor diameter: 2.4 m"
    ]


def test_the_cube_law_ends_at_rated_power_in_every_air(table_text):
    """From 8 m/s, 400 W rises to 500 W at 8 (500/400)^(1/3) = 8.618 m/s, and 200 W to 10.858."""
    path = table_text(
        "speed (m/s),power at 0.6 kg/m3 (W),power at 1.2 kg/m3 (W)\n3,0,0\n8,200,400\n"
    )
    ends = Ends(cut_out_ms=14, extrapolation="cube law", rated_power_w=500)
    curve = read_power_curve(path, ends=ends)
    for density, reached_ms in ((0.6, 10.858), (1.2, 8.618)):
        at = curve.at_density(density)
        assert at.power_w.max() == pytest.approx(500)
        assert at.power_at(reached_ms) == pytest.approx(500, rel=2e-3)
        assert at.power_at(0.95 * reached_ms) < 440


def test_far_more_lines_than_1_mb_holds_are_refused(table_text):
    rows = "".join(f"{3 + at / 1e5:.5f},9\n" for at in range(200_001))
    with pytest.raises(InputError, match="more than 200,000 lines are more than such a table has"):
        read_power_curve(table_text(f"speed (m/s),power (W)\n{rows}"))


_MANY_MS = np.linspace(0, 25, 20_001)
_CUBE = np.minimum(0.6 * np.maximum(_MANY_MS - 2.7, 0) ** 3, 700)
MANY_POINTS = {
    "smooth": _CUBE,
    "in whole watts": _CUBE.round(),
    "furls": np.where(_MANY_MS < 11, _CUBE, np.maximum(0, _CUBE - 300 * (_MANY_MS - 11))),
    "jumps": np.where(_MANY_MS < 9, _CUBE, 90.0),
    "noise": _CUBE + (_CUBE > 0) * np.random.default_rng(3).normal(0, 20, _MANY_MS.size),
    "no power": 0 * _CUBE,
}


@pytest.mark.parametrize("powers", MANY_POINTS)
def test_many_points_become_few_with_the_same_energy(table_text, powers):
    """The reference takes every point: scipy's integral of Weibull's density over each piece."""
    power = np.maximum(0, MANY_POINTS[powers])
    rows = "".join(f"{v:.5f},{p:.4f}\n" for v, p in zip(_MANY_MS, power, strict=True))
    curve = read_power_curve(table_text(f"speed (m/s),power (W)\n{rows}"))
    assert curve.speed_ms.size < 500
    assert np.isin(curve.speed_ms, _MANY_MS.round(5)).all()
    [speed, power] = np.loadtxt(rows.splitlines(), delimiter=",").T
    middle, half = (speed[1:] + speed[:-1]) / 2, np.diff(speed) / 2
    # Three points of Gauss: pieces of 1.25 mm/s leave an error far below 1e-12.
    places, weights = np.polynomial.legendre.leggauss(3)
    at = middle[:, np.newaxis] + np.outer(half, places)
    for shape, mean_ms in ((1.2, 3.0), (1.5, 5.0), (2.0, 4.0), (2.0, 8.0), (3.0, 6.0), (4.0, 9.0)):
        scale = mean_ms / scipy.special.gamma(1 + 1 / shape)
        density = stats.weibull_min.pdf(at, shape, scale=scale)
        whole = (np.interp(at, speed, power) * density * weights * half[:, np.newaxis]).sum()
        few = mean_power_w(shape, scale, curve.speed_ms, curve.power_w)
        assert few == pytest.approx(whole, rel=1e-9)
    assert curve.rated_power_w == power.max()
    # Where nothing is made, nothing is made by fewer points.
    assert (curve.power_at(speed[speed < 2.7]) == 0).all()


def test_few_points_and_many_densities_keep_their_energy(table_text):
    head = "speed (m/s),power at 1.1 kg/m3 (W),power at 1.2 kg/m3 (W),standard uncertainty (W)\n"
    v = np.linspace(3, 20, 501)
    p = np.minimum(0.5 * (v - 3) ** 3, 400)
    rows = [f"{a:.3f},{b:.2f},{1.1 * b:.2f},{0.1 * b:.2f}\n" for a, b in zip(v, p, strict=True)]
    same = read_power_curve(table_text(head + "".join(rows[:-1])))
    few = read_power_curve(table_text(head + "".join(rows)))
    assert same.speed_ms.size == 500 > few.speed_ms.size
    for density in (1.1, 1.15, 1.2):
        whole, thin = (curve.at_density(density) for curve in (same, few))
        energies = [mean_power_w(2.0, 6.0, c.speed_ms, c.power_w) for c in (whole, thin)]
        last = (
            400 * (1 + (density - 1.1)) * (np.exp(-((19.966 / 6) ** 2)) - np.exp(-((20 / 6) ** 2)))
        )
        assert energies[1] == pytest.approx(energies[0] + last, rel=1e-9)
    np.testing.assert_allclose(
        few.uncertainty_w, np.interp(few.speed_ms, same.speed_ms, same.uncertainty_w), atol=1e-9
    )


def test_a_curve_without_uncertainty_gets_one_and_says_so(table_text):
    curve = read_power_curve(table_text("speed (m/s),power (W)\n3,0\n7,90\n"))
    np.testing.assert_allclose(curve.uncertainty_w, [0, STATED_UNCERTAINTY * 90])
    assumed = curve.provenance.assumed
    [doubt] = [one for one in assumed if isinstance(one, CurveUncertaintyAssumed)]
    assert doubt.relative_uncertainty == STATED_UNCERTAINTY


def test_there_and_back(table_text, tmp_path):
    first = read_power_curve(
        table_text(
            "# load: battery\n# air density: 1.15 kg/m3\n"
            "speed (m/s),power (W),standard uncertainty (W),ct\n3,0,1,0.3\n7.25,90.5,8,0.7\n"
        ),
        ends=Ends(cut_out_ms=11, extrapolation="hold"),
    )
    out = tmp_path / "out.csv"
    write_curve(first, out, ("Two\nlines stay one comment.",))
    again = read_power_curve(out)
    for name in ("speed_ms", "power_w", "power_uncertainty_w", "thrust_coefficient"):
        np.testing.assert_allclose(getattr(again, name), getattr(first, name), rtol=1e-5)
    assert again.load == "battery"
    assert again.air_density_kg_m3 == 1.15
    assert again.last_measured_ms == 7.25
    assert again.extrapolation == "hold"
    write_curve(again, tmp_path / "third.csv", ("Two\nlines stay one comment.",))
    assert (tmp_path / "third.csv").read_bytes() == out.read_bytes()
    assert out.read_text(encoding="utf-8").startswith("# Two lines stay one comment.\n# kind:")


def test_whole_or_not_at_all(tmp_path, table_text, monkeypatch):
    curve = read_power_curve(table_text("speed (m/s),power (W)\n3,0\n7,90\n"))
    with pytest.raises(InputError, match="cannot be written"):
        write_curve(curve, tmp_path / "nowhere" / "out.csv")
    out = tmp_path / "out.csv"
    out.write_text("what was there before")

    def full_disc(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("pathlib.Path.replace", full_disc)
    with pytest.raises(InputError, match="No space left"):
        write_curve(curve, out)
    assert out.read_text() == "what was there before"
    assert not list(tmp_path.glob(".yieldest-*"))


@pytest.mark.parametrize(("power", "words"), [("0.0004", "at best"), ("0.9", "little even")])
def test_a_rotor_far_too_large_is_caught(table_text, power, words):
    """2 m given as 2000 mm: the coefficient is a millionth; in feet it is a tenth."""
    path = table_text(f"speed (m/s),power (W)\n3,0\n5,{power}\n")
    try:
        said = read_power_curve(path, rotor_area_m2=0.8).provenance.warnings
    except InputError as error:
        said = (str(error),)
    assert words in sentences(said)[0]


def test_a_generic_curve_by_hand():
    """0.2 of the wind through 3 m2: 0.5 x 1.225 x 3 x 0.2 = 0.3675 W per (m/s)^3 (definition)."""
    curve = generic_power_curve(
        "yard",
        GenericCurve(power_coefficient=0.2, furling_ms=12.0),
        rotor_area_m2=3.0,
        cut_in_ms=3.0,
        rated_power_w=300.0,
    )
    np.testing.assert_allclose(
        curve.power_at([2.99, 3, 6, 10, 12, 14.5, 17, 17.1]),
        [0, 9.9225, 0.3675 * 216, 300, 300, 150, 0, 0],
        rtol=2e-3,
        atol=1e-9,
    )
    assert curve.modelled
    assert curve.relative_uncertainty == MODELLED_UNCERTAINTY
    assert NobodyMeasured("yard", MODELLED_UNCERTAINTY) in curve.provenance.warnings
    assert "modelled" in curve.provenance.method
    stopped = generic_power_curve(
        "yard",
        GenericCurve(power_coefficient=0.2, uncertainty=0.4),
        rotor_area_m2=3.0,
        cut_in_ms=3.0,
        rated_power_w=3000.0,
        cut_out_ms=12.0,
    )
    assert stopped.power_at(12.0) == pytest.approx(0.3675 * 1728)
    assert stopped.power_at(12.01) == 0
    assert stopped.relative_uncertainty == 0.4
    [never] = [one for one in stopped.provenance.warnings if isinstance(one, NeverRated)]
    assert never.rated_power_w == 3000
    assert never.level_to_ms == 12


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"power_coefficient": 0.6}, "Betz limit"),
        ({"furling_ms": None}, "state furling_ms or cut_out_ms"),
        ({"cut_in_ms": 13.0}, "do not follow each other"),
        ({"cut_out_ms": 11.0}, "do not follow each other"),
    ],
)
def test_a_generic_curve_refuses_what_cannot_be(change, words):
    generic = {"power_coefficient": 0.2, "furling_ms": 12.0}
    stated = {"rotor_area_m2": 3.0, "cut_in_ms": 3.0, "rated_power_w": 300.0}
    for name, value in change.items():
        (generic if name in generic else stated)[name] = value
    with pytest.raises(InputError, match=words):
        generic_power_curve("yard", GenericCurve(**generic), **stated)


def test_a_drag_rotor_above_three_tenths_is_doubted():
    curve = generic_power_curve(
        "yard",
        GenericCurve(power_coefficient=0.35),
        rotor_area_m2=3.0,
        cut_in_ms=3.0,
        rated_power_w=300.0,
        cut_out_ms=12.0,
        rotor_type="drag",
    )
    kinds = [one.rotor for one in curve.provenance.warnings if isinstance(one, HighCoefficient)]
    assert kinds == ["drag"]


@pytest.mark.parametrize(
    ("highest", "doubt"),
    # By hand: the root of 0.1 squared and of what lies above 0.30, as a share, squared.
    [(0.25, 0.10), (0.30, 0.10), (0.38, np.hypot(0.1, 0.08 / 0.38)), (0.45, np.hypot(0.1, 1 / 3))],
)
def test_a_typed_curve_too_good_for_a_home_made_rotor_is_doubted_more(tmp_path, highest, doubt):
    area = 2.0
    power = [highest * 0.5 * 1.225 * area * speed**3 for speed in (4, 6, 8)]
    path = tmp_path / "notebook.csv"
    path.write_text(
        f"MPH,Watts\n8.9477,{power[0]}\n13.4216,{power[1]}\n17.8955,{power[2]}\n22.3694,{power[2]}\n"
    )
    curve = read_power_curve(path, rotor_area_m2=area, rotor_type="lift")
    assert curve.relative_uncertainty == pytest.approx(doubt, rel=1e-3)
    doubted = [one for one in curve.provenance.warnings if isinstance(one, HighCoefficient)]
    assert len(doubted) == (highest > 0.35)
    stated = tmp_path / "stated.csv"
    stated.write_text(f"mph,W,uncertainty (W)\n8.9477,{power[0]},3\n13.4216,{power[1]},3\n")
    assert read_power_curve(stated, rotor_area_m2=area).uncertainty_w.tolist() == [3, 3]


@pytest.mark.parametrize(
    ("headings", "speed_ms", "power_w"),
    [
        ("MPH,Watts", 4.4704, 100),
        ("Wind (mph),W", 4.4704, 100),
        ("wind speed m/s,Power (watts)", 10, 100),
        ("m/s,Output (watts)", 10, 100),
        ("knots,kW", 5.1444, 100_000),
        ("wind in mph,power in kW", 4.4704, 100_000),
    ],
)
@pytest.mark.parametrize("lines", ["5,0\n10,100\n", "10,100\n5,0\n"])
def test_headings_as_a_notebook_has_them(tmp_path, headings, lines, speed_ms, power_w):
    path = tmp_path / "notebook.csv"
    path.write_text(f"{headings}\n{lines}")
    curve = read_power_curve(path)
    assert (curve.speed_ms[-1], curve.power_w[-1]) == pytest.approx((speed_ms, power_w), rel=1e-4)


@pytest.mark.parametrize("unit", ["W per blade", "kVA", "k", "W x 10", "MW", "hp"])
def test_a_unit_of_power_that_is_not_understood_is_refused(table_text, unit):
    with pytest.raises(InputError, match=r"does not say whether power is in W or kW"):
        read_power_curve(table_text(f"speed (m/s),watts ({unit})\n3,0\n6,100\n9,300\n"))
    for known in ("W", "W avg", "W at 1.2 kg/m3"):
        text = f"speed (m/s),power ({known})\n3,0\n6,100\n9,300\n"
        assert read_power_curve(table_text(text)).power_w[1:] == pytest.approx([100, 300])


def test_a_curve_as_an_online_spreadsheet_exports_it_reads_as_it_is(table_text):
    text = (
        'Our curve,,\nWind (mph),Power (W),Notes\n7,0,calm\n22.5,950,\n30,"1,152",\n34,"1,200",\n'
    )
    curve = read_power_curve(table_text(text))
    assert curve.power_w == pytest.approx([0, 950, 1152, 1200])
    with pytest.raises(InputError, match="'lots' in column 'Power \\(W\\)' is not a number"):
        read_power_curve(table_text("Wind (mph),Power (W)\n7,0\n20,lots\n30,9\n"))


def test_speeds_beyond_every_number_are_refused(table_text):
    with pytest.raises(InputError, match="'1E400' in column"):
        read_power_curve(table_text("speed (m/s),power (W)\n1E400,1\n1E400,2\n"))
