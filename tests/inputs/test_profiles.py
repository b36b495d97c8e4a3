"""Where profiles are looked for, first to last, and what is said when one is not found."""

from __future__ import annotations

from pathlib import Path

import pytest

from planner.errors import InputError, UnknownMachine, UnreadableFile
from planner.inputs.files import load_machine
from planner.inputs.profiles import configuration_folder, find_profile, list_profiles, packaged_folder

CANAL = (packaged_folder() / "canal-workshop.toml").read_text(encoding="utf-8")


def put(folder: Path, stem: str, name: str) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{stem}.toml"
    old = CANAL[CANAL.index("name = ") : CANAL.index("\nunits")]
    path.write_text(CANAL.replace(old, f'name = "{name}"'), encoding="utf-8")
    return path


def test_the_given_folder_comes_before_the_environments_the_users_and_the_packaged(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert load_machine("canal-workshop").name.startswith("semi-automatic")
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.setattr("sys.platform", "linux")
    put(tmp_path / "config" / "bendorder" / "machine_profiles", "canal-workshop", "the user's")
    assert load_machine("canal-workshop").name == "the user's"
    put(tmp_path / "environment", "canal-workshop", "the environment's")
    monkeypatch.setenv("BENDORDER_PROFILES", str(tmp_path / "environment"))
    assert load_machine("canal-workshop").name == "the environment's"
    put(tmp_path / "given", "canal-workshop", "the given")
    assert load_machine("canal-workshop", tmp_path / "given").name == "the given"
    names = [profile.name for profile in list_profiles(tmp_path / "given")]
    assert names == ["canal-workshop", "long-bed", "three-axis", "under-the-loft"]


def test_the_users_folder_is_the_platforms() -> None:
    home = {"HOME": "/home/ada", "APPDATA": "/home/ada/roaming"}
    ends = Path("bendorder") / "machine_profiles"
    assert configuration_folder("linux", home) == Path("/home/ada/.config") / ends
    assert configuration_folder("linux", {**home, "XDG_CONFIG_HOME": "/etc/ada"}) == Path("/etc/ada") / ends
    assert configuration_folder("darwin", home) == Path("/home/ada/Library/Application Support") / ends
    assert configuration_folder("win32", home) == Path("/home/ada/roaming") / ends


def test_an_unknown_machine_lists_the_known_ones_and_the_likeliest() -> None:
    with pytest.raises(UnknownMachine) as caught:
        find_profile("canal-workshp")
    assert caught.value.known == ("canal-workshop", "long-bed", "three-axis", "under-the-loft")
    assert caught.value.suggestion == "canal-workshop"
    assert 'did you mean "canal-workshop"?' in str(caught.value)
    assert "long-bed" in caught.value.as_dict()["allowed"]


def test_a_path_is_a_file_and_a_plain_name_a_profile(tmp_path: Path) -> None:
    path = put(tmp_path, "mine", "mine")
    assert load_machine(path).name == "mine"
    assert load_machine(str(path)).source == str(path)
    assert load_machine("mine", tmp_path).name == "mine"
    with pytest.raises(UnreadableFile, match="no such file"):
        load_machine("nowhere.toml")


def test_a_folder_that_is_none_is_said_to_be_none(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(InputError, match="is no folder") as caught:
        list_profiles(tmp_path / "none")
    assert caught.value.key == "--profiles"
    monkeypatch.setenv("BENDORDER_PROFILES", str(tmp_path / "none"))
    with pytest.raises(InputError, match="is no folder") as caught:
        load_machine("canal-workshop")
    assert caught.value.key == "BENDORDER_PROFILES"
