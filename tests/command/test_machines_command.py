"""`bendorder machines NAME`: the profile in full, and what looking it over found."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from planner.command import run
from planner.inputs.profiles import packaged_folder

CLEAN = (packaged_folder() / "canal-workshop.toml").read_text(encoding="utf-8")


@pytest.fixture
def spoiled(tmp_path: Path) -> Path:
    """The profile with its bed raised by 20 mm, into the arm and the carriage."""
    path = tmp_path / "raised.toml"
    assert "to = [-120, 120, -215]" in CLEAN
    path.write_text(CLEAN.replace("to = [-120, 120, -215]", "to = [-120, 120, -195]"), encoding="utf-8")
    return path


def test_a_shipped_profile_is_said_to_be_clean(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["machines", "canal-workshop"]) == 0
    assert capsys.readouterr().out.endswith("\nLooked over: clean\n")


def test_what_is_found_is_listed_at_the_end(spoiled: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["machines", str(spoiled)]) == 0
    said = capsys.readouterr().out.split("\nLooked over\n")[1].splitlines()
    assert [line[:60] for line in said if line.startswith("  -")] == [
        "  -  In the profile the carriage runs into the bed, 20.0 mm ",
    ]


def test_the_document_carries_remarks_and_notes(spoiled: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["machines", str(spoiled), "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    (remark,) = document["remarks"]
    assert (remark["kind"], remark["names"], remark["depth"]) == ("solids overlap", ["carriage", "bed"], 20.0)
    assert remark["sentence"].startswith("In the profile the carriage runs into the bed, 20.0 mm deep, near (")
    assert document["notes"] == []
    assert run(["machines", "three-axis", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["remarks"] == []
