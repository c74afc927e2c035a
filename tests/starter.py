"""Commands in processes of their own, forked from one that has imported what they need.

To import takes longer than most runs do. Run as a script this is the process that forks.
"""

import importlib
import json
import os
import signal
import subprocess
import sys
from contextlib import contextmanager
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent / "fuzz"))
from rights import let_modes_bind

ROOM_BYTES = 300


def little_room():
    """Let no file grow, which is how a full disk looks to a program."""
    import resource  # noqa: PLC0415 - of POSIX

    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (ROOM_BYTES, ROOM_BYTES))


def nobody_reads():
    """Send what is printed to a reader that has gone."""
    reading, writing = os.pipe()
    os.dup2(writing, sys.stdout.fileno())
    os.close(writing)
    os.close(reading)


BEFORE = {each.__name__: each for each in (let_modes_bind, little_room, nobody_reads)}
"""What a command may begin with."""


@contextmanager
def starter(*imports, **how):
    """Yield what runs the command line in a folder, as a process that `how` tells `Popen` of."""
    from conftest import Ran  # noqa: PLC0415 - the process that forks does without

    (asked, asking), (answered, answering) = os.pipe(), os.pipe()
    words = [sys.executable, __file__, asked, answering, *imports]
    with subprocess.Popen(map(str, words), pass_fds=(asked, answering), **how):
        os.close(asked)
        os.close(answering)
        with open(asking, "w") as to, open(answered) as back:  # noqa: PTH123

            def start(folder, *words, before=None):
                print(json.dumps([str(folder), words, before]), file=to, flush=True)
                return Ran(*json.loads(back.readline()))

            yield start


def serve(asked, answering, *imports):
    """Fork for each command asked for; answer with its exit code and what it wrote."""
    from yieldest.cli.app import main  # noqa: PLC0415 - for the tests it is not imported here

    for name in imports:
        importlib.import_module(name)
    with open(int(asked)) as lines, open(int(answering), "w") as answers:  # noqa: PTH123
        for line in lines:
            folder, words, before = json.loads(line)
            pipes = os.pipe(), os.pipe()
            if os.fork() == 0:
                for number, (_, writing) in enumerate(pipes, start=1):
                    if number > 1 or sys.stdout is not None:  # what is closed stays so
                        os.dup2(writing, number)
                for end in {*pipes[0], *pipes[1]}:
                    os.close(end)
                os.chdir(folder)
                sys.argv = ["yieldest", *words]
                if before is not None:
                    BEFORE[before]()
                main()
                sys.exit()
            for _, writing in pipes:
                os.close(writing)
            texts = [open(reading).read() for reading, _ in pipes]  # noqa: PTH123, SIM115
            code = os.waitstatus_to_exitcode(os.wait()[1])
            print(json.dumps([code, *texts]), file=answers, flush=True)


if __name__ == "__main__":
    serve(*sys.argv[1:])
