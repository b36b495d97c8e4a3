"""What is saved from the page: parts and machines as TOML, into the chosen folder only, and whole or not at all.

The same document makes the same bytes: there is no date in a file.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from planner.errors import InputError
from planner.outputs.whole_files import WouldOverwrite, may_be_written, write_whole
from planner.page.lengths import text_of

LONGEST_NAME: Final = 80
"""Bytes of a file's name before its ending: far below what any file system takes, the name of a file on its way too."""

RESERVED: Final = frozenset(
    ["con", "prn", "aux", "nul", "clock", *(f"{port}{number}" for port in ("com", "lpt") for number in range(10))]
)
"""Names that mean a device on Windows, whatever their ending."""

_ESCAPED: Final = {
    '"': '\\"', "\\": "\\\\", "\b": "\\b", "\t": "\\t", "\n": "\\n", "\f": "\\f", "\r": "\\r",
}  # fmt: skip


def file_name(name: str, otherwise: str = "part") -> str:
    """Return a file's name without ending for the name of a part or machine: letters and digits with hyphens between.

    Accents are left off; otherwise: what it is called if nothing is left of the name.
    """
    plain = "".join(c for c in unicodedata.normalize("NFKD", name) if not unicodedata.combining(c))
    words = "".join(c if c.isalnum() else "-" for c in plain.lower().replace("ß", "ss"))
    words = "".join(c if c.isalnum() else "-" for c in unicodedata.normalize("NFC", words))
    stem = re.sub(r"-+", "-", words).strip("-")
    stem = stem.encode("utf-8", "ignore")[:LONGEST_NAME].decode("utf-8", "ignore").strip("-")
    if stem in RESERVED:
        return f"{stem}-{otherwise}"
    return stem or otherwise


def save(folder: Path, name: str, text: str, overwrite: bool = False, ending: str = ".toml") -> Path:
    """Write a text into a file of the folder that is named after a part or machine; returns its path.

    Raises WouldOverwrite where there is such a file, InputError where it cannot be written or leads out of the folder.
    """
    if re.fullmatch(r"\.[a-z0-9]{1,8}", ending) is None:
        raise InputError("this is no ending of a file", found=ending, allowed='such as ".toml"')
    path = folder / (file_name(name) + ending)
    try:
        place, home = path.resolve(), folder.resolve()
    except (OSError, RuntimeError):  # a ring of links
        raise _outside(path) from None
    if place.parent != home:
        raise _outside(path)
    may_be_written(place)
    if place.exists() and not overwrite:
        raise WouldOverwrite(path)
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        raise InputError(
            "the text cannot be written as UTF-8", file=str(path), allowed="letters, digits, signs"
        ) from None
    write_whole(place, text)
    return path


def _outside(path: Path) -> InputError:
    """Return the refusal of a file that is a link to somewhere else."""
    return InputError("it is a link that leads out of the folder", file=str(path), allowed="a file in the folder")


def part_toml(document: Mapping[str, Any]) -> str:
    """Return the TOML of a part file's document, in its own units; loading it gives the same part."""
    return _toml(document, "A part, written by bendorder.")


def machine_toml(document: Mapping[str, Any]) -> str:
    """Return the TOML of a machine profile's document, in its own units; loading it gives the same machine."""
    return _toml(document, "A machine profile, written by bendorder.")


def _toml(document: Mapping[str, Any], comment: str) -> str:
    """Return a document of tables, one deep: what lies deeper is written on the table's own lines."""
    plain = {key: value for key, value in document.items() if not _is_table(value) and not _are_tables(value)}
    lines = [f"# {comment}", *_lines(plain)]
    for key, value in document.items():
        if _is_table(value):
            lines += ["", f"[{_key(key)}]", *_lines(value)]
        elif _are_tables(value):
            for table in value:
                lines += ["", f"[[{_key(key)}]]", *_lines(table)]
    return "\n".join(lines) + "\n"


def _is_table(value: object) -> bool:
    return isinstance(value, Mapping)


def _are_tables(value: object) -> bool:
    return isinstance(value, list | tuple) and len(value) > 0 and all(map(_is_table, value))


def _lines(table: Mapping[str, Any]) -> list[str]:
    """Return the keys of a table, a line each; rows of a table of numbers a line each."""
    lines = []
    for key, value in table.items():
        if value is None:
            continue
        if key in ("lra", "xyz") and isinstance(value, list | tuple) and len(value) > 0:
            rows = "".join(f"\n  {_value(row)}," for row in value)
            lines.append(f"{_key(key)} = [{rows}\n]")
        else:
            lines.append(f"{_key(key)} = {_value(value)}")
    return lines


def _key(key: str) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else _string(key)


def _value(value: object) -> str:
    """Return a value on one line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _string(value)
    if isinstance(value, int | float):
        return text_of(value)
    if isinstance(value, Mapping):
        return f"{{ {', '.join(f'{_key(key)} = {_value(one)}' for key, one in value.items() if one is not None)} }}"
    if isinstance(value, Sequence):
        return f"[{', '.join(map(_value, value))}]"
    raise TypeError(f"no document holds {type(value).__name__}")


def _string(text: str) -> str:
    """Return a text in quotes."""
    return '"' + "".join(_ESCAPED.get(c) or (f"\\u{ord(c):04X}" if c < " " or c == "\x7f" else c) for c in text) + '"'
