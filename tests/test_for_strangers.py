"""What somebody finds who never saw the project: a licence, what changed, how to cite it, and links that lead somewhere."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
PAGES = ("README.md", "DEVELOPERS.md", "CHANGELOG.md")


def text_of(name: str) -> str:
    return (ROOT / name).read_text(encoding="utf-8")


def test_the_licence_is_the_one_that_the_project_names() -> None:
    assert PROJECT["license"] == "MIT"
    assert PROJECT["license-files"] == ["LICENSE"]
    assert text_of("LICENSE").startswith("MIT License\n\nCopyright (c) the bendorder authors\n")
    assert not any(classifier.startswith("License ::") for classifier in PROJECT["classifiers"]), "PEP 639"


def test_the_version_is_the_same_wherever_it_stands() -> None:
    assert f"\nversion: {PROJECT['version']}\n" in text_of("CITATION.cff")
    assert f"## {PROJECT['version']}" in text_of("CHANGELOG.md")


def test_the_citation_names_what_the_project_names() -> None:
    citation = text_of("CITATION.cff")
    assert citation.startswith("cff-version: 1.2.0\n")  # the schema's version, citation-file-format.github.io
    for line in (f"title: {PROJECT['name']}", f"license: {PROJECT['license']}", PROJECT["authors"][0]["name"]):
        assert line in citation
    assert "http" not in citation, "no address is made up"


def test_the_readme_begins_with_a_few_lines_and_a_picture() -> None:
    beginning = text_of("README.md").partition("```")[0]
    words, picture = beginning.index("Finds the order"), beginning.index("![")
    assert words < picture
    assert len(beginning[words:picture].strip().splitlines()) == 3


@pytest.mark.parametrize("page", PAGES)
def test_every_link_of_a_page_leads_somewhere(page: str) -> None:
    for target in re.findall(r"\]\(([^)]+)\)", text_of(page)):
        if not target.startswith(("http", "#")):
            assert (ROOT / target).exists(), target


def test_what_is_hooked_before_a_commit_is_what_ci_holds() -> None:
    hooks, ci = text_of(".pre-commit-config.yaml"), text_of(".ci/run")
    for command in ("ruff check", "ruff format --check", "mypy", "tests/test_layers.py"):
        assert command in hooks
        assert command in ci
    assert "http" not in hooks, "nothing is fetched for it"


def test_every_task_of_the_contributors_page_is_in_the_one_file_of_tasks() -> None:
    tasks = set(re.findall(r"@nox\.session\ndef (\w+)", text_of("noxfile.py")))
    working = text_of("DEVELOPERS.md").partition("## Working")[2].partition("\n## ")[0]
    for command, task in (
        ("-m pytest -q", "tests"), ("--campaign", "campaign"), ("ruff format --check", "lint"), ("mypy", "types"),
        ("tests.page.pictures", "pictures"), ("tests/benchmarks", "benchmarks"), ("tests.corpus", "corpus"),
        ("-s wheel", "wheel"), ("-s lists", "lists"), ("-s docs", "docs"),
    ):  # fmt: skip
        assert command in working
        assert task in tasks
