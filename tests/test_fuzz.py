"""A small set of the fuzzer's inputs, and any text or bytes at all for the functions that read."""

import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from yieldest.economics.read_bill import read_bill
from yieldest.errors import InputError
from yieldest.plan import load_plan
from yieldest.turbine.curve_file import read_power_curve
from yieldest.turbine.meters import Meters
from yieldest.turbine.reading_file import read_readings
from yieldest.wind.read_wind import read_wind
from yieldest.wind.summary_tables import read_frequency_table, read_monthly_means

sys.path.insert(0, str(Path(__file__).parent / "fuzz"))
import oracle

FUZZER = Path(oracle.__file__).with_name("fuzz_inputs.py")
INPUTS = 150
FIRST_SEED = 1_000_000
"""Far from those of a whole run, so that the two do not repeat each other."""
KNOWN = range(FIRST_SEED, FIRST_SEED + INPUTS)

READERS = {
    "record": read_wind,
    "frequency table": read_frequency_table,
    "monthly means": read_monthly_means,
    "curve": read_power_curve,
    "bill": read_bill,
    "readings": lambda path: read_readings(path, Meters()),
    "plan": load_plan,
}
HEADINGS = {
    "record": "time,speed (m/s)\n",
    "frequency table": "from (m/s),to (m/s),percent\n",
    "monthly means": "month,mean speed (m/s)\n",
    "curve": "speed (m/s),power (W)\n",
    "bill": "item,quantity,unit price\n",
    "readings": "wind (m/s),watts (W)\n",
    "plan": 'title = "x"\n[wind]\n',
}


def test_a_small_set_of_spoilt_inputs_ends_well():
    words = [FUZZER, "--inputs", INPUTS, "--first-seed", FIRST_SEED, "--workers", 2]
    ran = subprocess.run(
        [sys.executable, *map(str, words)], capture_output=True, text=True, check=False
    )
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert f"{INPUTS} inputs, 0 failures" in ran.stdout


@pytest.fixture(scope="module")
def judged(tmp_path_factory):
    """What comes of inputs whose truth is known, each as its kind, what came of it, and why."""
    folder = tmp_path_factory.mktemp("oracle")
    return [oracle.judged(seed, folder) for seed in KNOWN]


def test_a_small_set_of_inputs_with_known_truth_is_read_right_or_refused(judged):
    assert [one for one in judged if one[1].isupper()] == []
    assert sum(one[1] == "right" for one in judged) > len(KNOWN) / 2


def test_the_oracle_sees_a_reader_that_is_wrong(judged, monkeypatch, tmp_path):
    """Speeds 1 % too high, without a word, must not pass for right."""
    monkeypatch.setattr(
        oracle, "SPEED_FACTORS", {k: 1.01 * v for k, v in oracle.SPEED_FACTORS.items()}
    )
    wrong = [oracle.judged(seed, tmp_path) for seed in KNOWN[:40]]
    assert not [one for one in judged[:40] if one[1] == "SILENT"]
    assert {one[0] for one in wrong if one[1] == "SILENT"} >= {"record", "readings"}


def read_or_refuse(reader, path):
    try:
        READERS[reader](path)
    except InputError as error:
        assert str(error)
        assert len(str(error).splitlines()) == 1


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    return tmp_path_factory.mktemp("fuzz") / "given"


@pytest.mark.parametrize("reader", READERS)
@settings(max_examples=40)
@given(content=st.binary(max_size=300))
def test_any_bytes_are_read_or_refused(path, reader, content):
    path.write_bytes(content)
    read_or_refuse(reader, path)


CELLS = st.one_of(
    st.text(max_size=8),
    st.floats().map(str),
    st.integers().map(str),
    st.datetimes().map(str),
    st.sampled_from(["", "nan", "1,5", '"', "#", "=1", "[", "{}", "1e400", "per site", "10:8.5"]),
)


@pytest.mark.parametrize("reader", READERS)
@settings(max_examples=60)
@given(
    rows=st.lists(st.lists(CELLS, min_size=1, max_size=4), max_size=6),
    delimiter=st.sampled_from([",", ",", ";", " = "]),
)
def test_any_cells_below_a_sound_heading_are_read_or_refused(path, reader, rows, delimiter):
    text = HEADINGS[reader] + "\n".join(delimiter.join(row) for row in rows)
    path.write_text(text, encoding="utf-8", errors="replace", newline="")
    read_or_refuse(reader, path)


def test_a_refusal_is_one_line_whatever_cells_it_quotes(path):
    path.write_text("time,speed (m/s)\n0\x1e0\n,", encoding="utf-8")
    with pytest.raises(InputError, match="pick one") as refused:
        READERS["record"](path)
    assert len(str(refused.value).splitlines()) == 1
