"""`bendorder why` in this process: the page, the document, the picture, bad input."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from planner.advice.why import why
from planner.command import run
from planner.plans.document import Plan
from tests.advice.pages import LOFT, TILLER, WHARF
from tests.advice.parts import (
    EXAMPLES,
    example,
)

WHARF_FILE = str(EXAMPLES / "wharf-rail.toml")
TILLER_FILE = str(EXAMPLES / "tiller-bracket.toml")
LOFT_FILE = str(EXAMPLES / "loft-rail.toml")


def test_the_command_prints_the_page_and_leaves_with_the_parts_verdict(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["why", WHARF_FILE]) == 0
    assert capsys.readouterr().out == WHARF
    assert run(["why", LOFT_FILE, "--no-changes"]) == 1
    assert capsys.readouterr().out == LOFT


def test_the_command_says_what_would_make_a_part_possible_too(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["why", TILLER_FILE]) == 1
    assert capsys.readouterr().out == TILLER
    assert run(["why", TILLER_FILE, "--json"]) == 1
    answer = json.loads(capsys.readouterr().out)
    assert run(["plan", TILLER_FILE, "--changes", "--json"]) == 1
    document = json.loads(capsys.readouterr().out)
    assert document["changes"] == answer["changes"]
    assert Plan.model_validate(document).changes[0].sentence in " ".join(" ".join(TILLER.splitlines()[8:]).split())
    assert run(["plan", TILLER_FILE, "--changes"]) == 1
    page = capsys.readouterr().out
    assert "What would make it possible" in page
    assert "Straight 1 longer by 21.0 mm: 76.0 mm on the drawing instead of 55.0 mm." in page


def test_of_what_can_be_made_no_change_is_sought(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["plan", WHARF_FILE, "--changes", "--json"]) == 0
    captured = capsys.readouterr()
    assert json.loads(captured.out)["changes"] == []
    assert "Would it go" not in captured.err
    assert why(*example("wharf-rail"), machines=()).changes is None


def test_a_profile_that_cannot_be_read_is_told_of_and_the_others_are_tried(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "broken.toml").write_text("name = 3", encoding="utf-8")
    assert run(["why", TILLER_FILE, "--profiles", str(tmp_path)]) == 1
    captured = capsys.readouterr()
    assert captured.out == TILLER
    assert "not tried: " in captured.err
    assert "broken.toml" in captured.err


def test_the_command_writes_json_and_the_picture(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    picture = tmp_path / "wharf.svg"
    assert run(["why", WHARF_FILE, "--order", "3B 2B 1B", "--json", "--svg", str(picture)]) == 0
    captured = capsys.readouterr()
    assert json.loads(captured.out)["asked"]["verdict"] == "goes"
    assert picture.read_text(encoding="utf-8").startswith("<svg ")
    assert "picture written" in captured.err


def test_of_a_part_that_cannot_be_made_no_picture_is_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["why", LOFT_FILE, "--no-changes", "--svg", str(tmp_path / "loft.svg")]) == 1
    assert list(tmp_path.iterdir()) == []
    assert "no picture" in capsys.readouterr().err


def test_an_order_that_is_none_is_bad_input_for_the_command(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["why", WHARF_FILE, "--order", "3B 2B 1C"]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert '"1C" is no bend with a leading end' in captured.err
