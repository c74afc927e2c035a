"""`yieldest start`: a plan to fill in or a copy of a demo site, whole or not at all."""

import errno
import io
import shutil
import tomllib
from pathlib import Path

import pytest

from yieldest.cli.plan_folder import demo_site_names, write_plan_folder
from yieldest.errors import InputError

CLONE = Path(__file__).parents[1]
SITES = sorted(plan.parent for plan in (CLONE / "demo-sites").glob("*/plan.toml"))


def contents(folder):
    return {path.name: path.read_bytes() for path in folder.iterdir()}


@pytest.mark.parametrize("site", SITES, ids=lambda site: site.name)
def test_a_demo_site_is_copied_whole_and_is_sound(run, tmp_path, site):
    written = run("start", tmp_path / "mine", "--from", site.name, "--json").json["written"]
    assert contents(tmp_path / "mine") == contents(site)
    assert sorted(written) == sorted(str(path) for path in (tmp_path / "mine").iterdir())
    assert run("check", tmp_path / "mine").code == 0


def test_a_copy_says_that_its_data_are_invented(run, tmp_path):
    assert "Invented" in run("start", tmp_path / "mine", "--from", SITES[0].name).out


def test_help_names_every_demo_site(run):
    shown = " ".join(run("start", "--help").out.split())
    assert demo_site_names() == [site.name for site in SITES]
    for site in SITES:
        assert site.name in shown


@pytest.mark.parametrize("name", ["hil-yard", "", "..", "README.md", "../yieldest/show/starter"])
def test_an_unknown_demo_site_is_refused_with_the_known_ones(run, tmp_path, name):
    refused = run("start", tmp_path / "mine", "--from", name)
    assert refused.code == 2
    for site in SITES:
        assert site.name in refused.err
    assert list(tmp_path.iterdir()) == []


def test_a_full_disk_leaves_nothing(tmp_path, monkeypatch):
    whole = shutil.copyfile

    def full(source, target):
        if source.name == "plan.toml":
            raise OSError(errno.ENOSPC, "No space left on device")
        return whole(source, target)

    monkeypatch.setattr(shutil, "copyfile", full)
    with pytest.raises(InputError, match=r"mine.*No space left"):
        write_plan_folder(tmp_path / "mine", SITES[0].name)
    assert list(tmp_path.iterdir()) == []


def test_the_wheel_takes_every_folder_of_the_package():
    """pyproject.toml names the packages, because the demo sites lie outside of `yieldest`."""
    named = tomllib.loads((CLONE / "pyproject.toml").read_text(encoding="utf-8"))
    packages = {init.parent for init in (CLONE / "yieldest").rglob("__init__.py")}
    assert set(named["tool"]["setuptools"]["packages"]) == {
        ".".join(package.relative_to(CLONE).parts) for package in packages
    } | {"yieldest.demo_sites"}


@pytest.fixture
def answer(run, monkeypatch):
    """Run `start --ask` with these lines piped in."""

    def answered(folder, *lines):
        monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{line}\n" for line in lines)))
        return run("start", folder, "--ask")

    return answered


def test_ten_questions_make_a_plan_and_an_answer(answer, tmp_path):
    ran = answer(tmp_path / "mine", *[""] * 10)
    assert ran.code == 0
    assert [line[:2].strip(".") for line in ran.out.splitlines() if line[:1].isdigit()][:10] == [
        *map(str, range(1, 11))
    ]
    assert "net energy (kWh/year)" in ran.out
    assert "still the invented numbers" in ran.out


def test_each_answer_is_checked_as_it_is_given(answer, tmp_path):
    wind, curve, bill = (tmp_path / name for name in ("log.csv", "bench.csv", "parts.csv"))
    hours = [f"2025-03-{1 + n // 24:02} {n % 24:02}:00,{5 + n % 17}" for n in range(240)]
    wind.write_text("\n".join(["time,speed", *hours]) + "\n")
    curve.write_text("MPH,Watts\n6,0\n10,40\n20,250\n")
    bill.write_text("Part,Qty,Each,Hours\nblades,3,20,6\nbattery,1,300,1\n")
    with_scopes = tmp_path / "with.csv"
    with_scopes.write_text(
        "Part,Qty,Each,Hours,scope\nblades,3,20,6,per unit\nbattery,1,300,1,per array\n"
    )
    ran = answer(
        tmp_path / "mine",
        *(tmp_path / "none.csv", wind, f"{wind} in mph", "ten", "10", "roof 7 8", "roof 11 8"),
        *("1 2", curve, "2.4", "0.34", "0.34 GBP", bill, with_scopes, "140", "40", "12"),
    )
    assert ran.code == 0, ran.err
    for said in (
        "there is no such file",
        "240 hours of readings",
        "'ten' is not a number",
        "not above the roof",
        "A curve up to 250 W",
        "no price with its currency",
        "no scope column",
        "2 parts, 360.00",
        "not between 0 and 100",
    ):
        assert said in ran.out
    plan = tomllib.loads((tmp_path / "mine" / "plan.toml").read_text(encoding="utf-8"))
    assert plan["currency"] == "GBP"
    assert plan["wind"]["units"] == "mph"
    assert plan["site"]["roof"]["edge_height_m"] == 8
    assert [build["count"] for build in plan["build"]] == [1, 2]
    assert plan["economics"]["self_consumption_share"] == 0.4
    assert [path.name for path in (tmp_path / "mine").iterdir()] == ["plan.toml"]


def test_answers_that_are_left_out_take_their_defaults(answer, tmp_path):
    ran = answer(tmp_path / "mine", "no-such-file.csv")
    assert ran.code == 0  # what is left out takes its default
    ran = answer(tmp_path / "other", "5.5", "10", "pole 12", "1", "", "1.8", "0.3 EUR", "900.5")
    builds = tomllib.loads((tmp_path / "other" / "plan.toml").read_text())["build"]
    assert (ran.code, builds[0]["bill"]) == (0, "bill.csv")
    assert "900.5" in (tmp_path / "other" / "bill.csv").read_text()
    assert answer(tmp_path / "other", *[""] * 10).code == 2
