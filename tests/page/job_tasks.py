"""What the worker processes of the tests do; a module of its own, so that they need not import the tests."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from planner.errors import InputError, NoTooling, SelfCrossing, UnknownMachine, UnreadableFile

Report = Callable[[str], None]

WARM: list[str] = []

ERRORS: dict[str, Callable[[], Exception]] = {
    "InputError": lambda: InputError(
        "it cannot stand here", file="rail.toml", line=3, column=7, key="tube.wall", found={"wall": [1, None]},
        allowed="more than 0", suggestion="wall",
    ),
    "UnreadableFile": lambda: UnreadableFile("there is no such file", file="rail.toml"),
    "UnknownMachine": lambda: UnknownMachine("canal", ["canal-workshop", "long-bed"], file="rail.toml", line=2),
    "NoTooling": lambda: NoTooling("long bed", 38.1, 76.2, [(50.8, 101.6)], key="tooling"),
    "SelfCrossing": lambda: SelfCrossing("straight 1", "bend 3", 4.5, (1.0, 2.0, -3.0), file="rail.toml"),
}  # fmt: skip


def get_warm() -> None:
    WARM.append("warm")


def fail_to_start() -> None:
    raise OSError("no room")


def how_warm(**_: object) -> list[str]:
    return WARM


def pid(**_: object) -> int:
    return os.getpid()


def echoed(value: Any, *, time_limit: float | None, report: Report) -> tuple[Any, float | None]:
    for word in ("first", "second"):
        report(word)
    return value, time_limit


def raises(name: str, **_: object) -> None:
    raise ERRORS[name]()


def reads_past_the_end(**_: object) -> None:
    raise EOFError("as if the pipe had ended")


def breaks(**_: object) -> None:
    raise RuntimeError("a broken assumption")


def unsendable(**_: object) -> object:
    return threading.Lock()


def ends_itself(code: int, **_: object) -> None:
    os._exit(code)


def hangs(begun: str | None = None, *, report: Report, **_: object) -> None:
    """Tell the process's id, then do not end for ten minutes, whatever the time limit says."""
    if begun is not None:
        Path(begun).touch()
    report(str(os.getpid()))
    time.sleep(600.0)


def never_ready() -> None:
    """Keep a process from its first job for ten minutes."""
    time.sleep(600.0)


def waits_for(file: str, *, report: Report, **_: object) -> int:
    """Go on when a file is there."""
    report("begun")
    deadline = time.monotonic() + 300.0
    while not Path(file).exists() and time.monotonic() < deadline:
        time.sleep(0.01)
    return os.getpid()


def hangs_whatever_it_is_given(*_: object, report: Report, **__: object) -> None:
    """Hang in the place of a task of the page."""
    hangs(report=report)


def breaks_whatever_it_is_given(*_: object, **__: object) -> None:
    """Fail in the place of a task of the page."""
    breaks()


def tells_its_time_limit(*_: object, time_limit: float | None, **__: object) -> None:
    """Say in an error what time limit was given."""
    raise InputError("the time limit", found=time_limit)


def says(text: str, **_: object) -> str:
    return text


def says_when(file: str, text: str, *, report: Report, **_: object) -> str:
    """Say it when a file is there."""
    waits_for(file, report=report)
    return text


def takes(seconds: float, **_: object) -> str:
    time.sleep(seconds)
    return "took its time"


def get_ready_slowly() -> None:
    time.sleep(1.0)
