"""Run one command in this process and say what was wrong with its end, if anything was."""

from __future__ import annotations

import contextlib
import csv
import importlib
import io
import json
import os
import pkgutil
import re
import resource
import signal
import sys
import time
import traceback
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import yieldest
from yieldest.cli import app as cli

SECONDS = 10
MOST_KIB = 1_000_000
_NEVER = frozenset(
    {"socket.connect", "socket.getaddrinfo", "socket.gethostbyname", "socket.sendto"}
    | {"subprocess.Popen", "os.system", "os.exec", "os.posix_spawn", "os.fork", "os.forkpty"}
    | {"webbrowser.open", "urllib.Request", "ctypes.dlopen"}
)
"""Audit events (PEP 578) that nothing in a plan or a record may bring about."""


class Forbidden(BaseException):
    """Something was done that no file may bring about; no `except Exception` holds it back."""


def load_everything() -> None:
    """Import all that a command may import, so that what is forbidden is none of it."""
    for module in pkgutil.walk_packages(yieldest.__path__, "yieldest."):
        importlib.import_module(module.name)
    for name in ("matplotlib.backends.backend_agg", "zarr", "h5netcdf", "scipy.stats", "lzma"):
        importlib.import_module(name)


class Watch:
    """Notices what the interpreter is about to do while a command runs, and forbids some of it."""

    def __init__(self) -> None:
        self.place: Path | None = None
        sys.addaudithook(self._look)

    def _look(self, event: str, arguments: Sequence[object]) -> None:
        if self.place is None:
            return
        if event in _NEVER:
            raise Forbidden(f"{event} {arguments!r}")
        if event == "open" and isinstance(arguments[2], int):
            path, flags = arguments[0], arguments[2]
            writes = flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC)
            if writes and isinstance(path, str) and path != os.devnull:
                full = Path(path).absolute()
                if self.place not in (full, *full.parents):
                    raise Forbidden(f"{full} was opened for writing")

    @contextlib.contextmanager
    def watching(self, place: Path) -> Iterator[None]:
        """Forbid what is forbidden, and writing anywhere but in `place`."""
        self.place = place.absolute()
        try:
            yield
        finally:
            self.place = None


def ended_badly(
    words: Sequence[str], folder: Path, writes: Sequence[str], watch: Watch
) -> str | None:
    """Run a command in `folder` and say what was wrong with its end.

    Parameters
    ----------
    words : sequence of str
        The command line.
    folder : Path
        The working folder; nothing may change in it but what `writes` names.
    writes : sequence of str
        What a successful run writes.
    watch : Watch
    """
    before = _snapshot(folder)
    _forget_peak()
    began = time.process_time()
    with contextlib.chdir(folder):
        code, out, err, trouble = _run(words, folder, watch)
    seconds, peak = time.process_time() - began, _peak_kib()
    after = _snapshot(folder)
    changed = {name for name in before.keys() | after.keys() if before.get(name) != after.get(name)}
    strange = {n for n in changed if not any(n == w or n.startswith(f"{w}/") for w in writes)}
    checks: tuple[tuple[bool, Callable[[], str]], ...] = (
        (trouble is not None, lambda: str(trouble)),
        (code not in (0, 2), lambda: f"exit code {code}: {err}"),
        (code == 2 and not _is_one_sentence(err), lambda: f"not one sentence: {err[:2000]}"),
        (code == 2 and bool(out), lambda: f"output before the refusal: {out[:200]}"),
        (code == 2 and bool(changed), lambda: f"refused, and yet changed {sorted(changed)}"),
        (bool(strange), lambda: f"changed {sorted(strange)}"),
        (code == 0 and "--json" in words and not _is_json(out), lambda: f"no JSON: {out[:200]}"),
        (seconds > SECONDS, lambda: f"{seconds:.0f} s"),
        (peak > MOST_KIB, lambda: f"peak memory {peak} KiB"),
    )
    for wrong, say in checks:
        if wrong:
            return say()
    for name in writes if code == 0 else ():
        path = folder / name
        if not path.exists() or not _is_whole(path):
            return f"{name} is not whole"
    return None


def _run(words: Sequence[str], folder: Path, watch: Watch) -> tuple[int, str, str, str | None]:
    out, err = io.StringIO(), io.StringIO()
    sys.argv = ["yieldest", *words]
    signal.signal(signal.SIGXCPU, signal.SIG_IGN)
    try:
        with (
            contextlib.redirect_stdout(out),
            contextlib.redirect_stderr(err),
            watch.watching(folder),
        ):
            cli.main()
        code: object = 0
    except SystemExit as end:
        code = end.code or 0
    except BaseException:
        return 1, out.getvalue(), err.getvalue(), traceback.format_exc()
    if not isinstance(code, int):
        return 1, out.getvalue(), err.getvalue(), f"exit code {code!r}"
    return code, out.getvalue(), err.getvalue(), None


def _is_one_sentence(err: str) -> bool:
    # The command line's own refusals (an option that is a word) come with how to use it.
    if err.startswith("Usage: "):
        return "Traceback" not in err
    return len(err.strip().splitlines()) == 1 and len(err) < 2000


def _is_json(out: str) -> bool:
    try:
        json.loads(out, parse_constant=lambda name: 1 / 0)
    except (ValueError, ZeroDivisionError):
        return False
    return True


def _is_whole(path: Path) -> bool:
    if path.is_dir() and path.name != "new":
        return all(map(_is_whole, path.iterdir()))
    if path.is_dir():
        return {"plan.toml", "wind.csv", "curve.csv", "bill.csv"} == {
            p.name for p in path.iterdir()
        }
    if path.suffix == ".html":
        return path.read_text(encoding="utf-8").rstrip().endswith("</html>")
    if path.suffix == ".csv":
        lines = path.read_text(encoding="utf-8").splitlines()
        rows = list(csv.reader(line for line in lines if not line.startswith("#")))
        return len(rows) > 1 and len({len(row) for row in rows}) == 1
    if path.suffix == ".nc":
        import xarray as xr  # noqa: PLC0415

        with xr.open_dataset(path, engine="h5netcdf") as maps:
            return "mean_speed" in maps.load()
    return path.stat().st_size > 0


def _snapshot(folder: Path) -> dict[str, tuple[int, ...]]:
    found = {}
    for place, folders, names in os.walk(folder):
        for name in (*folders, *names):
            path = Path(place, name)
            state = path.lstat()
            changed = 0 if name in folders else state.st_mtime_ns
            found[path.relative_to(folder).as_posix()] = (state.st_mode, state.st_ino, changed)
    return found


def _forget_peak() -> None:
    with contextlib.suppress(OSError):  # elsewhere than on Linux the peak is that of the process
        Path("/proc/self/clear_refs").write_text("5")


def _peak_kib() -> int:
    try:
        return int(re.search(r"VmHWM:\s*(\d+)", Path("/proc/self/status").read_text())[1])  # type: ignore[index]
    except OSError:
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
