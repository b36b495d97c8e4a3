"""What the README shows is what the program does."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"```(\w+)\n(.*?)```", README, re.DOTALL)


def test_two_commands_set_everything_up_each_in_a_block_of_its_own() -> None:
    commands = [text.strip() for kind, text in BLOCKS if kind == "sh"]
    assert len(commands) == 2
    assert all(len(command.splitlines()) == 1 for command in commands)
    assert "bendorder plan examples/" in commands[0]
    assert (ROOT / re.search(r"examples/[\w-]+\.toml", commands[0])[0]).exists()  # type: ignore[index]
    assert "[test]" in commands[1]
    assert commands[1].endswith("pytest -q")


def test_the_page_shown_is_the_page_printed() -> None:
    shown = next(text for kind, text in BLOCKS if kind == "text")
    example = ["-m", "planner", "plan", "examples/cabin-grab-rail.toml"]
    printed = subprocess.run([sys.executable, *example], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    for line in shown.splitlines():
        if line.strip() not in ("", "…"):
            assert line in printed.splitlines(), line


def test_the_python_example_runs(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    exec(compile(next(text for kind, text in BLOCKS if kind == "python"), "README.md", "exec"), {})
    assert capsys.readouterr().out.startswith("makeable 0 ")


def test_every_caution_of_the_trade_stands_in_the_readme() -> None:
    flat = " ".join(README.split())
    for words in (
        "Pinch points and the swinging tube injure", "Hands off tube and dies while hydraulics are live",
        "One person at the controls", "Isolate the machine and release its pressure before changing tooling",
        "A long leading part sags and whips", "Run the first cycle slow, with scrap tube", "Sawn ends are sharp",
        "maker's manual, local codes and trained, licensed practice", "not against the machine in front of you",
        "never of people", "check one made part's hand before you trust a table's rotation sign",
    ):  # fmt: skip
        assert words in flat, words
