"""The corpus: made twice it is the same, and a comparison sees every byte but for the keys that were added."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from tests import corpus


def written(folder: Path, document: Any) -> Path:
    (folder / "rail").mkdir(parents=True)
    (folder / "rail" / "plan.json").write_text(json.dumps(document), encoding="utf-8")
    return folder


DOCUMENT = {"verdict": "makeable", "steps": [{"amount": 400.0, "note": "–"}], "order": [1, 2]}


@pytest.mark.parametrize("key", sorted(corpus.ADDED))
def test_a_key_that_was_added_makes_no_difference(tmp_path: Path, key: str) -> None:
    after = {**DOCUMENT, key: 1, "steps": [{**DOCUMENT["steps"][0], key: {"x": [1]}}]}  # type: ignore[dict-item]
    assert corpus.compare(written(tmp_path / "a", DOCUMENT), written(tmp_path / "b", after)) == []


@pytest.mark.parametrize(
    "after",
    [
        {**DOCUMENT, "facts": 1},
        {**DOCUMENT, "order": [2, 1]},
        {**DOCUMENT, "steps": [{"amount": 400.0000001, "note": "–"}]},
        {**DOCUMENT, "steps": [{"amount": 400, "note": "–"}]},
        {**DOCUMENT, "steps": [{"note": "–", "amount": 400.0}]},
    ],
    ids=["another key", "another order", "another digit", "a whole number", "keys the other way round"],
)
def test_anything_else_is_a_difference(tmp_path: Path, after: Any) -> None:
    before, other = written(tmp_path / "a", DOCUMENT), written(tmp_path / "b", after)
    assert corpus.compare(before, other) == ["rail/plan.json"]
    assert corpus.main(["compare", str(before), str(other)]) == 1


def test_a_document_that_is_missing_or_new_is_a_difference(tmp_path: Path) -> None:
    before, after = written(tmp_path / "a", DOCUMENT), written(tmp_path / "b", DOCUMENT)
    (after / "rail" / "why.json").write_text("{}", encoding="utf-8")
    (before / "rail" / "check.json").write_text("{}", encoding="utf-8")
    assert corpus.compare(before, after) == ["rail/check.json", "rail/why.json"]


def test_made_twice_it_is_the_same(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    few = [pair for pair in corpus.pairs(2) if pair.name in ("seat-stay on canal-workshop", "random 001")]
    assert len(few) == 2
    monkeypatch.setattr(corpus, "pairs", lambda _: iter(few))
    for name in ("a", "b"):
        assert corpus.main(["make", str(tmp_path / name), "--parts", "2", "--workers", "1"]) == 0
    assert corpus.main(["compare", str(tmp_path / "a"), str(tmp_path / "b")]) == 0
    assert {path.name for path in (tmp_path / "a").glob("*/*.json")} >= {
        "plan.json",
        "proof.json",
        "why.json",
        "check.json",
    }
