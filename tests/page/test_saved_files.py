"""What is saved lies in the chosen folder, loads back as the same part or machine, and overwrites nothing unasked."""

from __future__ import annotations

import errno
import os
import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from planner.errors import InputError
from planner.inputs.documents import read_document
from planner.inputs.files import load_machine, load_part, machine_from_data, part_from_data
from planner.inputs.part import Part
from planner.inputs.self_crossing import self_gap
from planner.outputs.whole_files import WouldOverwrite
from planner.page.part_form import PartForm
from planner.page.saved_files import LONGEST_NAME, file_name, machine_toml, part_toml, save
from tests.inputs.parts import parts

HOME = Path(__file__).resolve().parents[2]
EXAMPLES = sorted((HOME / "examples").glob("*.toml"))
PROFILES = sorted((HOME / "machine_profiles").glob("*.toml"))


def by_stem(path: Path) -> str:
    return path.stem


# The files ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", EXAMPLES, ids=by_stem)
def test_every_example_saved_loads_back_as_the_same_part(path: Path, tmp_path: Path) -> None:
    part, document = load_part(path), read_document(path, "the part file")
    form = PartForm.of(document.data, document.file)
    for name, one in (
        ("own units", form.read().document),
        ("mm", part.normalised()),
        ("in", form.in_units("in")[0].read().document),
    ):
        text = part_toml(one or {})
        saved = save(tmp_path, f"{part.name} {name}", text)
        assert load_part(saved) == part
        assert saved.read_text(encoding="utf-8").splitlines()[0] == "# A part, written by bendorder."
        assert part_toml(one or {}) == text
        assert not re.search(r"20\d\d-\d\d|\d\d:\d\d", text)


@pytest.mark.parametrize("path", PROFILES, ids=by_stem)
def test_every_profile_saved_loads_back_as_the_same_machine(path: Path, tmp_path: Path) -> None:
    machine, document = load_machine(path), read_document(path, "the machine profile").data
    for one in (document, machine.normalised()):
        saved = save(tmp_path, machine.name, machine_toml(one), overwrite=True)
        assert load_machine(saved) == machine
        assert saved.read_text(encoding="utf-8").splitlines()[0] == "# A machine profile, written by bendorder."
    assert tomllib.loads(machine_toml(document)) == document


@given(parts(largest_angle=300.0), st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=40))
def test_any_part_written_loads_back_as_the_same_part(part: Part, name: str) -> None:
    assume(self_gap(part).reached >= 0.0)
    document = {**part.normalised(), "name": name}
    assert part_from_data(tomllib.loads(part_toml(document))) == part_from_data(document)


texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)
scalars = texts | st.booleans() | st.integers(-(10**6), 10**6) | st.floats(-1e6, 1e6)
values = scalars | st.lists(scalars, max_size=4) | st.lists(st.lists(st.floats(-1e6, 1e6), max_size=4), max_size=3)
keys = st.sampled_from(["name", "units", "lra", "xyz", "box", "from", "a key", 'quoted "key"', "Länge"])
tables = st.dictionaries(keys, values | st.dictionaries(keys, values, max_size=3), max_size=4)


@given(st.dictionaries(keys, values | tables | st.lists(tables, min_size=1, max_size=3), max_size=5))
def test_any_document_of_tables_is_valid_toml_of_the_same_values(document: dict[str, Any]) -> None:
    assert tomllib.loads(part_toml(document)) == document


def test_what_no_document_holds_is_a_fault_of_the_program() -> None:
    with pytest.raises(TypeError):
        machine_toml({"name": object()})


def test_an_edited_profile_without_keys_loads_with_them_left_out() -> None:
    document = load_machine("canal-workshop").normalised()
    document["mandrel"] = None
    for tooling in document["tooling"]:
        tooling["mandrel"] = None
    assert machine_from_data(tomllib.loads(machine_toml(document))).mandrel is None


# The names ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "stem"),
    [
        ("cabin grab rail", "cabin-grab-rail"), ("  Rail #7 / left ", "rail-7-left"), ("Brüstung Süd", "brustung-sud"), ("Straße", "strasse"),
        ("../../etc/passwd", "etc-passwd"), ("C:\\rail", "c-rail"), (".hidden", "hidden"), ("...", "part"), ("", "part"), ("\x00", "part"),
        ("CON", "con-part"), ("com1", "com1-part"), ("LPT¹", "lpt1-part"), ("nul.txt", "nul-txt"), ("con sole", "con-sole"),
        ("перила", "перила"), ("r" * 300, "r" * LONGEST_NAME), ("-rail-", "rail"), ("1/2 in rail", "1-2-in-rail"),
    ],
)  # fmt: skip
def test_a_file_is_named_after_its_part_in_letters_digits_and_hyphens(name: str, stem: str) -> None:
    assert file_name(name) == stem


@given(st.text())
def test_any_name_makes_a_file_name_that_every_system_takes(name: str) -> None:
    stem = file_name(name)
    assert 0 < len(stem.encode("utf-8")) <= LONGEST_NAME + len("-part")
    assert all(c.isalnum() or c == "-" for c in stem)
    assert not stem.startswith("-")
    assert not stem.endswith("-")
    assert stem.split(".")[0].upper() not in {
        "CON",
        "PRN",
        "AUX",
        "NUL",
        *(f"{p}{n}" for p in ("COM", "LPT") for n in range(10)),
    }
    assert file_name(stem) == stem


# The folder ---------------------------------------------------------------------------------------------------------


def test_a_file_that_is_there_is_kept_unless_it_may_be_overwritten(tmp_path: Path) -> None:
    path = save(tmp_path, "rail", "one\n")
    assert path == tmp_path / "rail.toml"
    with pytest.raises(WouldOverwrite) as caught:
        save(tmp_path, "Rail", "two\n")
    assert caught.value.path == path
    assert "rail.toml" in str(caught.value)
    assert path.read_bytes() == b"one\n"
    save(tmp_path, "rail", "two\n", overwrite=True)
    assert path.read_bytes() == b"two\n"
    assert os.listdir(tmp_path) == ["rail.toml"]


@pytest.mark.parametrize("there", [True, False], ids=["file", "nothing"])
def test_a_link_that_leads_out_of_the_folder_is_refused(tmp_path: Path, there: bool) -> None:
    outside, folder = tmp_path / "outside.toml", tmp_path / "folder"
    folder.mkdir()
    if there:
        outside.write_text("kept")
    (folder / "rail.toml").symlink_to(outside)
    for overwrite in (False, True):
        with pytest.raises(InputError, match="leads out of the folder") as caught:
            save(folder, "rail", "written", overwrite=overwrite)
        assert not isinstance(caught.value, WouldOverwrite)
    assert outside.read_text() == "kept" if there else not outside.exists()


def test_a_ring_of_links_is_refused(tmp_path: Path) -> None:
    (tmp_path / "rail.toml").symlink_to(tmp_path / "other.toml")
    (tmp_path / "other.toml").symlink_to(tmp_path / "rail.toml")
    with pytest.raises(InputError):
        save(tmp_path, "rail", "text", overwrite=True)


def test_a_link_within_the_folder_and_a_folder_that_is_a_link_are_followed(tmp_path: Path) -> None:
    home, link = tmp_path / "home", tmp_path / "link"
    home.mkdir()
    link.symlink_to(home)
    (home / "other.toml").write_text("one")
    (home / "rail.toml").symlink_to("other.toml")
    with pytest.raises(WouldOverwrite):
        save(link, "rail", "two")
    save(link, "rail", "two", overwrite=True)
    assert (home / "other.toml").read_text() == "two"
    assert (home / "rail.toml").is_symlink()


@pytest.mark.parametrize("step", ["replace", "chmod"])
def test_a_disk_that_fails_half_way_leaves_the_old_file_whole_and_nothing_beside_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    save(tmp_path, "rail", "one\n")

    def full(*_: object, **__: object) -> None:
        raise OSError(errno.ENOSPC, "no space left on device")

    with monkeypatch.context() as broken:
        broken.setattr(os, step, full)
        with pytest.raises(InputError, match="no space left"):
            save(tmp_path, "rail", "two\n" * 1000, overwrite=True)
        if step == "replace":  # a new file has the mode that new files have
            with pytest.raises(InputError, match="no space left"):
                save(tmp_path, "bow", "two\n")
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == {"rail.toml": b"one\n"}


def test_what_cannot_be_written_is_refused_and_leaves_nothing(tmp_path: Path) -> None:
    (tmp_path / "rail.toml").mkdir()
    for folder, name, text in ((tmp_path / "no", "bow", "x"), (tmp_path, "rail", "x"), (tmp_path, "bow", "\ud800")):
        with pytest.raises(InputError) as caught:
            save(folder, name, text, overwrite=True)
        assert not isinstance(caught.value, WouldOverwrite)
    with pytest.raises(InputError, match="no ending"):
        save(tmp_path, "bow", "x", ending="/../x.toml")
    assert os.listdir(tmp_path) == ["rail.toml"]
