"""`plan --proof` and `verify`: a proof written, confirmed, and refused when it was changed or speaks of something else."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from planner.command import run

pytestmark = pytest.mark.usefixtures("workshop")

Captured = pytest.CaptureFixture[str]
PLAN = ["plan", "rail.toml", "--profiles", "profiles"]
NAMED = ["-m", "towpath-bender", "--profiles", "profiles"]


@pytest.fixture
def proof(workshop: Path, capsys: Captured) -> Path:
    """The proof of the part in the working directory."""
    assert run([*PLAN, "--proof", "proof.json"]) == 0
    capsys.readouterr()
    return workshop / "proof.json"


def test_a_proof_is_written_beside_the_plan_and_confirmed_in_a_line_with_whose_it_is_and_what_was_not_checked(
    proof: Path, capsys: Captured
) -> None:
    assert run(["verify", str(proof)]) == 0
    captured = capsys.readouterr()
    assert captured.out.startswith("Confirmed: makeable with 1 re-clamp and 11 mm of trim, the least there is; ")
    _, whose, *unchecked = captured.out.splitlines()
    assert whose.startswith('Part "')
    assert unchecked[0].startswith("Not checked: handling times;")
    assert max(map(len, unchecked)) <= 100
    assert "audited in" in captured.err


def test_a_proof_is_held_against_the_part_and_the_machine_that_it_should_speak_of(
    proof: Path, workshop: Path, capsys: Captured
) -> None:
    assert run(["verify", str(proof), "rail.toml", *NAMED]) == 0
    rail = (workshop / "rail.toml").read_text(encoding="utf-8")
    (workshop / "rail.toml").write_text(rail.replace("[300]", "[301]"), encoding="utf-8")
    capsys.readouterr()
    assert run(["verify", str(proof), "rail.toml", *NAMED]) == 1
    assert "another part" in capsys.readouterr().out


def test_a_changed_proof_is_refused_with_what_does_not_hold(proof: Path, capsys: Captured) -> None:
    document = json.loads(proof.read_text(encoding="utf-8"))
    document["claim"]["bound"]["reclamps"] = 2
    proof.write_text(json.dumps(document), encoding="utf-8")
    assert run(["verify", str(proof)]) == 1
    assert capsys.readouterr().out.startswith("Does not hold: ")
    assert run(["verify", str(proof), "--json"]) == 1
    found = json.loads(capsys.readouterr().out)
    assert found["confirmed"] is False
    assert found["sentence"].startswith("Does not hold: ")


def test_json_says_how_much_was_confirmed(proof: Path, capsys: Captured) -> None:
    assert run(["verify", str(proof), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["confirmed"] is True
    assert found["counts"]["motions"] > 5
    assert found["counts"]["cells"] > 100


def test_the_same_part_gives_the_same_proof_byte_for_byte(proof: Path) -> None:
    first = proof.read_bytes()
    run([*PLAN, "--proof", "proof.json"])
    assert proof.read_bytes() == first


def test_no_part_of_a_proof_is_left_where_it_cannot_be_written(workshop: Path, capsys: Captured) -> None:
    assert run([*PLAN, "--proof", "nowhere/proof.json"]) == 2
    captured = capsys.readouterr()
    assert "nowhere/proof.json" in captured.err
    assert captured.out == ""
    assert sorted(path.name for path in workshop.iterdir()) == ["no-machine.toml", "profiles", "rail.toml"]


@pytest.mark.parametrize(
    ("text", "said"), [("no json", "no JSON"), ("[]", "no proof document"), ('{"schema": "x"}', "no proof document")]
)
def test_what_is_no_proof_is_bad_input(workshop: Path, capsys: Captured, text: str, said: str) -> None:
    (workshop / "other.json").write_text(text, encoding="utf-8")
    assert run(["verify", "other.json"]) == 2
    assert said in capsys.readouterr().err


def test_a_missing_file_is_bad_input(capsys: Captured) -> None:
    assert run(["verify", "missing.json"]) == 2
    assert "missing.json" in capsys.readouterr().err
