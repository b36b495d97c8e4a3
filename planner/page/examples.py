"""The examples that come with the program, and the workshop's own part files."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final

from planner.errors import InputError, nearest_name

FOLDER: Final = "examples"


@dataclass(frozen=True)
class ExamplePart:
    """A part file: its name (the file's, without the ending), its path, and the comment that it begins with."""

    name: str
    path: Path
    about: str


def example_parts(folder: Path | None = None) -> tuple[ExamplePart, ...]:
    """Return the part files of a folder by name, the examples' if None; raises InputError if it is no folder."""
    looked_in = packaged_folder() if folder is None else folder
    if folder is not None and not folder.is_dir():
        raise InputError(
            f'"{folder}" is no folder', key="--folder", found=str(folder), allowed="an existing folder of part files"
        )
    if not looked_in.is_dir():
        return ()
    files = [path for path in sorted(looked_in.iterdir()) if path.suffix.lower() in (".toml", ".json")]
    return tuple(ExamplePart(path.stem, path, _about(path)) for path in files if path.is_file())


def example_part(name: str, parts: tuple[ExamplePart, ...]) -> ExamplePart:
    """Return the part file of a name; raises UnknownPart."""
    for part in parts:
        if part.name == name:
            return part
    raise UnknownPart(name, [part.name for part in parts])


class UnknownPart(InputError):
    """There is no part file of this name; `known` lists the names there are."""

    def __init__(self, name: str, known: list[str]) -> None:
        self.known = tuple(known)
        super().__init__(
            f'there is no part "{name}"',
            found=name,
            allowed=", ".join(known) if known else "no part file was found at all",
            suggestion=nearest_name(name, known),
        )


def packaged_folder() -> Path:
    """Return the folder of the examples: in the package, or beside it in a source tree."""
    package = Path(__file__).resolve().parent.parent
    inside = package / FOLDER
    return inside if inside.is_dir() else package.parent / FOLDER


def _about(path: Path) -> str:
    """Return the comment at the head of a file in one line; empty if there is none, or the file cannot be read."""
    lines = []
    try:
        with path.open(encoding="utf-8") as file:
            for line in file:
                if not line.startswith("#"):
                    break
                lines.append(line.lstrip("#").strip())
    except (OSError, UnicodeDecodeError):
        return ""
    return " ".join(lines)
