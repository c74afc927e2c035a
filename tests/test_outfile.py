"""Files out: whole or not at all, and no formula in a spreadsheet."""

import csv
import errno
import io
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from yieldest.errors import InputError
from yieldest.files.whole_output import csv_text, write_all, write_whole

# OWASP, CSV Injection: a cell that begins with one of these may run as a formula.
DANGEROUS = ("=", "+", "-", "@", "\t", "\r", "\n")


def read_back(text):
    return list(csv.reader(io.StringIO(text, newline="")))


@pytest.mark.parametrize(
    "cell",
    ["=1+1", "+1", "-1+2", "@SUM(A1)", "\t=1", "\r=1", "  =1+1", "\uff1d1+1", "=cmd|'/c calc'!A1"],
)
def test_no_text_is_taken_for_a_formula(cell):
    heading, row = read_back(csv_text([cell], [[cell]]))
    assert heading == row
    assert row[0].startswith("'")
    assert row[0].lstrip("' ") == cell.lstrip()


@given(st.lists(st.text(st.characters(exclude_categories=["Cs"])), min_size=1, max_size=4))
def test_any_text_is_safe_and_comes_back(cells):
    _, row = read_back(csv_text(["a"] * len(cells), [cells]))
    for cell, back in zip(cells, row, strict=True):
        assert not back.lstrip(" ").startswith(DANGEROUS)
        assert back.removeprefix("'").split() == cell.removeprefix("'").split()


@given(st.lists(st.floats(allow_nan=False, allow_infinity=False), min_size=1))
def test_numbers_stay_numbers_in_full(values):
    rows = read_back(csv_text(["x (m)"], [[value] for value in values]))
    assert [float(row[0]) for row in rows[1:]] == values


def test_what_cannot_be_had_is_blank():
    assert csv_text(["a", "b"], [[None, 1]]) == "a,b\n,1\n"


def test_a_failing_disk_leaves_the_old_file_and_no_rest(tmp_path, monkeypatch):
    path = tmp_path / "page.html"
    path.write_text("old")

    def full(*_):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(Path, "replace", full)
    with pytest.raises(InputError, match=r"page\.html.*No space left"):
        write_whole(path, "new")
    assert path.read_text() == "old"
    assert list(tmp_path.iterdir()) == [path]


def test_files_have_the_rights_of_new_files(tmp_path):
    (tmp_path / "plain").write_text("x")
    write_whole(tmp_path / "whole", "x")
    assert (tmp_path / "whole").stat().st_mode == (tmp_path / "plain").stat().st_mode


def test_a_file_is_not_taken_for_a_folder(tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(InputError, match="name a folder"):
        write_all(tmp_path / "file", {"a.txt": "a"})
    with pytest.raises(InputError, match="name a file"):
        write_whole(tmp_path, "x")
