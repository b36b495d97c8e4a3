"""What runs in a worker process: jobs come through a pipe, answers go back through it, one after another."""

from __future__ import annotations

import traceback
from collections.abc import Callable
from multiprocessing.connection import Connection
from typing import Any

from planner.advice.workers import end_with_parent
from planner.errors import BendorderError


def work_off(connection: Connection, warm_up: Callable[[], object] | None) -> None:
    """Work off jobs, one after another, until the server ends."""
    end_with_parent()
    if warm_up is not None:
        warm_up()
    try:
        while True:
            _work_off_one(connection)
    except (EOFError, OSError):
        pass  # nobody is there any more to work for


def _work_off_one(connection: Connection) -> None:
    def report(sentence: str) -> None:
        connection.send(("report", sentence))

    try:
        task, arguments, time_limit = connection.recv()
    except (EOFError, OSError):
        raise
    except Exception as error:  # it came whole, but does not make sense here
        _send_error(connection, error)
        return
    connection.send(("begun", None))
    try:
        connection.send(("result", task(*arguments, time_limit=time_limit, report=report)))
    except Exception as error:  # the task's, or of pickling what it gives: nothing was sent then
        _send_error(connection, error)


def _send_error(connection: Connection, error: Exception) -> None:
    try:
        connection.send(("error", _as_data(error)))
    except OSError:
        raise
    except Exception:  # of pickling a value that the error carries: nothing was sent
        connection.send(("error", (None, f"{type(error).__name__}: {error}", "")))


def _as_data(error: Exception) -> tuple[Any, ...]:
    """Return an error of the input as its class and fields (its constructor may want others), a fault as its text."""
    if isinstance(error, BendorderError):
        return type(error), error.args, vars(error)
    return None, f"{type(error).__name__}: {error}", "".join(traceback.format_exception(error))
