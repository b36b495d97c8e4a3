"""What must come before what, drawn: as lines of text, and as a plain picture (SVG)."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from html import escape

from planner.advice.answers import Before, Leads, Precedence

PROVED, NOT_PROVED = " -> ", " ~> "

PITCH, ROW, RADIUS, MARGIN = 92.0, 62.0, 21.0, 34.0
"""Of the picture: from column to column, from row to row, of a bend's disc, around it all [px]."""

BOWS = (0.0, 28.0, -28.0, 56.0, -56.0, 90.0, -90.0)
"""How far an arrow may be bowed aside to keep off the bends between, the first that does [px]."""

Point = tuple[float, float]

INK, FAINT, PAPER, DISC = "#2b3a42", "#8a979d", "#fbfaf7", "#dfe9e6"


def text_diagram(n: int, arrows: Sequence[Before], leads: Sequence[Leads]) -> tuple[str, ...]:
    """Return chains of bends that together show every arrow, a line each, and a line of the bends without an arrow.

    A bend carries the end that leads where it is always the same one; "~>" is an arrow that is not proved.
    """
    names = _names(n, leads)
    left = list(arrows)
    lines = []
    while left:
        chain = _longest_chain(left)
        said = names[chain[0].first]
        for arrow in chain:
            said += f"{PROVED if arrow.proved else NOT_PROVED}{names[arrow.then]}"
        lines.append(said)
        left = [arrow for arrow in left if arrow not in chain]
    drawn = {bend for arrow in arrows for bend in (arrow.first, arrow.then)}
    free = [names[bend] for bend in range(1, n + 1) if bend not in drawn]
    if free and (arrows or leads):
        lines.append(f"at any time: {', '.join(free)}")
    return tuple(lines)


def _names(n: int, leads: Iterable[Leads]) -> dict[int, str]:
    led = {entry.bend: entry.leads for entry in leads}
    return {bend: f"{bend}{led.get(bend, '')}" for bend in range(1, n + 1)}


def _longest_chain(arrows: Sequence[Before]) -> list[Before]:
    """Return the longest chain of arrows, of equals the one with the lowest bends."""
    best: dict[int, list[Before]] = {}

    def chain_from(bend: int) -> list[Before]:
        if bend not in best:
            ways = [[arrow, *chain_from(arrow.then)] for arrow in arrows if arrow.first == bend]
            best[bend] = max(ways, key=lambda way: (len(way), [-arrow.then for arrow in way]), default=[])
        return best[bend]

    return max((chain_from(arrow.first) for arrow in arrows), key=lambda way: (len(way), -way[0].first))


def columns_of(n: int, arrows: Sequence[Before]) -> dict[int, int]:
    """Return for each bend how many bends at least come before it one after the other."""
    column = dict.fromkeys(range(1, n + 1), 0)
    for _ in range(n):  # as often as the longest chain is long
        for arrow in arrows:
            column[arrow.then] = max(column[arrow.then], column[arrow.first] + 1)
    return column


def svg_diagram(found: Precedence, title: str) -> str:
    """Return the picture: bends as discs in columns, those that must come earlier to the left; dashed: not proved."""
    column, row = columns_of(found.bends, found.arrows), dict[int, int]()
    filled = dict.fromkeys(range(found.bends), 0)
    for bend in range(1, found.bends + 1):
        row[bend] = filled[column[bend]]
        filled[column[bend]] += 1
    at = {bend: (MARGIN + RADIUS + PITCH * column[bend], MARGIN + RADIUS + ROW * row[bend]) for bend in row}
    wide = max(x for x, _ in at.values()) + RADIUS + MARGIN
    high = max(y for _, y in at.values()) + RADIUS + MARGIN
    names = _names(found.bends, found.leads)
    body = []
    for arrow in found.arrows:
        others = [place for bend, place in at.items() if bend not in (arrow.first, arrow.then)]
        body.append(_line(at[arrow.first], at[arrow.then], others, arrow.proved))
    body += [_disc(at[bend], names[bend]) for bend in sorted(at)]
    size = f'width="{wide:g}" height="{high:g}"'
    tip = f'<path d="M0 0.5 L8 4 L0 7.5 Z" fill="{FAINT}"/>'
    marker = 'id="tip" viewBox="0 0 8 8" refX="7" refY="4" markerWidth="7" markerHeight="7" orient="auto"'
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide:g} {high:g}" {size} role="img"',
        ' font-family="sans-serif">',
        f"<title>{escape(title)}</title>",
        f"<defs><marker {marker}>{tip}</marker></defs>",
        f'<rect {size} fill="{PAPER}"/>',
        *body,
        "</svg>",
    ]
    return "\n".join(lines) + "\n"


def _line(start: Point, end: Point, others: Sequence[Point], proved: bool) -> str:
    """Return an arrow between the rims of two discs, bowed as little as keeps it off the others."""
    curves = [_curve(start, end, bow) for bow in BOWS]
    a, middle, b = next((curve for curve in curves if _is_clear(curve, others)), curves[0])
    dashes = "" if proved else ' stroke-dasharray="5 4"'
    return (
        f'<path d="M{a[0]:.1f} {a[1]:.1f} Q{middle[0]:.1f} {middle[1]:.1f} {b[0]:.1f} {b[1]:.1f}" fill="none"'
        f' stroke="{FAINT}" stroke-width="1.6"{dashes} marker-end="url(#tip)"/>'
    )


def _curve(start: Point, end: Point, bow: float) -> tuple[Point, Point, Point]:
    """Return start, control point and end of a parabola from rim to rim; bow: how far its middle lies aside [px]."""
    (x0, y0), (x1, y1) = start, end
    length = _length(x1 - x0, y1 - y0)
    aside = (-(y1 - y0) / length * 2.0 * bow, (x1 - x0) / length * 2.0 * bow)
    middle = ((x0 + x1) / 2.0 + aside[0], (y0 + y1) / 2.0 + aside[1])
    return _rim(start, middle), middle, _rim(end, middle)


def _is_clear(curve: tuple[Point, Point, Point], others: Sequence[Point]) -> bool:
    """Say whether a parabola keeps off some discs."""
    a, middle, b = curve
    for place in range(41):
        t = place / 40.0
        x, y = ((1 - t) ** 2 * p + 2 * t * (1 - t) * q + t * t * r for p, q, r in zip(a, middle, b, strict=True))
        if any((x - u) ** 2 + (y - v) ** 2 < (RADIUS + 4.0) ** 2 for u, v in others):
            return False
    return True


def _rim(centre: Point, toward: Point) -> Point:
    """Return the point of a disc's rim in a direction, a little off it."""
    dx, dy = toward[0] - centre[0], toward[1] - centre[1]
    off = (RADIUS + 3.0) / _length(dx, dy)
    return centre[0] + off * dx, centre[1] + off * dy


def _length(dx: float, dy: float) -> float:
    """Return the length of a way to divide it by [px]: 1 of one that leads nowhere."""
    length = math.hypot(dx, dy)
    return length if length > 0.0 else 1.0


def _disc(at: Point, name: str) -> str:
    return (
        f'<circle cx="{at[0]:.1f}" cy="{at[1]:.1f}" r="{RADIUS:g}" fill="{DISC}" stroke="{INK}" stroke-width="1.2"/>'
        f'<text x="{at[0]:.1f}" y="{at[1]:.1f}" fill="{INK}" font-size="15" text-anchor="middle"'
        f' dominant-baseline="central">{escape(name)}</text>'
    )
