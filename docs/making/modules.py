"""The map of modules: each with the first sentence that it says of itself, by folder, in the order data flows."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Final

ROOT: Final = Path(__file__).resolve().parents[2]
PACKAGE: Final = ROOT / "planner"
MAP: Final = ROOT / "docs" / "map.md"

SAYS: Final = {".py": "docstring", ".js": "comment", ".css": "comment"}
"""What kinds of files are modules, and what they say of themselves in."""


def folders() -> list[str]:
    """Return the folders of the program in the order in which the page of the map lists them."""
    listed = re.findall(r"^\| `(\w+)/` \|", MAP.read_text(encoding="utf-8"), re.MULTILINE)
    return [name for name in listed if (PACKAGE / name).is_dir()]


def modules_of(folder: Path) -> list[Path]:
    """Return the modules that lie in a folder itself, by name."""
    found = (path for path in folder.iterdir() if path.suffix in SAYS and path.name != "__init__.py")
    return sorted(path for path in found if path.name != "__main__.py")


def packages() -> Iterator[Path]:
    """Yield the program's folders and those in them, outer before inner; the program's own comes last."""
    for name in folders():
        inner = [path for path in (PACKAGE / name).rglob("*") if path.is_dir() and path.name != "__pycache__"]
        yield from (PACKAGE / name, *sorted(inner))
    yield PACKAGE


def about(path: Path) -> str:
    """Return the first sentence that a module, or a folder, says of itself; nothing where it says none."""
    if path.is_dir():
        return about(path / "__init__.py") if (path / "__init__.py").exists() else ""
    text = path.read_text(encoding="utf-8")
    said = ast.get_docstring(ast.parse(text)) or "" if path.suffix == ".py" else _comment(text)
    sentence = re.match(r".+?(?:[.?!](?=\s|$)|\n\n|$)", said, re.DOTALL)
    return " ".join(sentence[0].split()) if sentence else ""


def _comment(text: str) -> str:
    """Return the comment that a script or a style sheet begins with."""
    lines = re.match(r"(?:\s*//[^\n]*\n)+|\s*/\*.*?\*/", text, re.DOTALL)
    return re.sub(r"^\s*(?://|/\*)|\*/", "", lines[0], flags=re.MULTILINE).strip() if lines else ""


def map_of_modules() -> str:
    """Return a list of modules for each folder."""
    return "\n".join(_folder(folder) for folder in packages() if modules_of(folder))


def _folder(folder: Path) -> str:
    name = folder.relative_to(ROOT).as_posix()
    listed = "".join(f"| `{path.name}` | {about(path).replace('|', chr(92) + '|')} |\n" for path in modules_of(folder))
    return f"### `{name}`\n\n{about(folder)}\n\n| module | what it is |\n| --- | --- |\n{listed}"
