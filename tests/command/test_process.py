"""The command as a process of its own: streams, exit codes, what it imports, how it is stopped."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.usefixtures("workshop")

HEAVY = ["ortools", "networkx", "scipy"]
ROOT = Path(__file__).parents[2]
ENVIRONMENT = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONUTF8": "1"}


def bendorder(*arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run the command in the working directory."""
    return subprocess.run(
        [sys.executable, "-m", "planner", *arguments],
        capture_output=True,
        text=True,
        encoding="utf-8",
        env={**ENVIRONMENT, **environment},
        check=False,
        timeout=120,
    )


def imported_by(*arguments: str) -> set[str]:
    """Return the modules that a run of the command leaves imported."""
    code = (
        "import sys; from planner.command import run; code = run(sys.argv[1:]); "
        "print('\\n'.join(['imported', *sys.modules])); sys.exit(code)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments],
        capture_output=True,
        text=True,
        encoding="utf-8",
        env=ENVIRONMENT,
        check=True,
        timeout=120,
    )
    return {line.partition(".")[0] for line in done.stdout.partition("\nimported\n")[2].splitlines()}


def test_help_imports_nothing_that_only_planning_needs() -> None:
    imported = imported_by("--help")
    assert "cyclopts" in imported, "or the list of modules was not read"
    assert imported.isdisjoint([*HEAVY, "numpy", "pydantic"])


@pytest.mark.parametrize(
    "arguments",
    [["machines", "--profiles", "profiles"], ["shape", "rail.toml"], ["shape", "rail.toml", "--json"]],
)
def test_what_does_not_plan_imports_no_solver(arguments: list[str]) -> None:
    imported = imported_by(*arguments)
    assert "pydantic" in imported or "numpy" in imported, "or the list of modules was not read"
    assert imported.isdisjoint(HEAVY)


def test_json_is_one_document_and_nothing_else() -> None:
    done = bendorder("shape", "rail.toml", "--json")
    assert done.returncode == 0
    assert done.stderr == ""
    assert json.loads(done.stdout)["schema"] == "bendorder-shape/1"


def test_bad_input_leaves_with_two_and_without_a_traceback(workshop: Path) -> None:
    before = sorted(workshop.rglob("*"))
    done = bendorder("plan", "missing.toml")
    assert done.returncode == 2
    assert done.stdout == ""
    assert "Traceback" not in done.stderr
    assert sorted(workshop.rglob("*")) == before, "nothing is written"


def test_json_is_utf8_in_a_terminal_that_is_not(workshop: Path) -> None:
    text = (workshop / "rail.toml").read_text(encoding="utf-8").replace("ladder rail", "ladder for Ærø")
    (workshop / "rail.toml").write_text(text, encoding="utf-8")
    narrow = {"PYTHONUTF8": "0", "PYTHONIOENCODING": "ascii"}
    assert json.loads(bendorder("shape", "rail.toml", "--json", **narrow).stdout)["name"].endswith("Ærø")
    page = bendorder("shape", "rail.toml", **narrow)
    assert page.returncode == 0
    assert "boarding ladder for ?r?" in page.stdout


def test_a_process_that_is_interrupted_leaves_with_130() -> None:
    """Planning is replaced by a long wait; the process is interrupted as by Ctrl-C in the middle of it."""
    code = """
import signal, sys, time, types
signal.signal(signal.SIGINT, signal.default_int_handler)  # whoever started the tests may have it ignored
module = types.ModuleType("planner.planning")
def plan(*_, **__):
    print("planning", file=sys.stderr, flush=True)
    time.sleep(60)
module.plan = module.planned = plan
sys.modules["planner.planning"] = module
from planner.command import main
main(["plan", "rail.toml", "--profiles", "profiles"])
"""
    with subprocess.Popen(
        [sys.executable, "-c", code],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=ENVIRONMENT,
    ) as process:
        assert process.stderr is not None
        assert process.stderr.readline() == "planning\n"
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=120)
    assert process.returncode == 130
    assert out == ""
    assert "Traceback" not in err


def test_a_reader_that_leaves_is_no_fault() -> None:
    """As with `bendorder shape rail.toml | true`: the reader of the pipe has gone before anything is read."""
    read, write = os.pipe()
    os.close(read)
    done = subprocess.run(
        [sys.executable, "-m", "planner", "shape", "rail.toml"],
        stdout=write,
        stderr=subprocess.PIPE,
        text=True,
        env=ENVIRONMENT,
        check=False,
        timeout=120,
    )
    os.close(write)
    assert done.stderr == ""
    assert done.returncode == 141


def in_a_shell(line: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    """Run the command in a shell line, in which "$@" stands for it."""
    return subprocess.run(
        ["bash", "-c", line, "bash", sys.executable, "-m", "planner", *arguments],
        capture_output=True, text=True, encoding="utf-8", env=ENVIRONMENT, check=False, timeout=120,
    )  # fmt: skip


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
@pytest.mark.parametrize("stream", ["2>&-", "2>/dev/full"])
def test_what_cannot_be_said_on_standard_error_changes_neither_answer_nor_code(stream: str) -> None:
    for arguments in (["plan", "rail.toml", "--profiles", "profiles"], ["plan", "missing.toml"]):
        plain, deaf = bendorder(*arguments, "--json"), in_a_shell(f'"$@" {stream}', *arguments, "--json")
        assert (deaf.returncode, deaf.stdout) == (plain.returncode, plain.stdout)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
@pytest.mark.parametrize("stream", [">&-", ">/dev/full"])
@pytest.mark.parametrize(
    "arguments",
    [
        ["plan", "rail.toml", "--profiles", "profiles"],
        ["plan", "rail.toml", "--profiles", "profiles", "--json"],
        ["--help"],
        ["plan", "gone.toml", "--json"],
    ],
)
def test_an_answer_that_cannot_be_written_ends_with_74_and_says_so(stream: str, arguments: list[str]) -> None:
    done = in_a_shell(f'"$@" {stream}', *arguments)
    assert done.returncode == 74
    assert "cannot be written" in done.stderr
    assert "Traceback" not in done.stderr


def test_a_proof_is_never_written_over_the_part_or_a_file_that_is_there(workshop: Path) -> None:
    part = (workshop / "rail.toml").read_bytes()
    done = bendorder("plan", "rail.toml", "--profiles", "profiles", "--proof", "rail.toml", "--force")
    assert (done.returncode, "read here" in done.stderr) == (2, True)
    assert (workshop / "rail.toml").read_bytes() == part
    (workshop / "old.json").write_text("old")
    assert bendorder("plan", "rail.toml", "--profiles", "profiles", "--proof", "old.json").returncode == 2
    assert (workshop / "old.json").read_text() == "old"
    assert bendorder("plan", "rail.toml", "--profiles", "profiles", "--proof", "old.json", "--force").returncode in (
        0,
        1,
    )
    assert json.loads((workshop / "old.json").read_text())["schema"] == "bendorder-proof/1"


def test_a_pipe_or_a_device_is_no_part_and_is_not_waited_for(workshop: Path) -> None:
    os.mkfifo(workshop / "pipe.toml")
    (workshop / "endless.toml").symlink_to("/dev/zero")
    for name in ("pipe.toml", "endless.toml"):
        done = bendorder("plan", name)
        assert (done.returncode, "device or a pipe" in done.stderr) == (2, True)
    for name in ("pipe.toml", "endless.toml"):
        assert bendorder("verify", name).returncode == 2
