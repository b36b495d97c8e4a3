"""Numbers as they are typed, lengths in mm or inches.

A number is typed with a decimal point. What can mean one number only is taken (90° in a cell of degrees, a decimal
comma as in 12,5); what could mean two, or is something else, is refused with what may be meant: 1,234 is no number.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from planner.inputs.quantities import LARGEST, described
from planner.tolerances import EXACT_INCHES, KEPT_DECIMALS
from planner.wording.figures import INCH, LengthUnit

_OWN: Final[dict[str, str]] = {
    "mm": r"mm",
    "in": r"in|inch|inches|″|”|\"|''",
    "deg": r"°|º|deg|degrees?",
    "MPa": r"MPa|N/mm²|N/mm2",
    "s": r"s|sec|seconds?",
    "mm/s": r"mm/s",
    "in/s": r"in/s",
    "deg/s": r"°/s|deg/s",
    "": r"(?!)",
}
"""How the unit of a cell may be written behind its number."""

_FOREIGN: Final = (*_OWN.items(), ("cm", "cm"), ("m", "m"), ("ft", r"ft|feet|′|'"), ("rad", "rad"), ("ksi", "ksi"))

_MILLIMETRES: Final = {"mm": Decimal(1), "in": INCH, "cm": Decimal(10), "m": Decimal(1000), "ft": INCH * 12}

WORDS: Final = {"": "", "deg": "degrees", "s": "seconds", "in": "inches", "deg/s": "degrees a second"}
"""Units in words, where they are not said as they are written."""

LONGEST: Final = 200
"""No number takes more characters."""

_PLAIN = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_COMMA = re.compile(r"[+-]?([0-9]*),([0-9]+)")
_GROUPS = re.compile(
    r"[+-]?(?:[0-9]{1,3}(?:,[0-9]{3})+\.[0-9]+|[0-9]{1,3}(?:,[0-9]{3}){2,}"  # 1,234.5  1,234,567
    r"|[0-9]{1,3}(?:\.[0-9]{3})+,[0-9]+|[0-9]{1,3}(?:\.[0-9]{3}){2,}"  # 1.234,5  1.234.567
    r"|[0-9]{1,3}(?:[ '’][0-9]{3})+(?:[.,][0-9]+)?)"  # 1 234.5  1'234,5
)
_FRACTION = re.compile(r"([+-]?)(?:([0-9]{1,6})[ -]+)?([0-9]{1,6})/([0-9]{1,6})")
_POINTED_GROUP = re.compile(r"[+-]?[1-9][0-9]{0,2}\.[0-9]{3}")
_DASHES = str.maketrans("–—‒‐‑﹣－", "-------")
_SPACES = str.maketrans(dict.fromkeys("\u00a0\u2007\u2009\u202f\t\r\n", " ") | {"\ufeff": "", "\u2212": "-"})


@dataclass(frozen=True)
class Misread:
    """A text that is no number to work with: what is wrong, what may stand there, what may have been meant."""

    problem: str
    allowed: str
    suggestion: str | None = None


def number_of(text: str, unit: str = "", commas: bool = False) -> float | Misread:
    """Return the number that is typed in a cell of this unit ("mm", "in", "deg", "MPa", "s", "mm/s", "deg/s" or "").

    commas: decimal commas stand in other cells of the same table, so that 1.234 may be a thousand and more.
    """
    said = f"a number of {WORDS.get(unit, unit)}" if unit else "a number"
    if len(text) > LONGEST:
        return Misread(f"{described(text)} is no number", said)
    cell = text.translate(_SPACES).strip()
    bare = re.sub(rf"(?<![a-z]) *(?:{_OWN[unit]})$", "", cell, flags=re.IGNORECASE) if unit else cell
    if commas and _POINTED_GROUP.fullmatch(bare):
        return Misread(
            f"{described(text)} is {bare}, or {bare.replace('.', '')} where the point parts thousands, and other cells"
            " have decimal commas",
            f"{said}, with a decimal point in every cell",
        )
    comma = _COMMA.fullmatch(bare)
    if comma is not None:
        if len(comma[2]) == 3 and re.fullmatch(r"[1-9][0-9]{0,2}", comma[1]):
            either = f"{bare.replace(',', '.')} or {bare.replace(',', '')}"
            return Misread(f"{described(text)} may be {either}", f"{said} with a decimal point, thousands not parted")
        bare = bare.replace(",", ".")
    if not _PLAIN.fullmatch(bare):
        return _misread(text, cell, bare, unit, said)
    value = float(bare)
    if abs(value) > LARGEST:
        return Misread(f"{described(text)} is too large", f"{said}, at most a million")
    return value


def _misread(text: str, cell: str, bare: str, unit: str, said: str) -> Misread:
    """Say why a cell is no number, and what may be meant."""
    found = described(text)
    if not bare:
        return Misread("the cell is empty" if not cell else f"{found} is no number", said)
    if re.fullmatch(r"[+-]?(?:nan|inf|infinity|∞)", bare, flags=re.IGNORECASE):
        return Misread(f"{found} is no number to work with", said)
    if re.fullmatch(r"#[A-Z/0!?]+", bare):
        return Misread(f"{found} is what a spreadsheet shows for an error", said)
    if _GROUPS.fullmatch(bare):
        return Misread(
            f"{found} has its thousands parted", f"{said} without separators", _usable(_without_groups(bare))
        )
    fraction = _FRACTION.fullmatch(bare)
    if fraction is not None and int(fraction[4]) > 0:
        value = int(fraction[2] or 0) + Decimal(int(fraction[3])) / int(fraction[4])
        return Misread(f"{found} is a fraction", f"{said} with decimals", f"{fraction[1]}{text_of(float(value))}")
    dashed = bare.translate(_DASHES)
    if dashed != bare and _PLAIN.fullmatch(dashed):
        return Misread(f"{found} has a dash instead of a minus", said, dashed)
    for other, words in _FOREIGN:
        behind = re.fullmatch(rf"({_PLAIN.pattern})\s*(?:{words})", bare, flags=re.IGNORECASE)
        if behind is not None:
            here = f"; this cell has {WORDS.get(unit, unit)}" if unit else "; this cell has no unit"
            return Misread(f"{found} is in {WORDS.get(other, other)}{here}", said, _turned(behind[1], other, unit))
    if re.fullmatch(rf"{_PLAIN.pattern}(?:[ ;]+{_PLAIN.pattern})+", bare):
        return Misread(f"more than one number stands in {found}", f"{said}, one alone")
    return Misread(f"{found} is no number", said)


def _usable(number: str) -> str | None:
    """Return a number that may be meant, None where it is too large to be typed."""
    return number if abs(float(number)) <= LARGEST else None


def _without_groups(bare: str) -> str:
    """Return a number without separators of thousands, with a decimal point if it has decimals."""
    marks = [c for c in bare if c in ".,"]
    last = marks[-1] if marks and (len(set(marks)) > 1 or (len(marks) == 1 and re.search(r"[ '’]", bare))) else ""
    whole, _, decimals = bare.rpartition(last) if last else (bare, "", "")
    return re.sub(r"[^0-9+-]", "", whole) + (f".{decimals}" if last else "")


def _turned(number: str, other: str, unit: str) -> str | None:
    """Return a number of another unit in this one, None where that cannot be told."""
    value = float(number)
    if not math.isfinite(value):
        return None
    if other in _MILLIMETRES and unit in _MILLIMETRES:
        return _usable(text_of(round(float(Decimal(repr(value)) * _MILLIMETRES[other] / _MILLIMETRES[unit]), 6)))
    return _usable(text_of(round(math.degrees(value), 6))) if (other, unit) == ("rad", "deg") else None


def has_decimal_comma(texts: Iterable[str]) -> bool:
    """Return whether a decimal comma stands in any of these cells, one that can be nothing else."""
    commas = (_COMMA.fullmatch(re.sub(r"[^0-9.,+-]+$", "", text.translate(_SPACES).strip())) for text in texts)
    return any(c is not None and not (len(c[2]) == 3 and re.fullmatch(r"[1-9][0-9]{0,2}", c[1])) for c in commas)


def text_of(value: float) -> str:
    """Return a number as it is typed: the shortest text that reads back as the same, without exponent."""
    text = f"{Decimal(repr(float(value) + 0.0)):f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def typed_in(text: str, old: LengthUnit, new: LengthUnit) -> str:
    """Return a typed length in another unit, in as few decimals as keep it the same length; what is no number stays."""
    value = number_of(text, old)
    if old == new or isinstance(value, Misread):
        return text
    length = Decimal(repr(value))
    if new == "mm":
        return text_of(float(round(length * INCH, KEPT_DECIMALS)))
    length = round(length, KEPT_DECIMALS)
    for decimals in range(13):
        inches = round(length / INCH, decimals)
        if abs(inches * INCH - length) <= EXACT_INCHES:
            break
    return text_of(float(inches))
