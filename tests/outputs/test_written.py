"""Files are written whole or not at all, over nothing that was not meant, and a kill leaves nothing for long."""

from __future__ import annotations

import errno
import os
import random
import signal
import stat
import subprocess
import sys
import time
from pathlib import Path

import pytest

from planner.errors import InputError
from planner.outputs.whole_files import REST, WouldOverwrite, may_be_written, write_whole

KILLS, CAMPAIGN = 12, 500
"""Times that a program is killed while it saves."""

ROOT = Path(__file__).parents[2]

SAVING = """
import sys
from pathlib import Path
from planner.outputs.whole_files import write_whole
place, k = Path(sys.argv[1]), 0
print("ready", flush=True)
while True:
    k += 1
    write_whole(place, f"{k}\\n" * 20000)
"""


def test_a_file_is_written_with_the_mode_of_new_files_and_keeps_its_own_when_it_is_replaced(tmp_path: Path) -> None:
    place = tmp_path / "proof.json"
    mask = os.umask(0o027)
    try:
        write_whole(place, "one\n")
    finally:
        os.umask(mask)
    assert stat.S_IMODE(place.stat().st_mode) == 0o640
    place.chmod(0o604)
    write_whole(place, "two\n")
    assert (place.read_text(), stat.S_IMODE(place.stat().st_mode)) == ("two\n", 0o604)


def test_what_is_read_is_never_written_over_not_by_another_name_either(tmp_path: Path) -> None:
    part, hard = tmp_path / "part.toml", tmp_path / "same.toml"
    part.write_text("part")
    os.link(part, hard)
    for place in (part, hard, tmp_path / "." / "part.toml"):
        with pytest.raises(InputError, match="read here"):
            may_be_written(place, [part], force=True)
    may_be_written(tmp_path / "proof.json", [part, None, tmp_path / "gone.toml"], force=False)


def test_a_file_that_is_there_is_only_replaced_if_that_is_asked_for(tmp_path: Path) -> None:
    place = tmp_path / "proof.json"
    place.write_text("old")
    with pytest.raises(WouldOverwrite, match="--force"):
        may_be_written(place, force=False)
    may_be_written(place, force=True)


def test_links_devices_pipes_folders_and_names_too_long_are_refused(tmp_path: Path) -> None:
    (tmp_path / "part.toml").write_text("part")
    (tmp_path / "link.json").symlink_to(tmp_path / "part.toml")
    (tmp_path / "nowhere.json").symlink_to(tmp_path / "gone")
    os.mkfifo(tmp_path / "pipe.json")
    (tmp_path / "folder.json").mkdir()
    for name, words in (
        ("link.json", "link"),
        ("nowhere.json", "link"),
        ("pipe.json", "pipe"),
        ("folder.json", "folder"),
        ("no/proof.json", "no folder"),
        ("x" * 300, "too long"),
    ):
        with pytest.raises(InputError, match=words):
            may_be_written(tmp_path / name, force=True)
    with pytest.raises(InputError, match="device"):
        may_be_written(Path("/dev/null"), force=True)
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "folder.json", "link.json", "nowhere.json", "part.toml", "pipe.json",
    ]  # fmt: skip


@pytest.mark.parametrize("step", ["replace", "open"])
def test_a_full_disk_leaves_the_old_file_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str) -> None:
    place = tmp_path / "proof.json"
    write_whole(place, "old\n")

    def full(*_: object, **__: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as broken:
        broken.setattr(os, step, full)
        with pytest.raises(InputError, match="No space left"):
            write_whole(place, "new\n" * 1000)
    assert {path.name: path.read_text() for path in tmp_path.iterdir()} == {"proof.json": "old\n"}


def test_a_name_as_long_as_may_be_is_written(tmp_path: Path) -> None:
    place = tmp_path / ("x" * 250 + ".json")
    write_whole(place, "x\n")
    assert [path.name for path in tmp_path.iterdir()] == [place.name]


def test_rests_of_programs_that_are_no_more_are_cleared_and_others_are_left(tmp_path: Path) -> None:
    ended = subprocess.Popen([sys.executable, "-c", ""])
    ended.wait()
    dead = tmp_path / REST.format(process=ended.pid, number=0)
    alive = tmp_path / REST.format(process=os.getppid(), number=3)
    other = tmp_path / ".hidden.rest"
    for path in (dead, alive, other):
        path.write_text("rest")
    write_whole(tmp_path / "proof.json", "x\n")
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted([alive.name, other.name, "proof.json"])


def test_a_kill_while_saving_loses_nothing_and_leaves_nothing_after_the_next_save(
    tmp_path: Path, campaign: bool
) -> None:
    place, rng = tmp_path / "proof.json", random.Random(7)
    write_whole(place, "0\n" * 20000)
    for _ in range(CAMPAIGN if campaign else KILLS):
        saving = subprocess.Popen(
            [sys.executable, "-c", SAVING, str(place)],
            stdout=subprocess.PIPE,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
        )
        assert saving.stdout is not None
        saving.stdout.readline()
        time.sleep(rng.uniform(0.0, 0.02))
        saving.send_signal(signal.SIGKILL)
        saving.wait()
        saving.stdout.close()
        lines = place.read_text().splitlines()
        assert (len(lines), len(set(lines))) == (20000, 1)
    write_whole(place, "last\n")
    assert [path.name for path in tmp_path.iterdir()] == ["proof.json"]


def test_a_kill_while_a_file_is_on_its_way_leaves_a_rest_that_the_next_save_clears(tmp_path: Path) -> None:
    place = tmp_path / "proof.json"
    write_whole(place, "old\n")
    wait = "import os, time\nos.replace = lambda *_: (print('on its way', flush=True), time.sleep(60))\n"
    saving = subprocess.Popen(
        [sys.executable, "-c", SAVING.replace("print", f"{wait}print", 1), str(place)],
        stdout=subprocess.PIPE, env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    assert saving.stdout is not None
    assert [saving.stdout.readline() for _ in range(2)] == [b"ready\n", b"on its way\n"]
    saving.kill()
    saving.wait()
    saving.stdout.close()
    assert len(list(tmp_path.iterdir())) == 2
    assert place.read_text() == "old\n"
    write_whole(place, "new\n")
    assert {path.name: path.read_text() for path in tmp_path.iterdir()} == {"proof.json": "new\n"}
