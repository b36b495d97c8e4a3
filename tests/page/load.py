"""A load on a running server: many clients at once, slow ones among them, and what its processes hold of the memory."""

from __future__ import annotations

import asyncio
import json
import random
import statistics
import time
from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import httpx

from planner.errors import SelfCrossing
from planner.inputs.files import part_from_data

Body = dict[str, Any]

RAIL: Body = {
    "name": "lock gate rail",
    "units": "mm",
    "machine": "canal-workshop",
    "tube": {"outside_diameter": 38.1, "wall": 1.65, "material": "stainless 304"},
}
"""An invented part without its shape."""


@dataclass
class Load:
    """What became of the requests: each one's status and how long it took [s]."""

    status: Counter[int] = field(default_factory=Counter)
    took: list[float] = field(default_factory=list)

    @property
    def median(self) -> float:
        return statistics.median(self.took)

    def __str__(self) -> str:
        worst = sorted(self.took)
        return (
            f"{len(worst)} requests, {dict(self.status)}: median {self.median:.3f} s, of 100 the 95th "
            f"{worst[int(0.95 * len(worst))]:.3f} s, the longest {worst[-1]:.3f} s"
        )


def new_part(rng: random.Random, most: int = 4) -> Body:
    """A part of one bend or more that nobody has asked about yet and that does not run through itself."""
    while True:
        bends = rng.randint(1, most)
        rows = [
            [rng.randint(260, 600), rng.choice((0, 45, 90, 180)), rng.choice((30, 45, 60, 90))] for _ in range(bends)
        ]
        rows[0][1] = 0
        part = {**RAIL, "shape": {"bend_radius": 76.2, "lra": [*rows, [rng.randint(300, 600)]]}}
        with suppress(SelfCrossing):
            part_from_data(part)
            return part


async def clients(url: str, many: int, seconds: float, ask: Callable[[random.Random], Body], pause: float) -> Load:
    """Let so many clients ask for plans for so long, each with about so long a pause between [s]."""
    load, end = Load(), time.monotonic() + seconds

    async def one(number: int) -> None:
        rng = random.Random(number)
        async with httpx.AsyncClient(base_url=url, timeout=120.0) as client:
            await asyncio.sleep(rng.random() * pause)
            while time.monotonic() < end:
                began = time.monotonic()
                answer = await client.post("/api/1/plan", json=ask(rng))
                load.took.append(time.monotonic() - began)
                load.status[answer.status_code] += 1
                if pause:
                    await asyncio.sleep(rng.expovariate(1.0 / pause))

    await asyncio.gather(*map(one, range(many)))
    return load


class Slow:
    """Connections that send a request's head byte by byte and never come to its end; those given up come again."""

    def __init__(self, port: int, many: int, every: float = 1.0) -> None:
        self._port, self._many, self._every = port, many, every
        self._tasks: list[asyncio.Task[None]] = []
        self.open = 0

    async def __aenter__(self) -> Slow:
        self._tasks = [asyncio.create_task(self._send_slowly()) for _ in range(self._many)]
        return self

    async def __aexit__(self, *_: object) -> None:
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)

    async def _send_slowly(self) -> None:
        while True:
            try:
                _, writer = await asyncio.open_connection("127.0.0.1", self._port)
            except OSError:
                await asyncio.sleep(self._every)
                continue
            self.open += 1
            try:
                while True:
                    writer.write(b"x")
                    await writer.drain()
                    await asyncio.sleep(self._every)
            except OSError:
                pass
            finally:
                self.open -= 1
                writer.close()


async def fetched(url: str, path: str, times: int, pause: float = 0.05) -> Load:
    """Fetch something so often, each time over a new connection."""
    load = Load()
    for _ in range(times):
        began = time.monotonic()
        async with httpx.AsyncClient(base_url=url, timeout=60.0) as client:
            load.status[(await client.get(path)).status_code] += 1
        load.took.append(time.monotonic() - began)
        await asyncio.sleep(pause)
    return load


def memory_of(process: int) -> float:
    """What a process holds of the memory [MB] (Linux tells)."""
    status = Path(f"/proc/{process}/status").read_text(encoding="ascii")
    return next(int(line.split()[1]) for line in status.splitlines() if line.startswith("VmRSS")) / 1024.0


def health(url: str) -> dict[str, Any]:
    """What the server says of itself."""
    found: dict[str, Any] = json.loads(httpx.get(f"{url}health", timeout=60.0).text)
    return found
