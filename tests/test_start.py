"""`yieldest start`: a plan to fill in or a copy of a demo site, whole or not at all."""

import errno
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
