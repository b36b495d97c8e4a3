"""Work spread over processes: results in order, and no process left behind whatever ends the run."""

from __future__ import annotations

import multiprocessing
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from planner.advice.workers import worked_off

ROOT = Path(__file__).resolve().parents[2]

LONG_WORK = """
import multiprocessing, os, time
from pathlib import Path

if multiprocessing.current_process().name != "MainProcess":
    Path(__file__).with_name("starting").touch()
    time.sleep(0.3)

def beat(folder, *_):
    "Write on for a minute, so that it is seen whether this still runs."
    path = Path(folder) / f"beat-{os.getpid()}"
    for count in range(1200):
        path.write_text(str(count))
        time.sleep(0.05)
"""

SPREAD = """
import multiprocessing, os, signal, sys, time
from pathlib import Path
import long_work
from planner.advice.workers import worked_off
if __name__ == "__main__":
    if len(sys.argv) > 2:
        from concurrent.futures import ProcessPoolExecutor
        submit = ProcessPoolExecutor.submit
        def interrupted(pool, *job):
            given = submit(pool, *job)
            while not Path(sys.argv[1], "starting").exists():
                time.sleep(0.01)
            for process in multiprocessing.active_children():
                os.kill(process.pid, signal.SIGINT)
            if sys.argv[2] == "everyone":
                os.kill(os.getpid(), signal.SIGINT)
            return given
        ProcessPoolExecutor.submit = interrupted
    try:
        worked_off(long_work.beat, [(sys.argv[1],)] * 5, 2)
    except KeyboardInterrupt:
        sys.exit(130)
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "long_work.py").write_text(LONG_WORK, encoding="utf-8")
    (tmp_path / "spread.py").write_text(SPREAD, encoding="utf-8")
    return tmp_path


@contextmanager
def started(folder: Path, *arguments: str) -> Iterator[subprocess.Popen[str]]:
    """The work in a process group of its own, as a shell starts a command; killed if a test fails."""
    paths = os.pathsep.join(map(str, (ROOT, folder)))
    with subprocess.Popen(
        [sys.executable, str(folder / "spread.py"), str(folder), *arguments],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True,
        env={**os.environ, "PYTHONPATH": paths},
    ) as process:  # fmt: skip
        try:
            yield process
        except BaseException:
            os.killpg(process.pid, signal.SIGKILL)
            raise


def beats(folder: Path) -> dict[str, str]:
    return {path.name: path.read_text(encoding="utf-8") for path in folder.glob("beat-*")}


def wait_for_beats(folder: Path, count: int) -> None:
    deadline = time.monotonic() + 60.0
    while len(beats(folder)) < count:
        assert time.monotonic() < deadline, "the work has not begun"
        time.sleep(0.02)


def still(folder: Path) -> bool:
    """Whether nothing is written any more, after two seconds to end in."""
    deadline = time.monotonic() + 2.0
    while True:
        before = beats(folder)
        time.sleep(0.3)
        if beats(folder) == before:
            return True
        if time.monotonic() > deadline:
            return False


def test_results_come_in_the_order_of_the_jobs() -> None:
    jobs = [(n, 3) for n in (5, 4, 3, 2, 1)]
    assert worked_off(pow, jobs, 2) == worked_off(pow, jobs, 1) == [125, 64, 27, 8, 1]
    assert worked_off(pow, [], 2) == []
    assert multiprocessing.active_children() == []


def test_one_worker_is_this_process() -> None:
    assert worked_off(os.getpid, [()] * 3, 1) == [os.getpid()] * 3
    assert worked_off(os.getpid, [()], 2) == [os.getpid()], "nor does a single job need another"


def test_more_workers_are_other_processes_and_no_more_than_cores() -> None:
    found = set(worked_off(os.getpid, [()] * 8, 1000))
    assert 1 <= len(found) <= (os.cpu_count() or 1)
    assert (os.getpid() in found) == (os.cpu_count() == 1)


def test_an_error_in_one_job_ends_the_others_at_once() -> None:
    began = time.monotonic()
    with pytest.raises(TypeError):
        worked_off(time.sleep, [("no number",), (60,), (60,)], 2)
    assert time.monotonic() - began < 30.0
    assert multiprocessing.active_children() == []


@pytest.mark.parametrize("whom", ["the whole group, as Ctrl-C does", "the first process alone"])
def test_an_interrupt_ends_all_of_it_quietly(folder: Path, whom: str) -> None:
    with started(folder) as process:
        wait_for_beats(folder, 2)
        send = os.killpg if whom.startswith("the whole group") else os.kill
        send(process.pid, signal.SIGINT)
        _, err = process.communicate(timeout=30)
    assert process.returncode == 130
    assert err == ""
    assert len(beats(folder)) == 2
    assert still(folder)


def test_an_interrupt_while_processes_start_is_not_lost_and_as_quiet(folder: Path) -> None:
    with started(folder, "everyone") as process:
        _, err = process.communicate(timeout=30)
    assert process.returncode == 130
    assert err == ""
    assert still(folder)


def test_workers_leave_an_interrupt_to_the_first_process_even_while_they_start(folder: Path) -> None:
    with started(folder, "workers only") as process:
        wait_for_beats(folder, 2)
        process.send_signal(signal.SIGINT)
        _, err = process.communicate(timeout=30)
    assert process.returncode == 130
    assert err == ""
    assert still(folder)


@pytest.mark.parametrize("by", [signal.SIGKILL, signal.SIGTERM])
def test_workers_end_with_the_process_that_started_them_however_that_ends(folder: Path, by: signal.Signals) -> None:
    with started(folder) as process:
        wait_for_beats(folder, 2)
        os.kill(process.pid, by)
        process.wait(timeout=30)
        assert still(folder)
    assert process.returncode == -by
