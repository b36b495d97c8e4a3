"""Numbers and lists in shop words [mm], [deg], [s]."""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Iterable, Sequence

from planner.tolerances import COUNT_SLACK, DIGIT_SLACK

FEWEST_DECIMALS = 1
MOST_DECIMALS = 4


def plain(text: object) -> str:
    """Return the text on one line without control characters: no name from a file may drive a terminal."""
    return "".join(" " if unicodedata.category(c) in {"Cc", "Cf", "Zl", "Zp"} else c for c in str(text)).strip()


def decimals_of(resolution: float) -> int:
    """Return how many decimals a readout of this resolution shows: 1 -> 0, 0.1 -> 1, 0.05 -> 2."""
    for decimals in range(MOST_DECIMALS):
        if abs(round(resolution, decimals) - resolution) < DIGIT_SLACK:
            return decimals
    return MOST_DECIMALS


def number(value: float, decimals: int = FEWEST_DECIMALS) -> str:
    """Return the number with so many decimals, and never "-0.0"."""
    text = f"{value:.{decimals}f}"
    return text.lstrip("-") if float(text) == 0 else text


def millimetres(value: float, decimals: int = FEWEST_DECIMALS) -> str:
    """Return a length [mm] with its unit."""
    return f"{number(value, decimals)} mm"


def rounded_down(bound: float) -> float:
    """Return a proved lower bound [mm, deg] rounded down to a tenth, so that what is said is proved too."""
    return math.floor(bound * 10.0 + COUNT_SLACK) / 10.0


def at_least(bound: float) -> str:
    """Return a proved lower bound [mm] rounded down, with its unit."""
    return millimetres(rounded_down(bound))


def degrees(value: float, decimals: int = FEWEST_DECIMALS) -> str:
    """Return an angle [deg] with its unit."""
    return f"{number(value, decimals)}°"


def size(value: float) -> str:
    """Return a nominal size [mm] as it stands on a drawing: 38.1, 1.65, 20; up to 4 decimals."""
    return number(value, MOST_DECIMALS).rstrip("0").rstrip(".")


def duration(seconds: float) -> str:
    """Return a time [s] in words: "45 s", "4 min 05 s", "1 h 02 min"."""
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60:02d} s"
    minutes = round(seconds / 60)
    return f"{minutes // 60} h {minutes % 60:02d} min"


def minutes(seconds: float) -> str:
    """Return a time [s] for a column: "0:45", "4:05"."""
    whole = round(seconds)
    return f"{whole // 60}:{whole % 60:02d}"


def listed(words: Iterable[object], last: str = "and") -> str:
    """Return "a", "a and b", "a, b and c"."""
    texts = [str(word) for word in words]
    if len(texts) < 2:
        return "".join(texts)
    return f"{', '.join(texts[:-1])} {last} {texts[-1]}"


def counted(count: int, one: str, many: str | None = None) -> str:
    """Return "1 bend", "2 bends"; `many` where an s is not enough."""
    return f"{count} {one if count == 1 else f'{one}s' if many is None else many}"


def numbers(values: Sequence[int]) -> str:
    """Return step or bend numbers with runs shortened: 1, 3 to 5 and 9."""
    runs: list[list[int]] = []
    for value in sorted(set(values)):
        if runs and value == runs[-1][-1] + 1:
            runs[-1].append(value)
        else:
            runs.append([value])
    words: list[str] = []
    for run in runs:
        words += [f"{run[0]} to {run[-1]}"] if len(run) > 2 else [str(value) for value in run]
    return listed(words)
