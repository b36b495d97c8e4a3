"""The JSON documents have a schema, and hold nothing that JSON has no word for."""

from __future__ import annotations

import json

import pytest

from planner.outputs.documents import as_json, error_document, machine_document, machines_document


def test_every_document_names_its_schema_first() -> None:
    documents = [error_document({}), machines_document([]), machine_document({}, "bender.toml")]
    assert [next(iter(document)) for document in documents] == ["schema"] * 3
    assert [document["schema"] for document in documents] == [
        "bendorder-error/1",
        "bendorder-machines/1",
        "bendorder-machine/1",
    ]


@pytest.mark.parametrize("number", [float("nan"), float("inf")])
def test_what_json_cannot_say_is_refused(number: float) -> None:
    with pytest.raises(ValueError, match="JSON"):
        as_json({"x": number})


def test_text_survives_as_it_is() -> None:
    assert json.loads(as_json({"name": "Rüstung 90°"})) == {"name": "Rüstung 90°"}
    assert "Rüstung 90°" in as_json({"name": "Rüstung 90°"})
