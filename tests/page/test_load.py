"""The server under load and attack: all are answered, nobody is held up, and memory does not grow.

By default each lasts some seconds and holds only what no load of the computer changes; the campaign lasts as long as it
says, holds the figures, and wants a computer with two cores to itself.
"""

from __future__ import annotations

import asyncio
import os
import random
import resource
import signal
import socket
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path

import httpx
import pytest

from planner.page.examples import example_parts
from tests.page.browser import browsing, serving
from tests.page.load import Body, Slow, clients, fetched, health, memory_of, new_part

EXAMPLES = [{"part_text": one.path.read_text(encoding="utf-8")} for one in example_parts()]
ONE_FILE = [body for body in EXAMPLES if "file = " not in body["part_text"]]
"""Those whose rows stand in the part file itself."""

TOKEN = "towpath-lantern-0417"


@pytest.fixture(scope="module")
def url() -> Iterator[str]:
    with serving() as url:
        yield url


@pytest.fixture(scope="module")
def guarded() -> Iterator[str]:
    """A server that wants a token; its address without one."""
    with serving("--token", TOKEN) as url:
        yield url.partition("?")[0]


def port_of(url: str) -> int:
    return int(url.rsplit(":", 1)[1].strip("/").split("/")[0])


def server_of(url: str) -> int:
    """The process that listens at an address (Linux tells)."""
    listening = f":{port_of(url):04X}"
    rows = [line.split() for line in Path("/proc/net/tcp").read_text(encoding="ascii").splitlines()[1:]]
    inode = next(row[9] for row in rows if row[1].endswith(listening) and row[3] == "0A")
    for handles in Path("/proc").glob("[0-9]*/fd"):
        with suppress(OSError):
            if any(os.readlink(handle) == f"socket:[{inode}]" for handle in handles.iterdir()):
                return int(handles.parent.name)
    raise AssertionError("nobody listens there")


def workers_of(server: int) -> list[int]:
    """The server's worker processes, which is not all it has started."""
    started = Path(f"/proc/{server}/task/{server}/children").read_text(encoding="ascii").split()
    return [int(word) for word in started if b"spawn_main" in Path(f"/proc/{word}/cmdline").read_bytes()]


def known(rng: random.Random) -> Body:
    """One of the examples: what several sessions and programs of a workshop ask about on the same day."""
    return rng.choice(ONE_FILE)


def unknown(rng: random.Random) -> Body:
    """A part that is asked about for the first time."""
    return {"part": new_part(rng)}


# ------------------------------------------------------------------------------------------------ who is served


def test_many_clients_at_once_are_all_answered(url: str, campaign: bool) -> None:
    load = asyncio.run(clients(url, 32 if campaign else 8, 60.0 if campaign else 1.0, known, 0.0))
    print(f"\nthe examples, without a pause: {load}")
    assert set(load.status) == {200}
    assert not campaign or load.median < 1.0


def test_many_clients_with_parts_of_their_own_are_all_answered(url: str, campaign: bool) -> None:
    load = asyncio.run(
        clients(url, 32 if campaign else 4, 60.0 if campaign else 1.0, unknown, 6.0 if campaign else 0.3)
    )
    print(f"\nparts that are new each time, about six seconds apart: {load}")
    assert set(load.status) == {200}
    assert not campaign or load.median < 1.0


def test_who_sends_slowly_holds_up_nobody(url: str, campaign: bool) -> None:
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    many = 1000 if campaign else 300
    resource.setrlimit(resource.RLIMIT_NOFILE, (min(max(soft, 4 * many), hard), hard))

    async def test() -> None:
        async with Slow(port_of(url), many) as slow:
            await asyncio.sleep(1.5)
            for path in ("health", "api/1/machines/canal-workshop", "api"):
                load = await fetched(url, path, 40 if campaign else 5)
                print(f"\n{path} beside {many} that send slowly ({slow.open} of them connected): {load}")
                assert set(load.status) == {200}
                assert not campaign or load.median < 0.1

    try:
        asyncio.run(test())
    finally:
        resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))


# ------------------------------------------------------------------------------------------------ what starts no work


def test_who_fetches_the_page_without_a_browser_starts_no_work(url: str) -> None:
    server = server_of(url)
    before = [ticks_of(worker) for worker in workers_of(server)]
    for _ in range(100):
        answer = httpx.get(url, timeout=60.0)
        assert answer.status_code == 200
        assert "lockside" not in answer.text, "nothing is drawn either"
    found = health(url)
    assert (found["under_way"], found["waiting"], found["wait"]) == (0, 0, 0.0)
    assert [ticks_of(worker) for worker in workers_of(server)] == before, "no worker did anything"


def ticks_of(process: int) -> int:
    """How much of the processor a process has had."""
    words = Path(f"/proc/{process}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()
    return int(words[11]) + int(words[12])


def test_health_needs_no_token_and_tells_nothing_else(guarded: str) -> None:
    assert httpx.get(f"{guarded}api/1/machines").status_code == 401
    answer = httpx.get(f"{guarded}health")
    assert answer.status_code == 200
    found = answer.json()
    assert found.pop("schema") == "bendorder-health/1"
    assert sorted(found) == ["under_way", "wait", "waiting", "workers"]
    assert httpx.post(f"{guarded}health").json()["error"]["kind"] == "MethodNotAllowed"
    assert httpx.get(f"{guarded}health", headers={"host": "elsewhere.example"}).status_code == 421


def test_the_first_request_after_the_workers_were_killed_is_answered(url: str) -> None:
    server = server_of(url)
    for number in range(4):
        for worker in workers_of(server):
            with suppress(ProcessLookupError):
                os.kill(worker, signal.SIGKILL)
        body = {"part": new_part(random.Random(1000 + number))}
        assert httpx.post(f"{url}api/1/plan", json=body, timeout=60.0).status_code == 200


def test_a_head_without_an_end_is_refused_before_the_token_is_looked_at(guarded: str) -> None:
    server = server_of(guarded)
    before = memory_of(server)
    for line in (b"x-more: and more\r\n", b"y"):
        with socket.create_connection(("127.0.0.1", port_of(guarded)), timeout=60.0) as endless:
            endless.sendall(b"GET / HTTP/1.1\r\nhost: 127.0.0.1\r\n" + (b"" if b":" in line else b"x: "))
            with suppress(OSError):
                for _ in range(500):
                    endless.sendall(line * (100_000 // len(line)))
                raise AssertionError("50 MB of it were taken")
    assert memory_of(server) < before + 20.0


# ------------------------------------------------------------------------------------------------ a day


def test_a_day_of_use_leaves_the_memory_where_it_was(campaign: bool) -> None:
    """A day is 10,000 plans, hardly two of the same part (of one bend or two), with the page opened 100 times in between."""
    plans, opened = (10_000, 100) if campaign else (10, 1)
    with serving() as url, browsing() as browser:
        server, held = server_of(url), []
        for share in range(10):
            with ThreadPoolExecutor(1) as elsewhere:  # the browser's own loop runs in this thread
                assert set(elsewhere.submit(some_plans, url, plans // 10, share).result()) == {200}
            for _ in range(max(opened // 10, 1) if share < opened else 0):
                context = browser.new_context()
                page = context.new_page()
                page.goto(url)
                page.locator("nav button").first.wait_for()
                context.close()
            held.append([memory_of(server), max(memory_of(worker) for worker in workers_of(server))])
            print(
                f"\nafter {(share + 1) * plans // 10} plans: server {held[-1][0]:.0f} MB, largest worker {held[-1][1]:.0f} MB",
                flush=True,
            )
        if campaign:
            for first, last in zip(held[1], held[-1], strict=True):
                assert last < 1.15 * first + 20.0, "from the second tenth to the last"
        assert max(map(max, held)) < 1000.0


def some_plans(url: str, many: int, share: int) -> list[int]:
    """Ask for so many plans, two at a time; return their status."""
    rng = random.Random(77_000 + share)
    bodies = [{"part": new_part(rng, most=2)} for _ in range(many)]
    with ThreadPoolExecutor(2) as clients, httpx.Client(base_url=url, timeout=300.0) as client:
        return [*clients.map(lambda body: client.post("/api/1/plan", json=body).status_code, bodies)]
