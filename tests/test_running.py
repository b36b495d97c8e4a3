"""The order in which the test files are run names files that there are."""

from __future__ import annotations

from pathlib import Path

from tests.conftest import LONGEST, TOGETHER


def test_every_file_that_is_run_first_or_beside_another_is_there_and_in_one_place_only() -> None:
    folder = Path(__file__).parent
    together = [file for files in TOGETHER for file in files]
    assert [file for file in (*LONGEST, *together) if not (folder / file).is_file()] == []
    assert len(set(LONGEST)) == len(LONGEST)
    assert len(set(together)) == len(together)
