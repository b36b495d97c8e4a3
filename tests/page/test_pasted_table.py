"""A pasted table comes back as it was written, however it was written; what cannot be told apart is refused at its place."""

from __future__ import annotations

import random
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.page.lengths import text_of
from planner.page.part_form import COLUMNS
from planner.page.pasted_table import NotATable, Pasted, pasted

numbers = st.integers(-(10**7), 10**7).map(lambda n: text_of(n / 1000.0))
commas = st.integers(-(10**6), 10**6).map(lambda n: text_of(n / 100.0).replace(".", ","))


@st.composite
def tables(draw: st.DrawFn) -> tuple[Any, list[list[str]]]:
    """A kind, and rows as the form has them."""
    kind = draw(st.sampled_from(["lra", "xyz"]))
    cell = draw(st.sampled_from([numbers, commas]))
    count = draw(st.integers(2, 9))
    radii = draw(st.booleans())
    rows = [[draw(cell) for _ in range(3)] + [draw(cell) if radii else ""] for _ in range(count)]
    if kind == "lra":
        rows.append([draw(cell), "", "", ""])
    return kind, rows


def written(kind: Any, rows: list[list[str]], way: str, header: bool, seed: int) -> str:
    """A table as a spreadsheet, a CSV writer or a text editor may write it."""
    chance = random.Random(seed)
    width = 4 if any(row[3] for row in rows) else 3
    order = list(range(width))
    if header:
        chance.shuffle(order)
    names = [chance.choice([str.upper, str.title, str.lower])(COLUMNS[kind][i]) for i in order]
    lines = [names] if header else []
    for row in rows:
        alone = kind == "lra" and not any(row[1:])
        short = alone and (way == "spaces" or order[0] == 0) and chance.random() < 0.7
        lines.append([row[0]] if short or (alone and way == "spaces") else [row[i] for i in order])
    if way == "spaces":
        margin = " " * chance.randrange(3)
        text = [margin + "".join(cell.rjust(12) for cell in line) + " " * chance.randrange(3) for line in lines]
    else:
        mark = {"tabs": "\t", "semicolons": ";", "commas": ",", "commas and spaces": ", "}[way]
        quoted = chance.random() < 0.3 or (mark.strip() == "," and any("," in cell for row in rows for cell in row))
        text = [mark.join(f'"{cell}"' if quoted else cell for cell in line) for line in lines]
    end = chance.choice(["\n", "\r\n", "\r"])
    return chance.choice(["", "\ufeff"]) + end.join(text) + end * chance.randrange(4)


WAYS = ["tabs", "semicolons", "commas", "commas and spaces", "spaces"]


@given(tables(), st.sampled_from(WAYS), st.booleans(), st.integers(0, 10**9))
def test_a_table_written_in_any_way_comes_back_the_same(
    table: tuple[Any, list[list[str]]], way: str, header: bool, seed: int
) -> None:
    kind, rows = table
    text = written(kind, rows, way, header, seed)
    found = pasted(text, ("xyz" if kind == "lra" else "lra") if header else kind)
    assert (found.kind, found.rows) == (kind, rows), text


def table_or_refusal(text: str, kind: Any) -> Pasted | NotATable:
    try:
        return pasted(text, kind)
    except NotATable as refused:
        return refused


@given(
    st.text() | st.text("0123456789.,;\t\n\r \"'-xyzradiustlongeoXYZ\ufeff\u00a0", max_size=60),
    st.sampled_from(["lra", "xyz"]),
)
def test_any_text_whatever_is_a_table_or_is_refused_with_its_line(text: str, kind: Any) -> None:
    found = table_or_refusal(text, kind)
    if isinstance(found, NotATable):
        assert found.line is not None
        assert found.line >= 1
        assert found.column is None or found.column >= 1
        assert found.allowed
        assert str(found).startswith(f"line {found.line}")
        return
    assert found.rows
    assert all(len(row) == 4 for row in found.rows)
    assert any(any(row) for row in found.rows)


@pytest.mark.parametrize(
    ("text", "kind", "line", "column", "words"),
    [
        ("", "lra", 1, None, "nothing in it"),
        ("\r\n\t\t\r\n", "lra", 1, None, "nothing in it"),
        ("straight,rotation,angle\n", "lra", 1, None, "no row follows"),
        ("straight,rotaton,angle\n1,0,9\n", "lra", 1, 2, 'did you mean "rotation"'),
        ("straight [mm]\trotation\tangle\n1\t0\t9", "lra", 1, 1, 'did you mean "straight"'),
        ("\nstraight\trotation\n1\t0", "lra", 2, 3, "the column angle is missing"),
        ("x;y;z;y\n1;2;3;4", "lra", 1, 4, "twice"),
        ("x;y;z;angle\n1;2;3;4", "lra", 1, 4, "no column beside x, y, z"),
        ("100\t0\t90\n100\tabc\t90\n50", "lra", 2, 2, '"abc" is no number'),
        ("100 0 90 76.2 8\n50", "lra", 1, 5, "5 cells"),
        ("1 2 3\n4 5\n6 7 8", "xyz", 2, 3, "2 of the three"),
        ("1;2;3\n4;5;6\n7", "xyz", 3, 2, "1 of the three"),
        ("radius straight rotation angle\n76 100 0 90\n100 0 90\n50", "lra", 3, 4, "cannot be told"),
        ("100\t0\t90\n\t50", "lra", 2, 2, "stands alone"),
        ("100,0,90\n\"50\n", "lra", 2, 1, "quote that is not closed"),
        ("\n".join(["100 0 90"] * 70), "lra", 63, None, "70 rows"),
        ("1" * 100_001, "lra", 1, None, "too long"),
    ],
)  # fmt: skip
def test_what_is_no_table_is_refused_with_line_and_column(
    text: str, kind: Any, line: int, column: int | None, words: str
) -> None:
    with pytest.raises(NotATable) as caught:
        pasted(text, kind)
    assert (caught.value.line, caught.value.column) == (line, column)
    assert words in str(caught.value)


@pytest.mark.parametrize(
    ("text", "rows"),
    [
        ("100,5 0 90\n50,5", [["100,5", "0", "90", ""], ["50,5", "", "", ""]]),  # decimal commas, parted by spaces
        ("100,5;0;90\n50,5", [["100,5", "0", "90", ""], ["50,5", "", "", ""]]),
        ('"100,5",0,90\n"50,5",,', [["100,5", "0", "90", ""], ["50,5", "", "", ""]]),
        ("100\t0\t90\t\n50\t180\t45\t114.3\n20\t\t\t", [["100", "0", "90", ""], ["50", "180", "45", "114.3"], ["20", "", "", ""]]),
        ("1 234\t0\t90°\n50", [["1 234", "0", "90°", ""], ["50", "", "", ""]]),  # the form says what is wrong with it
        ("100 0 90\n\n50", [["100", "0", "90", ""], ["", "", "", ""], ["50", "", "", ""]]),  # and this as well
    ],
)  # fmt: skip
def test_cells_are_taken_as_they_are(text: str, rows: list[list[str]]) -> None:
    assert pasted(text, "lra").rows == rows
