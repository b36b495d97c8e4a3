"""Files that the program writes: whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from planner.errors import InputError


def may_be_written(path: Path) -> None:
    """Refuse a path at which no file can be written, before any work is done for it; raises InputError."""
    folder = path.resolve().parent
    if path.is_dir():
        raise _refused(path, "it is a folder")
    if not folder.is_dir():
        raise _refused(path, f"there is no folder {folder}")
    if not os.access(folder, os.W_OK):
        raise _refused(path, f"nothing can be written in {folder}")


def write_whole(path: Path, text: str) -> None:
    """Write a text file (UTF-8); another one of that name is replaced in one step, or kept if anything fails."""
    try:
        handle, name = tempfile.mkstemp(dir=path.resolve().parent, prefix=f".{path.name}.")
        try:
            with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
                file.write(text)
            os.chmod(name, 0o666 & ~_mask())
            os.replace(name, path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise _refused(path, error.strerror or str(error)) from error


def _mask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _refused(path: Path, problem: str) -> InputError:
    return InputError(f"it cannot be written: {problem}", file=str(path), allowed="a file in a folder that exists")
