"""Which line of a TOML or JSON file a key or a list's entry stands on.

The parsers of the standard library keep no places, so the text is walked once more. It has been parsed
before, so the walk may rely on its being well formed. A path is a tuple of keys and of list indices from 0.
"""

from __future__ import annotations

import json
import re
from typing import Final

Path = tuple[str | int, ...]

_BLANK: Final = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_GAP: Final = re.compile(r"[ \t]*")
_BARE_KEY: Final = re.compile(r"[A-Za-z0-9_-]+")
_STRING: Final = re.compile(
    r'"""(?:[^"\\]|\\.|"(?!""))*"{3,5}'
    r"|'''(?:[^']|'(?!''))*'{3,5}"
    r'|"(?:[^"\\]|\\.)*"'
    r"|'[^']*'",
    flags=re.DOTALL,
)
_SCALAR: Final = re.compile(r"[^,\]}\n#]+")


def lines_of_toml(text: str) -> dict[Path, int]:
    """Return the line, from 1, of every table, key and list entry of a TOML text."""
    return _Toml(text).walk()


def lines_of_json(text: str) -> dict[Path, int]:
    """Return the line, from 1, of every key and list entry of a JSON text."""
    walker = _KeyWalker(text)
    walker.skip_blank()
    walker.value(())
    return walker.lines


class _KeyWalker:
    """Walks values: JSON's, and TOML's, which only write keys in another way."""

    separator = ":"

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.lines: dict[Path, int] = {}
        self._counted_to, self._line = 0, 1

    def mark(self, path: Path) -> None:
        """Note that `path` stands on the present line, unless it was met before."""
        self._line += self.text.count("\n", self._counted_to, self.at)
        self._counted_to = self.at
        self.lines.setdefault(path, self._line)

    def take(self, pattern: re.Pattern[str]) -> str:
        """Step over what the pattern matches here, if it does, and return it."""
        match = pattern.match(self.text, self.at)
        if match is None:
            return ""
        self.at = match.end()
        return match[0]

    def skip_blank(self) -> None:
        """Step over blanks, line ends and comments."""
        self.take(_BLANK)

    def peek(self) -> str:
        """Return the next character, empty at the end."""
        return self.text[self.at : self.at + 1]

    def value(self, path: Path) -> None:
        """Step over a value and mark what is in it."""
        opening = self.peek()
        if opening == "[":
            self._list(path)
        elif opening == "{":
            self._table(path)
        elif not self.take(_STRING):
            self.take(_SCALAR)

    def _list(self, path: Path) -> None:
        self.at += 1
        index = 0
        self.skip_blank()
        while self.peek() not in ("]", ""):
            self.mark((*path, index))
            self.value((*path, index))
            index += 1
            self._skip_comma()
        self.at += 1

    def _table(self, path: Path) -> None:
        self.at += 1
        self.skip_blank()
        while self.peek() not in ("}", ""):
            self.pair(path)
            self._skip_comma()
        self.at += 1

    def _skip_comma(self) -> None:
        self.skip_blank()
        if self.peek() == ",":
            self.at += 1
            self.skip_blank()

    def pair(self, path: Path) -> None:
        """Step over a key and its value, each part of a dotted key marked."""
        key = path
        for part in self.key():
            key = (*key, part)
            self.mark(key)
        self.skip_blank()
        self.at += len(self.separator)
        self.skip_blank()
        self.value(key)

    def key(self) -> list[str]:
        """Step over a key."""
        return [str(json.loads(self.take(_STRING)))]


class _Toml(_KeyWalker):
    """Walks TOML: tables, lists of tables, bare, quoted and dotted keys."""

    separator = "="

    def __init__(self, text: str) -> None:
        super().__init__(text)
        self._entries: dict[Path, int] = {}

    def walk(self) -> dict[Path, int]:
        """Return the lines of the whole text."""
        table: Path = ()
        self.skip_blank()
        while self.peek():
            if self.peek() == "[":
                table = self._header()
            else:
                self.pair(table)
            self.skip_blank()
        return self.lines

    def _header(self) -> Path:
        """Step over [table] or [[list of tables]] and return its path, with the number of the entry."""
        many = self.text.startswith("[[", self.at)
        self.at += 2 if many else 1
        path: Path = ()
        keys = self.key()
        for place, part in enumerate(keys):
            path = (*path, part)
            self.mark(path)
            if many and place == len(keys) - 1:
                self._entries[path] = self._entries.get(path, -1) + 1
            if path in self._entries:
                path = (*path, self._entries[path])
                self.mark(path)
        self.at += 2 if many else 1
        return path

    def key(self) -> list[str]:
        """Step over a key, dotted or not."""
        parts = []
        while True:
            self.take(_GAP)
            quoted = self.take(_STRING)
            if quoted:
                parts.append(json.loads(quoted) if quoted[0] == '"' else quoted[1:-1])
            else:
                parts.append(self.take(_BARE_KEY))
            self.take(_GAP)
            if self.peek() != ".":
                return parts
            self.at += 1
