"""Programs that are killed: a server with all imports done forks a writer for each line, which is quick."""

import contextlib
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def serve(write):
    """Fork a program that writes for each line that is read, and say when it is gone."""
    for line in sys.stdin:
        child = os.fork()
        if child == 0:
            try:
                signal.alarm(60)  # should nobody come to kill it
                write(*line.rstrip("\n").split("\t"))
            except BaseException as error:
                print(f"{type(error).__name__}: {error}", file=sys.stderr, flush=True)
                os._exit(1)
            os._exit(0)
        print(child, flush=True)
        _, status = os.waitpid(child, 0)
        print(os.waitstatus_to_exitcode(status), flush=True)


@contextlib.contextmanager
def server(module, write):
    """Run a server for a function of a module of the tests, such as "table.test_killed_writer"."""
    paths = map(str, (ROOT / "tests", ROOT / "tests" / "tools", ROOT))
    running = subprocess.Popen(
        [sys.executable, "-c", f"from killed import serve; from {module} import {write}; serve({write})"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(paths), "PYTHONDONTWRITEBYTECODE": "1"},
    )
    with running:
        yield running
        running.stdin.close()


def begin(server, *arguments):
    """Have a writer begin, and return its process id."""
    server.stdin.write("\t".join(map(str, arguments)) + "\n")
    server.stdin.flush()
    return int(server.stdout.readline())


def end(server):
    """Wait until the writer is gone, and return its exit code."""
    return int(server.stdout.readline())


def run_and_kill(server, *arguments, after_s=None):
    """Run a writer and kill it after some time, or wait until it killed itself."""
    child = begin(server, *arguments)
    if after_s is not None:
        time.sleep(after_s)
        with contextlib.suppress(ProcessLookupError):
            os.kill(child, signal.SIGKILL)
    assert end(server) == -signal.SIGKILL
