"""The documentation site says what the program does: its keys, its files, its commands and what they print.

The site itself is built by `.ci/site`; what its pages are made from needs no builder, and is held against the program here.
"""

from __future__ import annotations

import doctest
import inspect
import io
import json
import re
import shlex
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from pydantic import BaseModel, Field

import planner
from docs.making import tables
from docs.making.keys import NEEDED, QUANTITIES, keys_of, models_of, told_of
from docs.making.modules import about, folders, modules_of, packages
from docs.making.outside import addresses
from planner.errors import InputError
from planner.inputs.files import load_part
from planner.inputs.machine import Head, Machine
from planner.inputs.part_file import PartFile
from planner.inputs.quantities import Angle, Length
from planner.outputs.shape_page import shape_document
from planner.page.questions import ErrorEvidence
from planner.proof import document as proof
from tests.test_layers import FLOW, PLACE

ROOT = Path(__file__).resolve().parents[1]
DOCS = ROOT / "docs"
PAGES = sorted(DOCS.rglob("*.md"))
ENTRANCES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", ROOT / "CHANGELOG.md"]
MODULES = sorted((ROOT / "planner").rglob("*.py"))


def text_of(page: Path) -> str:
    return page.read_text(encoding="utf-8")


def name_of(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


# Keys


@pytest.mark.parametrize("root", [PartFile, Machine, *tables.DOCUMENTS.values()], ids=lambda root: root.__name__)
def test_every_key_of_a_model_stands_in_its_page_with_what_it_means(root: type) -> None:
    page = tables.made(text_of(DOCS / ("files.md" if root in (PartFile, Machine) else "documents.md")))
    for model in models_of(root):
        for key in keys_of(model):
            assert key.meaning, f"{model.__name__} does not tell what {key.name} means"
            rows = [line for line in page.splitlines() if line.startswith(f"| `{key.name}` |")]
            assert any(key.meaning in row or tables.as_json(key.meaning) in row for row in rows), (model, key)


def in_file(value: Any) -> Iterator[str]:
    """Every key of a document as it is read."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield key
            yield from in_file(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from in_file(inner)


@pytest.mark.parametrize(
    "path", sorted([*ROOT.glob("examples/*.toml"), *ROOT.glob("machine_profiles/*.toml")]), ids=name_of
)
def test_every_key_of_the_files_that_come_with_the_program_stands_in_the_page(path: Path) -> None:
    page = tables.made(text_of(DOCS / "files.md"))
    for key in set(in_file(tomllib.loads(text_of(path)))):
        assert f"| `{key}` |" in page


@pytest.mark.parametrize("root", [PartFile, Machine], ids=lambda root: root.__name__)
def test_every_quantity_of_a_file_has_a_unit_of_its_kind(root: type) -> None:
    lengths, angles = ("mm or in", "mm or in a second"), ("degrees", "degrees a second")
    of_kind = {"mm or in": lengths, "degrees": angles, "": ("s", "MPa")}
    for model in models_of(root):
        assert issubclass(model, BaseModel)
        for key, field in zip(keys_of(model), (f for f in model.model_fields.values() if not f.exclude), strict=True):
            carried = next(
                (unit for marks, (_, unit, _) in QUANTITIES.items() if set(marks) <= set(field.metadata)), None
            )
            assert carried is None or key.unit in of_kind[carried], (model, key)


def test_a_default_in_radians_stands_in_degrees_as_files_have_it() -> None:
    resolution = {key.name: key for key in keys_of(Machine.model_fields["rotation"].annotation or Machine)}[
        "resolution"
    ]
    assert (resolution.without, resolution.unit) == ("`0.1`", "degrees")


def test_a_key_that_is_new_stands_in_the_page_with_kind_unit_and_default() -> None:
    class Invented(BaseModel):
        """Invented for this test: nothing has it.

        reach: how far it goes [mm]; left out: as far as it can. tilt: of the whole [rad]. head, tail: what it holds.
        """

        reach: Length | None = None
        tilt: Angle = 0.5235987755982988
        head: Head
        tail: tuple[Head, ...] = Field(alias="tail", default=())

    reach, tilt, head, tail = keys_of(Invented)
    assert (reach.kind, reach.unit, reach.without) == ("number above 0", "mm or in", "none")
    assert reach.meaning == "how far it goes; left out: as far as it can"
    assert (tilt.unit, tilt.without, tilt.meaning) == ("degrees", "`30`", "of the whole")
    assert (head.kind, head.without, head.models) == ("Head", NEEDED, (Head,))
    assert (tail.kind, tail.meaning) == ("list of Head", "what it holds")
    assert "| `tilt` | number above 0 | degrees | `30` | of the whole |" in tables.file_tables(Invented, "The file")


def test_a_key_that_nothing_is_said_of_is_seen() -> None:
    assert told_of("A thing.\n\nwide: across [mm]; high: up.", ["wide", "high", "deep"]).meanings == {
        "wide": "across [mm]", "high": "up",
    }  # fmt: skip


def test_the_shape_document_has_the_keys_that_its_page_tells() -> None:
    document = shape_document(load_part(ROOT / "examples" / "cabin-grab-rail.toml"), None)
    assert tables.shape_key_names() == list(document)
    assert set(told_of(tables.shape_text(), list(document)).meanings) == set(document)


def test_an_error_has_the_keys_that_its_page_tells() -> None:
    assert list(InputError("wrong").as_dict()) == [key.name for key in keys_of(ErrorEvidence)]


@pytest.mark.parametrize("example", ["cabin-grab-rail", "loft-rail"])
def test_every_key_of_a_proof_is_told_where_proofs_are_written(example: str) -> None:
    part, evidence = load_part(ROOT / "examples" / f"{example}.toml"), planner.Evidence()
    made = planner.plan(part, planner.load_machine(part.machine or ""), evidence=evidence)
    document = {key: value for key, value in planner.proof_document(made, evidence).items() if key != "plan"}
    told = set(re.findall(r"\w+", inspect.getdoc(proof) or ""))
    numbers = {name for rule in document["rules"] for name in rule["numbers"]}
    assert set(in_file(json.loads(json.dumps(document)))) | numbers <= told


def test_all_that_is_made_is_asked_for_once_and_nothing_else_is() -> None:
    asked = [name for page in PAGES for name in tables.MARK.findall(text_of(page))]
    assert sorted(asked) == sorted(tables.MADE)
    with pytest.raises(KeyError):
        tables.made("<!-- made: nothing -->")


# Files and links


@pytest.mark.parametrize("page", [*PAGES, *ENTRANCES], ids=name_of)
def test_every_link_of_a_page_leads_to_a_page_and_a_heading_that_are_there(page: Path) -> None:
    for target, anchor in re.findall(r"\]\(([^)#\s]*)(?:#([^)]*))?\)", text_of(page)):
        there = page if not target else (page.parent / target).resolve()
        assert target.startswith("http") or there.exists(), target
        if anchor:
            assert anchor in anchors(there), f"{target}#{anchor}"


def anchors(page: Path) -> set[str]:
    """What headings of a page are called in its address."""
    headings = re.findall(r"^#+ (.*)$", tables.made(text_of(page)), re.MULTILINE)
    named = {match[1] for heading in headings if (match := re.search(r"\{: #([\w-]+) \}", heading))}
    plain = (re.sub(r"[^\w\s-]", "", heading).strip().lower() for heading in headings)
    return named | {re.sub(r"[-\s]+", "-", heading) for heading in plain}


BESIDE = (".git", ".venv", ".nox", "site")
THERE = [name_of(path) for path in ROOT.rglob("*") if path.relative_to(ROOT).parts[0] not in BESIDE]
"""All files and folders of the project."""

FILE = re.compile(r"`((?:[\w.-]+/)*[\w-]+\.(?:py|toml|js|css|txt|csv|md|yml)|(?:[\w.-]+/)+[\w.-]*)`")
"""What names a file or a folder in a page: by its ending, or by its slashes."""

NO_FILE = re.compile(r"bendorder-\w+/\d$|\.venv/|site/$")
"""Schemas of documents, and what is made at work."""


@pytest.mark.parametrize("page", [*PAGES, *ENTRANCES], ids=name_of)
def test_every_file_that_a_page_names_is_there(page: Path) -> None:
    lost = [name for name in FILE.findall(text_of(page)) if not is_there(name) and not NO_FILE.match(name)]
    assert not lost, lost


def is_there(name: str) -> bool:
    wanted = name.rstrip("/")
    return any(path == wanted or path.endswith(f"/{wanted}") for path in THERE)


def test_a_file_that_is_not_there_is_seen() -> None:
    assert FILE.findall("`planner/nowhere.py` and `planner/search`, `x = 3`, `look_over`") == [
        "planner/nowhere.py",
        "planner/search",
    ]
    assert not is_there("planner/nowhere.py")
    assert is_there("planner/inputs/")


def test_every_page_stands_in_the_list_of_pages() -> None:
    listed = re.findall(r": (\S+\.md)$", text_of(ROOT / "mkdocs.yml"), re.MULTILINE)
    assert sorted(listed) == sorted(page.relative_to(DOCS).as_posix() for page in PAGES)


def test_the_map_lists_the_folders_in_the_order_data_flows_and_every_module_says_what_it_is() -> None:
    of_folders = [name for names in FLOW for name in names if (ROOT / "planner" / name).is_dir()]
    assert sorted(folders(), key=PLACE.__getitem__) == folders()
    assert sorted(folders()) == sorted(of_folders)
    listed = [module for folder in packages() for module in modules_of(folder)]
    assert {path for path in MODULES if not path.name.startswith("__")} <= set(listed)
    assert all(len(about(module)) > 10 for module in listed), [module for module in listed if len(about(module)) <= 10]


def test_five_decisions_stand_each_with_its_question_and_what_follows() -> None:
    for number in range(1, 6):
        (page,) = DOCS.glob(f"decisions/{number:04}-*.md")
        assert text_of(page).startswith(f"# {number}: ")
        headings = re.findall(r"^## (.*)$", text_of(page), re.MULTILINE)
        assert headings == ["The question", "What was decided", "What follows", "What was not taken"]


def test_the_words_of_the_glossary_stand_in_order_each_with_its_meaning() -> None:
    for section in text_of(DOCS / "glossary.md").split("\n## ")[1:]:
        rows = [line.strip("| ").split(" | ") for line in section.splitlines() if line.startswith("| ")][2:]
        assert all(len(row) >= 2 and row[1].strip() for row in rows)
        words = [row[0].lower().replace("-", "") for row in rows]
        assert words == sorted(words)


def test_python_names_that_are_public_stand_on_their_page() -> None:
    shown = re.findall(r"^::: ([\w.]+)$", text_of(DOCS / "python.md"), re.MULTILINE)
    assert set(planner.__all__) <= {name.rpartition(".")[2] for name in shown}
    for name in shown:
        module, _, member = name.rpartition(".")
        assert hasattr(__import__(module, fromlist=[member]), member), name


# The tour


TOUR = text_of(DOCS / "tour.md")
BLOCKS = re.findall(r"```(\w+)\n(.*?)```", TOUR, re.DOTALL)


def test_the_file_that_the_tour_shows_is_the_examples() -> None:
    shown = [text for kind, text in BLOCKS if kind == "toml"]
    assert len(shown) == 1
    assert shown[0] in text_of(ROOT / "examples" / "cabin-grab-rail.toml")


@pytest.fixture(scope="module")
def beside(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the examples, to run the tour in."""
    folder = tmp_path_factory.mktemp("tour")
    shutil.copytree(ROOT / "examples", folder / "examples")
    return folder


def commands() -> list[tuple[str, str]]:
    """Commands of the tour, with what it says that they print."""
    found = [text.partition("\n") for kind, text in BLOCKS if kind == "console"]
    assert all(first.startswith("$ bendorder ") for first, _, _ in found)
    return [(first.removeprefix("$ bendorder "), rest) for first, _, rest in found]


def prints(shown: str, printed: str) -> bool:
    """Whether stretches of lines between "…" stand in what is printed, whole and in this order."""
    at, open_before = 0, False
    for stretch in re.split(r"^…\n", shown, flags=re.MULTILINE):
        found = printed.find(stretch, at)
        if found < 0 or (found > at and not open_before):
            return False
        at, open_before = found + len(stretch), True
    return shown.endswith("…\n") or at == len(printed)


def test_every_command_of_the_tour_prints_what_the_tour_says_and_so_does_its_python(
    beside: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for command, shown in commands():
        asked = [sys.executable, "-m", "planner", *shlex.split(command)]
        answer = subprocess.run(
            asked, cwd=beside, env={"PYTHONPATH": str(ROOT)}, capture_output=True, text=True, check=True
        )
        assert prints(shown, answer.stdout), f"{command}\n{answer.stdout}"
    monkeypatch.chdir(beside)
    talk = "".join(text for kind, text in BLOCKS if kind == "pycon")
    test = doctest.DocTestParser().get_doctest(talk, {}, "tour.md", "docs/tour.md", 0)
    runner, told = doctest.DocTestRunner(), io.StringIO()
    runner.run(test, out=told.write)
    assert len(test.examples) > 20
    assert runner.failures == 0, told.getvalue()


def test_what_a_command_does_not_print_is_seen() -> None:
    assert prints("a\n…\nd\n", "a\nb\nc\nd\n")
    assert prints("a\n…\n", "a\nb\n")
    assert not prints("a\n…\ne\n", "a\nb\nc\nd\n")
    assert not prints("a\nc\n", "a\nb\nc\n")
    assert not prints("b\n…\na\n", "a\nb\n")
    assert not prints("a\n", "a\nb\n")


# The site


@pytest.mark.parametrize(
    ("name", "text", "found"),
    [
        ("a.html", '<p>curl http://127.0.0.1:8765/ <code>https://x</code> <a href="b.html#c">b</a>', 0),
        ("a.html", '<a href="https://elsewhere.example/">there</a>', 1),
        ("a.html", '<script src="//elsewhere.example/a.js"></script>', 1),
        ("a.html", '<link rel="stylesheet" href="HTTPS://elsewhere.example/a.css">', 1),
        ("a.html", '<img src="page/a.png" style="background: url(https://elsewhere.example/b.png)">', 1),
        ("a.css", '@import "https://elsewhere.example/a.css"; p { background: url(b.png) }', 1),
        ("a.css", "@font-face { src: url('//elsewhere.example/a.woff2') }", 1),
        ("a.css", "p { background: url(b.png) } /* https: // is none */", 0),
        ("a.js", 'fetch("https://elsewhere.example/")', 1),
        ("a.js", "const a = b; // nothing comes from outside", 0),
    ],
)
def test_an_address_outside_the_site_is_seen_and_nothing_else(tmp_path: Path, name: str, text: str, found: int) -> None:
    (tmp_path / name).write_text(text, encoding="utf-8")
    assert len(addresses(tmp_path / name)) == found


def test_the_theme_asks_for_nothing_from_outside() -> None:
    files = [path for path in (DOCS / "theme").iterdir() if path.suffix != ".html"]
    assert len(files) >= 2
    assert not [found for file in files for found in addresses(file)]
    assert "//" not in re.sub(r"\{\{.*?\}\}|\{%.*?%\}", "", text_of(DOCS / "theme" / "main.html"))


def test_ci_builds_the_site_without_warnings_in_an_environment_of_its_own() -> None:
    site = text_of(ROOT / ".ci" / "site")
    assert ".ci/site\n" in text_of(ROOT / ".ci" / "run")
    for needed in ("--require-hashes -r requirements/docs.txt", "mkdocs build -q --strict", "docs.making.outside"):
        assert needed in site
    assert re.search(r"validation:\n(?:  \w+: warn\n){4}", text_of(ROOT / "mkdocs.yml"))
