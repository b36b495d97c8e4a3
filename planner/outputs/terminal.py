"""A page of plain blocks for a terminal or a pipe: headings, fields, bullets, tables.

On a terminal a page is as wide as the window; in a pipe it is plain text without colour, 100 columns wide.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import IO

from rich.console import Console, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from planner.words import plain

PIPED_WIDTH = 100  # [characters]
FIELD_WIDTH = 12  # [characters]


class Page:
    """A page that is written block by block to one stream."""

    def __init__(self, stream: IO[str] | None = None, width: int | None = None) -> None:
        """Open a page on the stream (standard output if None); width [characters], the window's if None."""
        self._console = Console(file=stream, markup=False, highlight=False, emoji=False)
        if width is not None or not self._console.is_terminal:
            self._console = Console(
                file=stream,
                markup=False,
                highlight=False,
                emoji=False,
                width=PIPED_WIDTH if width is None else width,
            )

    @property
    def width(self) -> int:
        """Width of the page [characters]."""
        return self._console.width

    def _put(self, block: RenderableType) -> None:
        """Write a block; without the blanks that fill its lines up to the width."""
        with self._console.capture() as captured:
            self._console.print(block, crop=False)
        lines = captured.get().splitlines()
        self._console.file.write("".join(f"{line.rstrip()}\n" for line in lines))

    def blank(self) -> None:
        """Leave a line empty."""
        self._put(Text())

    def text(self, words: str, style: str = "", indent: int = 0) -> None:
        """Write a paragraph, wrapped to the page."""
        self._put(Padding(Text(plain(words), style=style), (0, 0, 0, indent)))

    def heading(self, words: str) -> None:
        """Write a heading after an empty line."""
        self.blank()
        self.text(words, style="bold")

    def bullets(self, words: Iterable[str], style: str = "", indent: int = 2) -> None:
        """Write one bullet for each sentence."""
        for sentence in words:
            self.row([("-", 2), (sentence, None)], style=style, indent=indent)

    def field(self, name: str, *lines: str) -> None:
        """Write a name at the margin and what belongs to it beside it, a line each."""
        for i, line in enumerate(lines):
            self.row([(name if i == 0 else "", FIELD_WIDTH), (line, None)])

    def drawing(self, lines: Sequence[str], indent: int = FIELD_WIDTH) -> None:
        """Write lines as they stand, never wrapped."""
        for line in lines:
            self._put(Text(" " * indent + line, no_wrap=True, overflow="ignore"))

    def row(self, cells: Sequence[tuple[str, int | None]], style: str = "", indent: int = 0) -> None:
        """Write cells beside each other, each wrapped to its width; None takes the rest of the page."""
        grid = Table.grid(padding=(0, 1, 0, 0), expand=True, pad_edge=False)
        for _, wide in cells:
            grid.add_column(width=wide, ratio=1 if wide is None else None, overflow="fold")
        grid.add_row(*(Text(plain(words), style=style) for words, _ in cells))
        self._put(Padding(grid, (0, 0, 0, indent)))

    def table(self, head: Sequence[str], rows: Iterable[Sequence[str]], indent: int = 2, left: int = 0) -> None:
        """Write a table; numbers stand to the right but for the first `left` columns."""
        grid = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="bold")
        for i, words in enumerate(head):
            grid.add_column(words, justify="left" if i < left else "right", overflow="fold")
        for row in rows:
            grid.add_row(*(Text(plain(words)) for words in row))
        self._put(Padding(grid, (0, 0, 0, indent)))
