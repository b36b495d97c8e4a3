"""Files that the program writes: whole or not at all, and never over anything that was not meant.

A text is first written into a file of its own beside the place, which then takes the place in one step. Where the
program is killed between the two, that file is left over; the next one written in the folder clears it away.
"""

from __future__ import annotations

import contextlib
import os
import re
import stat
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Final

from planner.errors import InputError

REST: Final = ".bendorder-{process}-{number}.rest"
"""Name of a file on its way to its place: short, so that it fits wherever the place's own name does."""

_REST: Final = re.compile(r"\.bendorder-([0-9]+)-[0-9]+\.rest")


class WouldOverwrite(InputError):
    """A file of this name is there already; `path` is the file."""

    def __init__(self, path: Path, allowed: str = "another name, or to overwrite it") -> None:
        self.path = path
        super().__init__(
            f"there is a file {path.name} already", file=str(path), found=path.name, allowed=allowed
        )  # fmt: skip


def may_be_written(path: Path, inputs: Iterable[str | Path | None] = (), force: bool = True) -> None:
    """Refuse a path at which no file can be written, before any work is done for it; raises InputError.

    inputs: files that are read, which nothing may be written over; force: a file that is there may be replaced.
    """
    try:
        _refuse(path, inputs, force)
    except (OSError, ValueError) as error:  # a name too long, or with a zero in it
        raise _refused(path, getattr(error, "strerror", None) or str(error)) from error


def _refuse(path: Path, inputs: Iterable[str | Path | None], force: bool) -> None:
    folder = path.parent
    if path.is_symlink():
        raise _refused(path, "it is a link")
    if path.is_dir():
        raise _refused(path, "it is a folder")
    if not folder.is_dir():
        raise _refused(path, f"there is no folder {folder}")
    if not os.access(folder, os.W_OK):
        raise _refused(path, f"nothing can be written in {folder}")
    if not path.exists():
        return
    if not stat.S_ISREG(path.stat().st_mode):
        raise _refused(path, "it is no file but a device or a pipe")
    for read in inputs:
        if read is not None and Path(read).exists() and path.samefile(read):
            raise _refused(path, "it is a file that is read here")
    if not force:
        raise WouldOverwrite(path, "another name, or --force to overwrite it")


def write_whole(path: Path, text: str) -> None:
    """Write a text file (UTF-8); another one of that name is replaced in one step, or kept if anything fails.

    It keeps the mode of the file that it replaces.
    """
    try:
        path = path.resolve()
        _clear_rests(path.parent)
        handle, name = _begun(path.parent)
        try:
            with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
                file.write(text)
                if path.exists():
                    os.chmod(name, stat.S_IMODE(path.stat().st_mode))
            os.replace(name, path)
        except BaseException:
            name.unlink(missing_ok=True)
            raise
    except (OSError, ValueError) as error:
        raise _refused(path, getattr(error, "strerror", None) or str(error)) from error


def _begun(folder: Path) -> tuple[int, Path]:
    """Return the handle and the name of a new file in a folder, made with the mode that new files have."""
    for number in range(1000):
        name = folder / REST.format(process=os.getpid(), number=number)
        with contextlib.suppress(FileExistsError):
            return os.open(name, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666), name
    raise FileExistsError(f"too many files on their way in {folder}")


def _clear_rests(folder: Path) -> None:
    """Clear away what programs that are no more have left over in a folder."""
    for rest in _rests(folder):
        with contextlib.suppress(OSError):
            rest.unlink()


def _rests(folder: Path) -> Iterator[Path]:
    with contextlib.suppress(OSError):
        for entry in os.scandir(folder):
            match = _REST.fullmatch(entry.name)
            if match is not None and not _runs(int(match[1])):
                yield Path(entry.path)


def _runs(process: int) -> bool:
    """Say whether a process of that number runs here, as far as that can be found out."""
    if os.name != "posix":
        return process == os.getpid()  # on other systems asking may end it
    try:
        os.kill(process, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except OSError:
        return True
    return True


def _refused(path: Path, problem: str) -> InputError:
    return InputError(f"it cannot be written: {problem}", file=str(path), allowed="a file in a folder that exists")
