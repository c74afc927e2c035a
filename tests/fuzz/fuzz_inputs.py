"""Spoil inputs at random and see that every command ends well.

Run it as `python tests/fuzz/fuzz_inputs.py --inputs 20000`. Each input is a folder with one file
spoilt, or a place to write that is no good; a command that reads or writes it must end with exit
code 0 or 2, in 10 s of computing and within 1 GB, without a traceback, with one sentence on
standard error when it refuses, with JSON that holds no NaN when it does not, with its output whole
or as it was before, with nothing else changed, and without starting a program, unpickling or
looking for a network. On Linux the right of root to read everything is given up first.
"""

from __future__ import annotations

import argparse
import contextlib
import multiprocessing
import os
import random
import resource
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from multiprocessing.connection import Connection, wait
from pathlib import Path

from judge import Watch, ended_badly, load_everything
from rights import let_modes_bind, modes_can_bind
from spoil import NASTY_CELLS, spoil
from yards import CASES, Case, write_yard

WALL_SECONDS = 150
"""After so long without a word a worker is taken to hang."""
TOGETHER = 100
"""Inputs for one process, so that what one leaves behind does not go far."""
MOST_ADDRESSES = 8 * 2**30
"""Bytes that a process may ask for, so that the machine survives."""
KEYS = (
    "title",
    "currency",
    "site.elevation_m",
    "site.roughness_length_m",
    "wind.measured_height_m",
    "wind.record",
    "build.0.curve",
    "build.0.bill",
    "build.0.name",
    "build.0.count",
    "build.6",
    "build.0.hub_height_m",
    "economics.discount_rate",
    "economics.life_years",
    "uncertainty.draws",
    "a.b.c",
    "economics.price_per_kwh",
    "build.0.losses.electrical",
    "path",
    "wind",
    "",
)


@dataclass(frozen=True)
class Outcome:
    """How one input ended; `trouble` is None where it ended well."""

    seed: int
    what: str
    trouble: str | None


def try_seed(seed: int, sound: Path, watch: Watch) -> Outcome:
    """Spoil one thing by a seed and run a command that meets it."""
    chance = random.Random(seed)
    case: Case = chance.choices(CASES, [case.often for case in CASES])[0]
    with _scratch() as scratch:
        yard = Path(shutil.copytree(sound, scratch / "yard"))
        words = case.command.split()
        if "{}" in case.command:
            key = chance.choice(KEYS)
            value = f"{key}={chance.choice(NASTY_CELLS)}" if "--set" in words else key
            words = [word.replace("{}", value) for word in words]
            way = "an override"
        elif case.writes and (not case.spoilt or chance.random() < 0.5):
            way = _spoil_place(yard / case.writes[0], chance)
        else:
            way = spoil(yard / chance.choice(case.spoilt), seed)
        old = yard / case.writes[0] if case.writes else None
        if old is not None and old.suffix and old.parent.is_dir() and chance.random() < 0.5:
            with contextlib.suppress(OSError):
                old.write_text("old\n") if not old.exists() and not old.is_symlink() else None
        with _room(2000 if way == "a full disk" else resource.RLIM_INFINITY):
            trouble = ended_badly(words, yard, case.writes, watch)
    return Outcome(seed, f"{' '.join(words)[:300]} with {way}", trouble)


def _spoil_place(path: Path, chance: random.Random) -> str:
    """Make the place that is to be written no good."""
    kind = chance.choice(["full", "read-only", "none", "folder", "link", "loop", "pipe", "file"])
    if kind == "full":
        return "a full disk"
    if kind == "read-only":
        path.parent.chmod(0o555)
    elif kind == "none":
        path.parent.rmdir()
    elif kind == "folder":
        path.mkdir()
    elif kind == "link":
        path.symlink_to("/dev/full" if chance.random() < 0.5 else "../plan.toml")
    elif kind == "loop":
        path.symlink_to(path.name)
    elif kind == "pipe":
        os.mkfifo(path)
    else:
        path.parent.rmdir()
        path.parent.touch()
    return f"{kind} at {path.name}"


@contextlib.contextmanager
def _scratch() -> Iterator[Path]:
    scratch = Path(tempfile.mkdtemp(prefix="fuzz-"))
    try:
        yield scratch
    finally:
        for place, folders, _ in os.walk(scratch):
            for name in folders:
                if not Path(place, name).is_symlink():
                    Path(place, name).chmod(0o755)
        shutil.rmtree(scratch)


@contextlib.contextmanager
def _room(limit: int) -> Iterator[None]:
    """Let no file grow beyond a limit, which is how a full disk looks to a program."""
    _, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (limit, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (hard, hard))


def _work(seeds: list[int], sound: Path, report: Connection) -> None:
    """Try seeds one after the other in a process of their own."""
    let_modes_bind()
    resource.setrlimit(resource.RLIMIT_AS, (MOST_ADDRESSES, MOST_ADDRESSES))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    watch = Watch()
    for seed in seeds:
        report.send(try_seed(seed, sound, watch))


class _Worker:
    """A process at work on some seeds, which may die or hang of one of them."""

    def __init__(self, seeds: list[int], sound: Path) -> None:
        self.left = seeds
        self.heard, sending = multiprocessing.Pipe(duplex=False)
        self.process = multiprocessing.Process(
            target=_work, args=(seeds, sound, sending), daemon=True
        )
        self.process.start()
        sending.close()
        self.since = time.monotonic()
        self.ended = self.killed = False

    def outcome(self) -> Outcome | None:
        """Return what the process says, or how it ended before it was done; None if it is."""
        try:
            outcome: Outcome = self.heard.recv()
        except EOFError:
            self.process.join()
            self.ended = True
            if not self.left:
                return None
            seed = self.left.pop(0)
            how = (
                "was silent for too long" if self.killed else f"ended with {self.process.exitcode}"
            )
            return Outcome(seed, "?", f"the process {how}")
        self.since = time.monotonic()
        self.left.remove(outcome.seed)
        return outcome

    def stop_if_hanging(self) -> None:
        """Kill the process when it has been silent for too long."""
        if time.monotonic() - self.since > WALL_SECONDS:
            self.killed = True
            self.process.kill()


def fuzz(seeds: range, workers: int) -> Iterator[Outcome]:
    """Try all seeds and yield how each ended."""
    load_everything()
    with tempfile.TemporaryDirectory() as scratch:
        sound = Path(scratch) / "sound"
        # The libraries that write the grids start threads, and those do not survive a fork.
        writing = multiprocessing.Process(target=write_yard, args=(sound,))
        writing.start()
        writing.join()
        waiting = [list(seeds[at : at + TOGETHER]) for at in range(0, len(seeds), TOGETHER)]
        running: list[_Worker] = []
        while waiting or running:
            while waiting and len(running) < workers:
                running.append(_Worker(waiting.pop(0), sound))
            ready = wait([worker.heard for worker in running], timeout=1)
            for worker in running[:]:
                worker.stop_if_hanging()
                if worker.heard not in ready:
                    continue
                outcome = worker.outcome()
                if outcome is not None:
                    yield outcome
                if worker.ended:
                    running.remove(worker)
                    if worker.left:
                        waiting.insert(0, worker.left)


def main() -> None:
    """Run the fuzzer from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--inputs", type=int, default=20_000)
    parser.add_argument("--first-seed", type=int, default=0)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--keep", type=Path, help="write the failures to this file as they come")
    options = parser.parse_args()
    if not modes_can_bind():
        print("File modes do not bind here, so unreadable files are not among the inputs.")
    seeds = range(options.first_seed, options.first_seed + options.inputs)
    done, failures = 0, 0
    began = time.monotonic()
    for outcome in fuzz(seeds, options.workers):
        done += 1
        if done % 500 == 0:
            print(
                f"{done} inputs, {failures} failures, {time.monotonic() - began:.0f} s", flush=True
            )
        if outcome.trouble is None:
            continue
        failures += 1
        text = f"seed {outcome.seed}: {outcome.what}: {outcome.trouble.strip()}"
        print(f"seed {outcome.seed}: {outcome.what}: {outcome.trouble.strip().splitlines()[-1]}",
              flush=True)  # fmt: skip
        if options.keep:
            with options.keep.open("a", encoding="utf-8", errors="replace") as kept:
                kept.write(text + "\n\n")
    print(f"{done} inputs, {failures} failures, {time.monotonic() - began:.0f} s")
    sys.exit(bool(failures))


if __name__ == "__main__":
    main()
