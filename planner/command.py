"""The command line: runs a command of `planner/commands`, reports every error, and leaves with an exit code.

Standard output carries the page, or with `--json` exactly one document; all else goes to standard error.
Heavy modules are imported inside the commands that use them, so that `--help` answers at once.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import Any

from cyclopts import CycloptsError

from planner.commands import check, machines, plan, serve, shape, verify, why  # noqa: F401  they take their places in the app
from planner.commands.app import (
    BAD_INPUT,
    EXIT_CODES,
    FAULT,
    INTERRUPTED,
    MAKEABLE,
    NOT_WRITTEN,
    READER_LEFT,
    CannotWrite,
    app,
    log,
    silence,
    write,
)

__all__ = ["EXIT_CODES", "app", "main", "run"]


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line (the process's arguments if None) and leave with its exit code."""
    sys.exit(run(sys.argv[1:] if arguments is None else arguments))


def run(arguments: Sequence[str]) -> int:
    """Run the command line and return its exit code; every error has been reported."""
    as_json = "--json" in arguments
    _choose_encoding(as_json or "--csv" in arguments)
    try:
        return _run(arguments, as_json)
    except BrokenPipeError:
        silence(1)  # leave quietly when the reader of standard output has gone, as `| head` does
        return READER_LEFT
    except CannotWrite as error:
        silence(1)
        log(f"bendorder: the answer cannot be written: {error}.")
        return NOT_WRITTEN


def _run(arguments: Sequence[str], as_json: bool) -> int:
    """Run the command line; raises only what keeps the answer from being written."""
    write("")
    try:
        code = app(list(arguments))
        write("")
        return code if isinstance(code, int) else MAKEABLE
    except (BrokenPipeError, CannotWrite):
        raise
    except KeyboardInterrupt:
        return _fail(INTERRUPTED, _evidence("Interrupted", "interrupted, there is no plan"), as_json)
    except CycloptsError as error:
        return _fail(BAD_INPUT, _evidence("UsageError", _usage_message(error)), as_json)
    except Exception as error:
        return _failed(error, as_json)


def _failed(error: Exception, as_json: bool) -> int:
    """Report an error of the input, or else a fault of the program, and return the exit code."""
    from planner.errors import BendorderError

    if isinstance(error, OSError):
        write("")  # raises again where it was standard output that took no more
    if isinstance(error, BendorderError):
        return _fail(BAD_INPUT, error.as_dict(), as_json)
    import traceback

    log("".join(traceback.format_exception(error)).rstrip())
    message = f"a fault of bendorder itself: {type(error).__name__}: {error}"
    return _fail(FAULT, _evidence("Fault", message), as_json)


def _fail(code: int, error: dict[str, Any], as_json: bool) -> int:
    """Say once what went wrong, on standard error or as the one document, and return the exit code."""
    if as_json:
        from planner.outputs.documents import as_json as json_text
        from planner.outputs.documents import error_document

        write(json_text(error_document(error)))
    else:
        log(f"bendorder: {error['message']}")
    return code


def _evidence(kind: str, message: str) -> dict[str, Any]:
    """Return an error that is not the input's in the same form as one that is."""
    return {"kind": kind, "message": message}


def _usage_message(error: CycloptsError) -> str:
    """Return what is wrong with the command line, and where to read more."""
    command = " ".join(["bendorder", *(error.command_chain or ())])
    return f"{str(error).strip()} See: {command} --help"


def _choose_encoding(as_data: bool) -> None:
    """Write JSON and CSV in UTF-8 always, pages in the terminal's encoding with a ? for what it cannot show."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(encoding="utf-8" if as_data and stream is sys.stdout else None, errors="replace")
