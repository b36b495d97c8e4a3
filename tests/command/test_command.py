"""The command in this process: exit codes, what goes to which stream, one document with `--json`."""

from __future__ import annotations

import json
import shlex
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from planner.command import EXIT_CODES, app, run

pytestmark = pytest.mark.usefixtures("workshop")

Planned = Callable[[Any], list[Any]]
Captured = pytest.CaptureFixture[str]
PLAN = ["plan", "rail.toml", "--profiles", "profiles"]


def document(captured: Captured) -> dict[str, Any]:
    """Return the one document on standard output."""
    read: dict[str, Any] = json.loads(captured.readouterr().out)
    return read


@pytest.mark.parametrize(("verdict", "code"), [("makeable", 0), ("not makeable", 1), ("undecided", 3)])
@pytest.mark.parametrize("flag", [[], ["--json"]])
def test_the_exit_code_is_the_verdicts(
    planned: Planned, capsys: Captured, verdict: str, code: int, flag: list[str]
) -> None:
    planned(verdict)
    assert run([*PLAN, *flag]) == code
    assert verdict.upper() in capsys.readouterr().out.upper()
    assert set(EXIT_CODES) == {"makeable", "not makeable", "undecided"}


def test_json_is_the_plan_document_and_the_timing_goes_to_standard_error(planned: Planned, capsys: Captured) -> None:
    planned("makeable")
    run([*PLAN, "--json"])
    captured = capsys.readouterr()
    read = json.loads(captured.out)
    assert read["schema"] == "bendorder-plan/2"
    assert read["part"]["name"] == "boarding ladder rail"
    assert "planned in" in captured.err


def test_without_a_machine_on_the_command_line_the_parts_own_is_used(planned: Planned) -> None:
    seen = planned("makeable")
    run(PLAN)
    assert seen[0][1].name == "towpath bender"


@pytest.mark.parametrize("flag", ["-m", "--machine"])
def test_the_machine_on_the_command_line_comes_first(workshop: Path, planned: Planned, flag: str) -> None:
    other = (workshop / "profiles" / "towpath-bender.toml").read_text(encoding="utf-8")
    (workshop / "other.toml").write_text(other.replace("towpath bender", "other bender"), encoding="utf-8")
    seen = planned("makeable")
    run([*PLAN, flag, "other.toml"])
    assert seen[0][1].name == "other bender"


def test_a_part_without_a_machine_is_refused_with_the_machines_there_are(planned: Planned, capsys: Captured) -> None:
    planned("makeable")
    assert run(["plan", "no-machine.toml", "--profiles", "profiles"]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert "no machine" in captured.err
    assert "towpath-bender" in captured.err


def test_an_unknown_machine_is_refused_with_what_was_meant(planned: Planned, capsys: Captured) -> None:
    planned("makeable")
    assert run([*PLAN, "-m", "towpath-bendr"]) == 2
    assert 'did you mean "towpath-bender"?' in capsys.readouterr().err


@pytest.mark.parametrize("command", ["plan", "shape"])
def test_a_missing_part_file_is_bad_input(planned: Planned, capsys: Captured, command: str) -> None:
    planned("makeable")
    assert run([command, "no-such-part.toml"]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.startswith("bendorder: ")
    assert "no-such-part.toml" in captured.err
    assert "Traceback" not in captured.err
    assert len(captured.err.strip().splitlines()) == 1


def test_an_error_in_a_file_names_file_line_and_key_in_json_too(
    workshop: Path, planned: Planned, capsys: Captured
) -> None:
    planned("makeable")
    text = (workshop / "rail.toml").read_text(encoding="utf-8").replace("wall = 1.65", "wall = -1.65")
    (workshop / "rail.toml").write_text(text, encoding="utf-8")
    assert run([*PLAN, "--json"]) == 2
    captured = capsys.readouterr()
    assert captured.err == ""
    read = json.loads(captured.out)
    assert read["schema"] == "bendorder-error/1"
    assert read["error"]["file"].endswith("rail.toml")
    assert read["error"]["line"] == text[: text.index("wall")].count("\n") + 1
    assert read["error"]["key"] == "tube.wall"
    assert read["error"]["found"] == -1.65


WRONG_USAGE = [
    (["plan"], "PART"),
    (["plan", "rail.toml", "--machin"], "--machine"),
    (["plan", "rail.toml", "-m"], "-m"),
    (["plan", "rail.toml", "second.toml"], "second.toml"),
    (["pln", "rail.toml"], "plan"),
    (["shape"], "PART"),
    (["machines", "--all"], "--all"),
    (["serve", "--port", "65536"], "--port"),
]


@pytest.mark.parametrize(("arguments", "named"), WRONG_USAGE)
def test_wrong_usage_is_bad_input(arguments: list[str], named: str, capsys: Captured) -> None:
    assert run(arguments) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert named in captured.err
    assert "--help" in captured.err


@pytest.mark.parametrize(("arguments", "named"), WRONG_USAGE)
def test_wrong_usage_is_a_document_with_json(arguments: list[str], named: str, capsys: Captured) -> None:
    assert run([*arguments[:1], "--json", *arguments[1:]]) == 2
    captured = capsys.readouterr()
    read = json.loads(captured.out)
    assert read["schema"] == "bendorder-error/1"
    assert read["error"]["kind"] == "UsageError"
    assert named in read["error"]["message"]
    assert captured.err == ""


@pytest.mark.parametrize("flag", [[], ["--json"]])
def test_an_interrupted_run_exits_130(planned: Planned, capsys: Captured, flag: list[str]) -> None:
    planned(KeyboardInterrupt())
    assert run([*PLAN, *flag]) == 130
    captured = capsys.readouterr()
    if flag:
        assert json.loads(captured.out)["error"]["kind"] == "Interrupted"
    else:
        assert captured.out == ""
        assert "interrupted" in captured.err


@pytest.mark.parametrize("flag", [[], ["--json"]])
def test_a_fault_of_the_program_is_never_taken_for_a_verdict(
    planned: Planned, capsys: Captured, flag: list[str]
) -> None:
    planned(RuntimeError("a broken assumption"))
    assert run([*PLAN, *flag]) == 70
    captured = capsys.readouterr()
    assert "a broken assumption" in captured.err
    if flag:
        assert json.loads(captured.out)["error"]["kind"] == "Fault"


def test_machines_are_listed_with_head_tube_reach_and_mandrel(capsys: Captured) -> None:
    assert run(["machines", "--profiles", "profiles"]) == 0
    words = " ".join(capsys.readouterr().out.split())
    assert "towpath-bender" in words
    assert "bends toward the right; tube 38.1 mm; collet 250 to 3200 mm" in words


def test_machines_as_a_document(capsys: Captured) -> None:
    assert run(["machines", "--profiles", "profiles", "--json"]) == 0
    read = document(capsys)
    assert read["schema"] == "bendorder-machines/1"
    found = {entry["name"]: entry for entry in read["machines"]}
    assert found["towpath-bender"]["file"].endswith("towpath-bender.toml")


def test_every_listed_machine_can_be_shown_by_its_name(capsys: Captured) -> None:
    run(["machines", "--profiles", "profiles", "--json"])
    names = [entry["name"] for entry in document(capsys)["machines"]]
    assert names
    for name in names:
        assert run(["machines", name, "--profiles", "profiles"]) == 0
        assert "Carriage" in capsys.readouterr().out
        assert run(["machines", name, "--profiles", "profiles", "--json"]) == 0
        assert document(capsys)["schema"] == "bendorder-machine/1"


def test_an_unknown_machine_cannot_be_shown(capsys: Captured) -> None:
    assert run(["machines", "towpath-bendr", "--profiles", "profiles"]) == 2
    assert 'did you mean "towpath-bender"?' in capsys.readouterr().err


def test_a_shape_on_a_page_and_as_a_document(capsys: Captured) -> None:
    assert run(["shape", "rail.toml"]) == 0
    assert "bend 2 points down" in " ".join(capsys.readouterr().out.split())
    assert run(["shape", "rail.toml", "--json"]) == 0
    read = document(capsys)
    assert read["schema"] == "bendorder-shape/1"
    assert read["lra_from_a"] == [[250, 0, 90], [180, -90, 45], [300]]


def test_no_arguments_show_the_help(capsys: Captured) -> None:
    assert run([]) == 0
    bare = capsys.readouterr().out
    assert run(["--help"]) == 0
    assert capsys.readouterr().out == bare
    assert "Usage: bendorder" in bare


def test_the_help_of_every_command_has_an_example_that_the_command_understands(capsys: Captured) -> None:
    commands = [name for name in app if not name.startswith("-")]
    assert sorted(commands) == ["check", "machines", "plan", "serve", "shape", "verify", "why"]
    for name in commands:
        assert run([name, "--help"]) == 0
        shown = capsys.readouterr().out
        examples = [shlex.split(line) for line in shown.splitlines() if line.startswith(f"  bendorder {name}")]
        assert examples
        for words in examples:
            app.parse_args(words[1:], exit_on_error=False, print_error=False)


def test_the_version_is_the_distributions(capsys: Captured, monkeypatch: pytest.MonkeyPatch) -> None:
    import importlib.metadata

    monkeypatch.setattr(importlib.metadata, "version", lambda name: {"bendorder": "9.8.7"}[name])
    assert run(["--version"]) == 0
    assert capsys.readouterr().out.strip() == "9.8.7"
