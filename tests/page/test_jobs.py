"""Jobs in worker processes: what comes back, what is stopped is gone, and nobody waits for somebody else's part."""

from __future__ import annotations

import asyncio
import multiprocessing
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest

from planner.page import jobs
from planner.page.jobs import Job, Overdue, Stopped, Workers
from planner.page.turns import TooBusy
from planner.page.worker import Fault
from tests.page import job_tasks as do
from tests.processes import PATIENCE, ROOT, runs, wait_until_gone


@asynccontextmanager
async def at_work(most: int = 2, **options: Any) -> AsyncIterator[Workers]:
    """Workers, and afterwards not one process of theirs left."""
    workers = Workers(most, **options)
    workers.start()
    try:
        yield workers
    finally:
        processes = workers.processes
        await workers.close()
    assert not any(map(is_there, processes))
    assert multiprocessing.active_children() == []


def run(test: Callable[[], Awaitable[None]]) -> None:
    """Run a test's own loop, for no longer than some minutes."""

    async def limited() -> None:
        await asyncio.wait_for(test(), 3.0 * PATIENCE)

    asyncio.run(limited())


def is_there(process: int) -> bool:
    """Whether a process exists, be it as a zombie."""
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    return True


async def until(fact: Callable[[], object]) -> None:
    deadline = time.monotonic() + PATIENCE
    while not fact():
        assert time.monotonic() < deadline, "it did not come about"
        await asyncio.sleep(0.01)


async def hung(workers: Workers, key: object = None, **options: Any) -> tuple[Job[None], int]:
    """A job that hangs, and its process."""
    told: list[str] = []
    job = workers.submit(do.hangs, report=told.append, key=key, **options)
    await until(lambda: told)
    return job, int(told[0])


def test_a_job_gives_its_result_and_tells_of_its_progress_in_the_loop() -> None:
    async def test() -> None:
        told: list[tuple[str, int]] = []
        async with at_work(warm_up=do.get_warm) as workers:
            assert await workers.run(do.how_warm) == ["warm"], "a worker is made warm once, before its first job"
            document = {"rows": [[1.5, None, "é"]], "nested": {"a": (1, 2)}}
            found = await workers.run(
                do.echoed, document, time_limit=7.5, report=lambda word: told.append((word, threading.get_ident()))
            )
            assert await workers.run(do.how_warm) == ["warm"]
        assert found == (document, 7.5)
        assert told == [("first", threading.get_ident()), ("second", threading.get_ident())]

    run(test)


def test_every_error_of_the_input_comes_back_as_itself_with_all_its_fields() -> None:
    async def test() -> None:
        async with at_work() as workers:
            for name, made in do.ERRORS.items():
                expected = made()
                with pytest.raises(type(expected)) as caught:
                    await workers.run(do.raises, name)
                assert type(caught.value) is type(expected)
                assert vars(caught.value) == vars(expected)
                assert caught.value.args == expected.args
                assert str(caught.value) == str(expected)

    run(test)


def test_a_fault_comes_back_with_its_text_and_place_and_the_worker_goes_on() -> None:
    async def test() -> None:
        async with at_work(1) as workers:
            before = await workers.run(do.pid)
            with pytest.raises(Fault, match="RuntimeError: a broken assumption") as caught:
                await workers.run(do.breaks)
            assert "in breaks" in caught.value.trace
            assert caught.value.as_dict()["kind"] == "Fault"
            with pytest.raises(Fault, match="as if the pipe had ended"):
                await workers.run(do.reads_past_the_end)
            with pytest.raises(Fault, match="pickle"):
                await workers.run(do.unsendable)
            with pytest.raises(Fault, match="cannot be handed over"):
                await workers.run(do.echoed, threading.Lock())
            assert await workers.run(do.pid) == before

    run(test)


@pytest.mark.parametrize("how", ["the job is stopped", "who waits for it is"])
def test_a_job_that_is_stopped_ends_with_its_process_and_another_takes_its_place(how: str) -> None:
    async def test() -> None:
        async with at_work(1) as workers:
            job, process = await hung(workers)
            waiting = asyncio.ensure_future(job)
            await asyncio.sleep(0)
            if how == "the job is stopped":
                job.cancel()
                with pytest.raises(Stopped):
                    await waiting
            else:
                waiting.cancel()
                with pytest.raises(asyncio.CancelledError):
                    await waiting
            assert job.done
            await until(lambda: not is_there(process))
            assert await workers.run(do.pid) != process

    run(test)


def test_a_waiting_job_that_is_stopped_is_never_begun(tmp_path: Path) -> None:
    async def test() -> None:
        async with at_work(1) as workers:
            free, begun = tmp_path / "free", tmp_path / "begun"
            first = workers.submit(do.waits_for, str(free))
            second = workers.submit(do.hangs, str(begun))
            third = workers.submit(do.pid)
            assert (workers.under_way, workers.waiting) == (1, 2)
            second.cancel()
            with pytest.raises(Stopped):
                await second
            free.touch()
            assert await first == await third, "the worker was left alone"
            assert not begun.exists()

    run(test)


def test_a_job_that_does_not_end_at_its_time_limit_is_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(jobs, "GRACE", 0.2)

    async def test() -> None:
        async with at_work(1) as workers:
            job = workers.submit(do.hangs, time_limit=0.1)
            (process,) = workers.processes
            with pytest.raises(Overdue, match=r"time limit of 0\.1 s"):
                await job
            await until(lambda: not is_there(process))
            assert await workers.run(do.pid) != process

    run(test)


def test_a_worker_that_never_begins_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(jobs, "START_UP", 0.2)

    async def test() -> None:
        async with at_work(1, warm_up=do.never_ready) as workers:
            with pytest.raises(Overdue):
                await workers.run(do.pid)

    run(test)


def test_a_part_whose_jobs_all_hang_leaves_a_worker_to_the_others() -> None:
    async def test() -> None:
        async with at_work(2) as workers:
            await hung(workers, "the one")
            waiting = [workers.submit(do.hangs, key="the one") for _ in range(3)]
            assert isinstance(await workers.run(do.pid, key="the other"), int)
            assert isinstance(await workers.run(do.pid), int)
            assert (workers.under_way, workers.waiting) == (1, 3)
            assert not any(job.done for job in waiting)

    run(test)


def test_jobs_of_one_part_wait_for_their_turn_and_in_their_order(tmp_path: Path) -> None:
    async def test() -> None:
        begun: list[str] = []
        async with at_work(3) as workers:
            free = [tmp_path / str(number) for number in range(5)]

            def submitted(number: int, key: str) -> Job[int]:
                name = f"{key}{number}"

                def told(sentence: str) -> None:
                    if sentence == "begun":
                        begun.append(name)

                return workers.submit(do.waits_for, str(free[number]), key=key, report=told)

            long = [submitted(0, "long"), submitted(1, "long"), submitted(2, "long")]
            short = [submitted(3, "short"), submitted(4, "short")]
            await until(lambda: len(begun) == 3)
            assert sorted(begun) == ["long0", "long1", "short3"], "two of the one part, then the other's"
            free[0].touch()
            await until(lambda: len(begun) == 4)
            assert begun[3] == "long2", "both parts have one under way: the older job comes first"
            for file in free:
                file.touch()
            for job in (*long, *short):
                await job

    run(test)


def test_jobs_of_one_part_go_to_the_worker_that_knows_it(tmp_path: Path) -> None:
    async def test() -> None:
        async with at_work(3) as workers:
            free = tmp_path / "free"
            first, second = (workers.submit(do.waits_for, str(free), key=key) for key in ("rail", "frame"))
            free.touch()
            rail, frame = await first, await second
            assert rail != frame
            for _ in range(2):
                assert await workers.run(do.pid, key="rail") == rail
                assert await workers.run(do.pid, key="frame") == frame
            job, elsewhere = await hung(workers, "rail")
            assert elsewhere == rail
            assert await workers.run(do.pid, key="rail") != rail, "it is busy: another one does it too"
            job.cancel()

    run(test)


def test_there_are_never_more_workers_than_the_most_and_an_idle_one_up_to_then() -> None:
    async def test() -> None:
        async with at_work(3) as workers:
            assert len(workers.processes) == 1
            await hung(workers)
            assert len(workers.processes) == 2, "one is ready for the next job"
            workers.start(9)
            assert len(workers.processes) == 3
            for _ in range(5):
                workers.submit(do.hangs)
            assert (len(workers.processes), workers.under_way, workers.waiting) == (3, 3, 3)

    run(test)


def test_too_many_waiting_jobs_are_refused() -> None:
    async def test() -> None:
        async with at_work(1, most_waiting=2) as workers:
            await hung(workers)
            for _ in range(2):
                workers.submit(do.pid)
            with pytest.raises(TooBusy, match="2 jobs are waiting"):
                workers.submit(do.pid)

    run(test)


def test_a_worker_that_ends_by_itself_fails_its_job_and_no_other() -> None:
    async def test() -> None:
        async with at_work(2) as workers:
            for code in (3, 0):
                with pytest.raises(Fault, match=f"ended by itself \\(exit code {code}\\)"):
                    await workers.run(do.ends_itself, code)
            process = await workers.run(do.pid)
            os.kill(process, signal.SIGKILL)  # while it is idle, as a computer short of memory does
            await until(lambda: not runs(process))
            assert await workers.run(do.pid) != process

    run(test)


def test_a_job_whose_worker_is_killed_before_it_is_begun_is_begun_elsewhere() -> None:
    async def test() -> None:
        async with at_work(2, warm_up=do.get_ready_slowly) as workers:
            jobs = [workers.submit(do.pid) for _ in range(3)]
            killed = set(workers.processes)
            for process in killed:
                os.kill(process, signal.SIGKILL)
            for job in jobs:
                assert await job not in killed

    run(test)


def test_a_job_that_waits_is_told_how_long_and_no_more_when_it_is_begun(tmp_path: Path) -> None:
    async def test() -> None:
        async with at_work(1) as workers:
            free, told = tmp_path / "free", list[str]()
            first = workers.submit(do.waits_for, str(free))
            second = workers.submit(do.waits_for, str(free), report=told.append)
            assert told == ["waiting for its turn, about 1 s"]
            assert 0.0 < workers.wait <= 2.0
            free.touch()
            await first
            await second
            assert told[-2:] == ["", "begun"]
            assert workers.wait == 0.0

    run(test)


def test_two_clients_take_turns_and_neither_has_all_workers() -> None:
    async def test() -> None:
        async with at_work(2) as workers:
            often = [workers.submit(do.hangs, client="often") for _ in range(3)]
            assert isinstance(await workers.run(do.pid, client="once"), int)
            assert workers.under_way == 1
            assert sum(job.done for job in often) == 0

    run(test)


def test_workers_that_cannot_start_fail_their_jobs_and_are_not_started_without_end(
    capfd: pytest.CaptureFixture[str],
) -> None:
    async def test() -> None:
        async with at_work(1, warm_up=do.fail_to_start) as workers:
            for _ in range(2):
                with pytest.raises(Fault, match="ended by itself"):
                    await workers.run(do.pid)
            await asyncio.sleep(0.5)
            assert len(workers.processes) <= 1

    run(test)
    assert capfd.readouterr().err.count("OSError: no room") <= 5, "each job is tried twice, and one is kept ready"


def test_closing_stops_what_is_under_way_and_what_waits() -> None:
    async def test() -> None:
        async with at_work(1) as workers:
            under_way, process = await hung(workers)
            waiting = workers.submit(do.pid)
            await workers.close()
            for job in (under_way, waiting):
                with pytest.raises(Stopped, match="being closed"):
                    await job
            assert not is_there(process)
            assert workers.processes == ()
            with pytest.raises(Stopped):
                workers.submit(do.pid)

    run(test)


SERVER = """
import asyncio, os
from planner.page.jobs import Workers
from tests.page import job_tasks as do

async def main():
    workers = Workers(2)
    await workers.run(do.pid)
    workers.submit(do.hangs)
    await asyncio.sleep(0.3)
    print(*workers.processes, flush=True)
    await asyncio.sleep(60)

if __name__ == "__main__":
    asyncio.run(main())
"""


@pytest.mark.parametrize("by", [signal.SIGKILL, signal.SIGTERM])
def test_workers_end_with_the_server_however_that_ends(tmp_path: Path, by: signal.Signals) -> None:
    (tmp_path / "server.py").write_text(SERVER, encoding="utf-8")
    with subprocess.Popen(
        [sys.executable, str(tmp_path / "server.py")],
        stdout=subprocess.PIPE, text=True, start_new_session=True, env={**os.environ, "PYTHONPATH": str(ROOT)},
    ) as server:  # fmt: skip
        assert server.stdout is not None
        processes = [int(word) for word in server.stdout.readline().split()]
        assert len(processes) == 2
        os.kill(server.pid, by)
        server.wait(timeout=PATIENCE)
        wait_until_gone(processes)
