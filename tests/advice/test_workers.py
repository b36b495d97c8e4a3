"""Work spread over processes: results in order, and no process left behind whatever ends the run."""

from __future__ import annotations

import multiprocessing
import os
import signal
import subprocess
import time
from contextlib import AbstractContextManager
from pathlib import Path

import pytest

from planner.advice.workers import worked_off
from tests.processes import BEATING, PATIENCE, beating, started, wait_until, wait_until_gone

LONG_WORK = f"""
import multiprocessing
{BEATING}
if multiprocessing.current_process().name != "MainProcess":
    Path(__file__).with_name("starting").touch()
    time.sleep(0.3)
"""

SPREAD = """
import multiprocessing, os, signal, sys, time
from pathlib import Path
import long_work
from planner.advice.workers import worked_off
if __name__ == "__main__":
    signal.signal(signal.SIGINT, signal.default_int_handler)  # whoever started the tests may have it ignored
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


def spread(folder: Path, *arguments: str) -> AbstractContextManager[subprocess.Popen[str]]:
    """The work spread over two processes."""
    return started(str(folder / "spread.py"), str(folder), *arguments, path=folder)


def wait_for_beats(folder: Path, count: int) -> None:
    wait_until(lambda: len(beating(folder)) >= count, "the work has not begun")


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
    """They would sleep for ten minutes, longer than anybody waits for a test."""
    with pytest.raises(TypeError):
        worked_off(time.sleep, [("no number",), (600,), (600,)], 2)
    assert multiprocessing.active_children() == []


@pytest.mark.parametrize("whom", ["the whole group, as Ctrl-C does", "the first process alone"])
def test_an_interrupt_ends_all_of_it_quietly(folder: Path, whom: str) -> None:
    with spread(folder) as process:
        wait_for_beats(folder, 2)
        send = os.killpg if whom.startswith("the whole group") else os.kill
        send(process.pid, signal.SIGINT)
        _, err = process.communicate(timeout=PATIENCE)
    assert process.returncode == 130
    assert err == ""
    assert len(beating(folder)) == 2
    wait_until_gone(beating(folder))


def test_an_interrupt_while_processes_start_is_not_lost_and_as_quiet(folder: Path) -> None:
    with spread(folder, "everyone") as process:
        _, err = process.communicate(timeout=PATIENCE)
    assert process.returncode == 130
    assert err == ""
    wait_until_gone(beating(folder))


def test_workers_leave_an_interrupt_to_the_first_process_even_while_they_start(folder: Path) -> None:
    with spread(folder, "workers only") as process:
        wait_for_beats(folder, 2)
        process.send_signal(signal.SIGINT)
        _, err = process.communicate(timeout=PATIENCE)
    assert process.returncode == 130
    assert err == ""
    wait_until_gone(beating(folder))


@pytest.mark.parametrize("by", [signal.SIGKILL, signal.SIGTERM])
def test_workers_end_with_the_process_that_started_them_however_that_ends(folder: Path, by: signal.Signals) -> None:
    with spread(folder) as process:
        wait_for_beats(folder, 2)
        os.kill(process.pid, by)
        process.wait(timeout=PATIENCE)
        wait_until_gone(beating(folder))
    assert process.returncode == -by
