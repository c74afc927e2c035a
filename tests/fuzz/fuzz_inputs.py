"""Spoil inputs at random and see that every command ends well.

Run it as `python tests/fuzz/fuzz_inputs.py --inputs 20000`. Each input is a plan folder with one
file spoilt; a command must end with exit code 0 or 2, in 10 s, within 1 GB, without a traceback,
with one sentence on standard error when it refuses, and with JSON that holds no NaN when it does
not. What fails is kept in the folder that `--keep` names.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import json
import multiprocessing
import resource
import shutil
import signal
import sys
import tempfile
import traceback
from collections import Counter
from pathlib import Path

from spoil import spoil

from yieldest import cli

SECONDS = 10
GIGABYTE_KIB = 1_000_000
COMMANDS = (("estimate", "--json"), ("estimate",), ("check",), ("wind", "--json"), ("wind",))


def too_long(*_: object) -> None:
    """Stop a command that has had its time."""
    raise TimeoutError(f"more than {SECONDS} s")


def ended_badly(command: tuple[str, ...], folder: Path) -> str | None:
    """Run a command in this process and say what was wrong with its end."""
    out, err = io.StringIO(), io.StringIO()
    target = folder / "wind.csv" if command[0] == "wind" else folder
    sys.argv = ["yieldest", command[0], str(target), *command[1:]]
    signal.signal(signal.SIGALRM, too_long)
    signal.alarm(SECONDS)
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            cli.main()
        code = 0
    except SystemExit as end:
        code = end.code or 0
    except BaseException:
        return traceback.format_exc()
    finally:
        signal.alarm(0)
    if code not in (0, 2):
        return f"exit code {code}: {err.getvalue()}"
    if code == 2 and len(err.getvalue().strip().splitlines()) != 1:
        return f"not one sentence: {err.getvalue()}"
    if code == 2 and out.getvalue():
        return f"output before the refusal: {out.getvalue()[:200]}"
    if code == 0 and "--json" in command:
        try:
            json.loads(out.getvalue(), parse_constant=lambda name: 1 / 0)
        except (ValueError, ZeroDivisionError):
            return f"JSON that is none: {out.getvalue()[:200]}"
    return None


def try_seed(task: tuple[int, Path]) -> tuple[int, str, str | None]:
    """Spoil one file by a seed and run the command that is its turn."""
    seed, sound = task
    command = COMMANDS[seed % len(COMMANDS)]
    with tempfile.TemporaryDirectory() as scratch:
        folder = shutil.copytree(sound, Path(scratch) / "yard")
        names = sorted(path.name for path in folder.iterdir())
        name = "wind.csv" if command[0] == "wind" else names[seed // len(COMMANDS) % len(names)]
        way = spoil(folder / name, seed)
        trouble = ended_badly(command, folder)
    peak_kib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    if trouble is None and peak_kib > GIGABYTE_KIB:
        trouble = f"peak memory {peak_kib} KiB"
    return seed, f"{' '.join(command)} with {way}", trouble


def fuzz(seeds: range, workers: int) -> list[tuple[int, str, str]]:
    """Try all seeds and return the failures."""
    failures = []
    ways: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as scratch:
        sound = Path(scratch) / "sound"
        sys.argv = ["yieldest", "start", str(sound)]
        with contextlib.suppress(SystemExit), contextlib.redirect_stdout(io.StringIO()):
            cli.main()
        # A worker is renewed often, so that one input's memory is not laid to another's charge.
        with multiprocessing.Pool(workers, maxtasksperchild=50) as pool:
            for seed, what, trouble in pool.imap_unordered(
                try_seed, ((seed, sound) for seed in seeds), chunksize=10
            ):
                ways[what] += 1
                if trouble is not None:
                    failures.append((seed, what, trouble))
                    print(f"seed {seed}: {what}: {trouble.strip().splitlines()[-1]}")
    return sorted(failures)


def main() -> None:
    """Run the fuzzer from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--inputs", type=int, default=20_000)
    parser.add_argument("--first-seed", type=int, default=0)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--keep", type=Path, help="write the failures to this file")
    options = parser.parse_args()
    seeds = range(options.first_seed, options.first_seed + options.inputs)
    failures = fuzz(seeds, options.workers)
    if options.keep:
        options.keep.write_text(
            "\n\n".join(f"seed {seed}: {what}\n{trouble}" for seed, what, trouble in failures)
        )
    print(f"{len(seeds)} inputs, {len(failures)} failures")
    sys.exit(bool(failures))


if __name__ == "__main__":
    main()
