"""Where machine profiles are looked for, and which there are. A profile's name is its file's, without the
ending.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from planner.errors import InputError, UnknownMachine

ENVIRONMENT: Final = "BENDORDER_PROFILES"
"""Names a folder of profiles."""

FOLDER: Final = "machine_profiles"


@dataclass(frozen=True)
class Profile:
    """A profile that was found: its name (the file's stem) and its path."""

    name: str
    path: Path


def list_profiles(profiles: Path | None = None) -> tuple[Profile, ...]:
    """Return the profiles there are, by name; of two with one name the one that is looked for first.

    profiles: a folder to look in first. Raises InputError if it, or the environment's folder, is no folder.
    """
    found: dict[str, Profile] = {}
    for folder in search_folders(profiles):
        for path in sorted(folder.iterdir()) if folder.is_dir() else ():
            if path.suffix.lower() in (".toml", ".json") and path.is_file():
                found.setdefault(path.stem, Profile(path.stem, path))
    return tuple(found[name] for name in sorted(found))


def find_profile(name: str, profiles: Path | None = None) -> Profile:
    """Return the profile of a name; raises UnknownMachine, which lists the names there are."""
    known = list_profiles(profiles)
    for profile in known:
        if profile.name == name:
            return profile
    raise UnknownMachine(name, [profile.name for profile in known])


def search_folders(profiles: Path | None = None) -> tuple[Path, ...]:
    """Return the folders that are looked through, first to last: the given one, the environment's, the
    platform's configuration folder, and the profiles that come with the program. The last two need not exist.
    """
    folders = []
    if profiles is not None:
        folders.append(_existing(Path(profiles), "--profiles"))
    named = os.environ.get(ENVIRONMENT, "")
    if named:
        folders.append(_existing(Path(named), ENVIRONMENT))
    return (*folders, configuration_folder(), packaged_folder())


def configuration_folder(platform: str = sys.platform, environment: Mapping[str, str] = os.environ) -> Path:
    """Return the user's folder of profiles on this platform."""
    home = Path(environment.get("HOME") or environment.get("USERPROFILE") or "~").expanduser()
    if platform == "win32":
        base = Path(environment.get("APPDATA") or home / "AppData" / "Roaming")
    elif platform == "darwin":
        base = home / "Library" / "Application Support"
    else:
        base = Path(environment.get("XDG_CONFIG_HOME") or home / ".config")
    return base / "bendorder" / FOLDER


def packaged_folder() -> Path:
    """Return the folder of the profiles that come with the program: in the package, or beside it in a source
    tree.
    """
    package = Path(__file__).resolve().parent.parent
    inside = package / FOLDER
    return inside if inside.is_dir() else package.parent / FOLDER


def _existing(folder: Path, key: str) -> Path:
    """Return the folder; raises InputError if there is none."""
    if not folder.is_dir():
        raise InputError(
            f'"{folder}" is no folder',
            key=key,
            found=str(folder),
            allowed="an existing folder of machine profiles",
        )
    return folder
