"""What is installed with the program: the lowest versions that it allows, and those it was tested with, each with hashes.

The lists are made by uv (`pip compile --generate-hashes`, `--resolution lowest-direct`); CI plans every example with both.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
LISTS = ROOT / "requirements"
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]


def pinned(name: str) -> dict[str, str]:
    """Names and versions of a list."""
    lines = (LISTS / name).read_text(encoding="utf-8").splitlines()
    return dict(match.groups() for line in lines if (match := re.match(r"([a-z0-9-]+)(?:\[.*\])?==([^ ;]+)", line)))


def lowest_allowed() -> dict[str, str]:
    """Names and least versions of what the program itself asks for."""
    found = {}
    for entry in PROJECT["dependencies"]:
        match = re.match(r"([a-z0-9-]+)(?:>=|==)([0-9.]+)", entry)
        assert match, entry
        found[match[1]] = match[2]
    return found


def test_the_lowest_list_has_the_least_versions_that_the_project_allows() -> None:
    numbers = {name: version.split(".") for name, version in pinned("lowest.txt").items()}
    for name, least in lowest_allowed().items():
        wanted = least.split(".")
        assert numbers[name][: len(wanted)] == wanted, name
        assert set(numbers[name][len(wanted) :]) <= {"0"}, name


def test_what_is_tested_has_all_that_the_project_asks_for() -> None:
    assert set(lowest_allowed()) <= set(pinned("run.txt"))
    assert set(pinned("run.txt").items()) <= set(pinned("test.txt").items())
    assert set(pinned("run.txt").items()) <= set(pinned("docs.txt").items())
    for extra, name in (("page", "test.txt"), ("test", "test.txt"), ("docs", "docs.txt")):
        named = {re.match(r"[A-Za-z0-9-]+", entry)[0].lower() for entry in PROJECT["optional-dependencies"][extra]}  # type: ignore[index]
        assert named - {"bendorder"} <= set(pinned(name))


@pytest.mark.parametrize("name", ["lowest.txt", "run.txt", "test.txt", "docs.txt"])
def test_every_package_of_a_list_has_hashes_and_no_address(name: str) -> None:
    text = (LISTS / name).read_text(encoding="utf-8")
    entries = re.split(r"\n(?=[a-z0-9])", text)
    assert len(entries) == len(pinned(name)) >= 20
    assert all("--hash=sha256:" in entry for entry in entries)
    assert not re.search(r"index-url|find-links|https?:|file:", text)


def test_every_package_that_is_installed_with_the_program_has_its_licence_in_the_pages() -> None:
    page = (ROOT / "docs" / "installed.md").read_text(encoding="utf-8")
    missing = [name for name in pinned("run.txt") if f"| {name} |" not in page]
    assert not missing, missing
