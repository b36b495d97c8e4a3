"""Processes that a test starts: waited for until they stand, or are gone, however busy the computer is."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]

PATIENCE = 120.0
"""What has not come about by then does not come about [s]; usual are fractions of a second."""

INTERRUPTED = "import signal\nsignal.signal(signal.SIGINT, signal.default_int_handler)\n"
"""The first lines of a program that is to be interrupted: whoever started the tests may have that ignored."""

BEATING = """
import os, time
from pathlib import Path

def beat(folder, *_):
    "Write on for ten minutes, so that it is seen whether this still runs."
    path = Path(folder) / f"beat-{os.getpid()}"
    for count in range(12_000):
        path.write_text(str(count))
        time.sleep(0.05)
"""
"""A module with work that takes longer than any test."""


def wait_until(fact: Callable[[], object], what: str) -> None:
    """Wait for something, whatever else the computer does."""
    deadline = time.monotonic() + PATIENCE
    while not fact():
        assert time.monotonic() < deadline, what
        time.sleep(0.02)


def runs(process: int) -> bool:
    """Whether a process runs, and is not a zombie that nobody has asked after (Linux tells that)."""
    stat = Path(f"/proc/{process}/stat")
    try:
        if sys.platform == "linux":
            return stat.read_text(encoding="utf-8").rpartition(")")[2].split()[0] not in "ZX"
        os.kill(process, 0)
    except OSError:
        return False
    return True


def wait_until_gone(processes: Iterable[int]) -> None:
    """Wait until none of some processes runs any more."""
    left = set(processes)
    wait_until(lambda: not any(map(runs, left)), f"some of the processes {sorted(left)} run on")


def beating(folder: Path) -> set[int]:
    """The processes that have written a beat to a folder."""
    return {int(path.name.partition("-")[2]) for path in folder.glob("beat-*")}


@contextmanager
def started(*command: str, path: Path, **environment: str) -> Iterator[subprocess.Popen[str]]:
    """A Python program in a process group of its own, as a shell starts a command; killed if a test fails.

    path: where modules of the test lie.
    """
    paths = os.pathsep.join(map(str, (ROOT, path)))
    with subprocess.Popen(
        [sys.executable, *command],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True,
        env={**os.environ, "PYTHONPATH": paths, **environment},
    ) as process:  # fmt: skip
        try:
            yield process
        except BaseException:
            os.killpg(process.pid, signal.SIGKILL)
            raise
