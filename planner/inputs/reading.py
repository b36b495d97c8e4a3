"""The bytes of a file that somebody hands in: regular files only, no longer than they may be, and shallow.

What no part and no profile ever is, is refused before it is parsed: parsers take minutes and gigabytes for a few
thousand keys in one another, or for numbers of thousands of digits.
"""

from __future__ import annotations

import contextlib
import os
import re
import stat
from pathlib import Path
from typing import Final

from planner.errors import UnreadableFile, nearest_name

LARGEST_FILE: Final = 5_000_000
"""Files beyond this are no part and no profile [bytes]."""

MOST_NESTED: Final = 32
"""Lists and tables in one another."""

MOST_DOTTED: Final = 16
"""Keys in a row with dots between."""

MOST_DIGITS: Final = 1_000
"""Digits of a number: three times as many as the greatest that there is."""

MOST_ENTRIES: Final = 50_000
"""Lines, commas or brackets: no part has so many bends, no profile so many solids."""

_TOKEN: Final = re.compile(r'"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'|#[^\n]*|[\[{]|[\]}]')
_DOTTED: Final = re.compile(
    rf"""(?<![A-Za-z0-9_-])(?:(?:[A-Za-z0-9_-]++|"[^"\n]*+"|'[^'\n]*+')[ \t]*+\.[ \t]*+){{{MOST_DOTTED}}}"""
)
_DIGITS: Final = re.compile(rf"(?<![0-9_])[0-9_]{{{MOST_DIGITS}}}")
"""Both begin only where a word does, and never go back over it, so that they take one pass."""


def read_bytes(path: Path, what: str, largest: int = LARGEST_FILE) -> bytes:
    """Return the bytes of a regular file; raises UnreadableFile. `what` names it in errors ("the part file").

    What is no regular file is not waited for: a pipe never ends, and a device may have no end.
    """
    try:
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
        with os.fdopen(handle, "rb") as file:
            mode = os.fstat(handle).st_mode
            if not stat.S_ISREG(mode):
                found = "a folder" if stat.S_ISDIR(mode) else "a device or a pipe"
                raise UnreadableFile(
                    f"{what} cannot be read: it is {found}", file=str(path), found=found, allowed="a regular file"
                )
            data = file.read(largest + 1)
    except FileNotFoundError:
        raise _missing(path, what) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise UnreadableFile(f"{what} cannot be read: {reason}", file=str(path), allowed="a readable file") from None
    if len(data) > largest:
        size = f"{largest // 1_000_000} MB"
        raise UnreadableFile(f"{what} is larger than {size}", file=str(path), allowed=f"a file of less than {size}")
    return data


def read_text(path: Path, what: str, largest: int = LARGEST_FILE) -> str:
    """Return the text of a regular file in UTF-8; raises UnreadableFile."""
    return text_of(read_bytes(path, what, largest), what, str(path))


def text_of(data: bytes, what: str, file: str) -> str:
    """Return bytes as text; raises UnreadableFile that calls them `what` and says that they are of `file`."""
    try:
        return data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise UnreadableFile(
            f"{what} is no UTF-8 text (byte {error.start + 1})", file=file, line=line, allowed="text in UTF-8"
        ) from None


def screen(text: str, file: str) -> None:
    """Refuse a text that no part and no profile is, before it is parsed; raises UnreadableFile with the line."""
    for problem, allowed, at in (
        ("a number has too many digits", f"numbers of up to {MOST_DIGITS} digits", _first(_DIGITS, text)),
        ("keys stand in one another too deep", f"up to {MOST_DOTTED} keys with dots between", _first(_DOTTED, text)),
        ("lists are nested too deep", f"up to {MOST_NESTED} lists and tables in one another", _too_deep(text)),
        ("there are too many entries", f"up to {MOST_ENTRIES:,} lines, lists or commas", _too_many(text)),
    ):
        if at is not None:
            line = text.count("\n", 0, at) + 1
            raise UnreadableFile(f"this is no such file: {problem}", file=file, line=line, allowed=allowed)


def _first(pattern: re.Pattern[str], text: str) -> int | None:
    match = pattern.search(text)
    return None if match is None else match.start()


def _too_deep(text: str) -> int | None:
    depth = 0
    for token in _TOKEN.finditer(text):
        if token[0] in "[{":
            depth += 1
            if depth > MOST_NESTED:
                return token.start()
        elif token[0] in "]}":
            depth -= 1
    return None


def _too_many(text: str) -> int | None:
    for mark in "\n,[{=:":
        if text.count(mark) > MOST_ENTRIES:
            return _nth(text, mark, MOST_ENTRIES)
    return None


def _nth(text: str, mark: str, number: int) -> int:
    at = -1
    for _ in range(number):
        at = text.find(mark, at + 1)
    return at


def first_surrogate(value: object, path: tuple[str | int, ...] = ()) -> tuple[str | int, ...] | None:
    """Return where in a document a text stands that is none: half of a pair, which nothing can write."""
    if isinstance(value, str):
        return path if any("\ud800" <= letter <= "\udfff" for letter in value) else None
    pairs: list[tuple[str | int, object]] = []
    if isinstance(value, dict):
        wrong = next((key for key in value if first_surrogate(key) is not None), None)
        if wrong is not None:
            return path
        pairs = list(value.items())
    elif isinstance(value, list):
        pairs = list(enumerate(value))
    found = (first_surrogate(inner, (*path, step)) for step, inner in pairs)
    return next((one for one in found if one is not None), None)


def _missing(path: Path, what: str) -> UnreadableFile:
    beside: list[str] = []
    with contextlib.suppress(OSError):
        beside = [entry.name for entry in path.parent.iterdir()]
    meant = nearest_name(path.name, beside)
    return UnreadableFile(
        f"there is no such file ({what})", file=str(path), found=str(path), allowed="an existing file",
        suggestion=None if meant is None else str(path.parent / meant),
    )  # fmt: skip
