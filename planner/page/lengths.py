"""Lengths in mm or inches by choice: as shown, as they stand in the planner's own sentences, and as typed.

Rounding is never on the unsafe side: what is kept clear or room that is needed is rounded up, a clearance that is
proved is rounded down, everything else to the nearest. Inches have three decimals, or as many as it takes to show a
figure that is not 0; metres in a sentence become inches with one decimal.

What is not a length of the sentence stays as it is: text in double quotes, the names that are passed in, and "76 mm
class", which is part of a machine's name. Degrees, seconds, MPa, kN m and "every smaller whole millimetre", which is
true of whole millimetres only, stay as well.

A number is typed with a decimal point. What can mean one number only is taken (90° in a cell of degrees, a decimal
comma as in 12,5); what could mean two, or is something else, is refused with what may be meant: 1,234 is no number.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_UP, Decimal
from typing import Final, Literal

from planner.inputs.quantities import LARGEST, described
from planner.tolerances import EXACT_INCHES, KEPT_DECIMALS

Unit = Literal["mm", "in"]

INCH: Final = Decimal("25.4")
"""[mm], exact."""

DECIMALS: Final[dict[str, int]] = {"mm": 1, "in": 3}
"""Decimals that are shown: a tenth of a millimetre, a thousandth of an inch."""

METRE_DECIMALS: Final = 1
"""Decimals of the inches that stand for metres: a metre's tenth is 3.9 of them."""


def shown(mm: float, unit: Unit, decimals: int | None = None) -> str:
    """Return a length [mm] in the unit, with it: "55.0 mm", "2.165 in"; to the nearest."""
    return f"{figure(mm, unit, decimals)} {unit}"


def figure(mm: float, unit: Unit, decimals: int | None = None) -> str:
    """Return a length [mm] in the unit without its name: "55.0", "2.165"; to the nearest."""
    return _rounded(_in(mm, unit), ROUND_HALF_UP, DECIMALS[unit] if decimals is None else decimals)


def at_least_shown(mm: float, unit: Unit, decimals: int | None = None) -> str:
    """Return a clearance [mm], or another proved lower bound, rounded down: what is shown is proved too."""
    return f"{_rounded(_in(mm, unit), ROUND_FLOOR, DECIMALS[unit] if decimals is None else decimals)} {unit}"


def at_most_shown(mm: float, unit: Unit, decimals: int | None = None) -> str:
    """Return how far something reaches [mm], or the room that it takes, rounded up: nobody stands too near."""
    return f"{_rounded(_in(mm, unit), ROUND_CEILING, DECIMALS[unit] if decimals is None else decimals)} {unit}"


def _in(mm: float, unit: Unit) -> Decimal:
    """Return a length [mm] in the unit, the noise of binary numbers beyond a millionth of a micron left off."""
    length = Decimal(repr(round(float(mm), KEPT_DECIMALS)))
    return length if unit == "mm" else length / INCH


def _rounded(value: Decimal, way: str, decimals: int) -> str:
    """Return a number with so many decimals, never "-0.0"."""
    text = f"{value.quantize(Decimal(1).scaleb(-decimals), rounding=way):f}"
    return text.lstrip("-") if not text.strip("-0.") else text


# In sentences -------------------------------------------------------------------------------------------------------

_NUMBER = r"-?\d+(?:\.\d+)?(?:e[+-]?\d+)?"
_LENGTHS = re.compile(
    rf"(?<![\w.])(?P<numbers>{_NUMBER}(?:(?:, | and | or | to | x |\) to \(){_NUMBER})*)(?P<after>\)?)"
    r" (?P<unit>mm/s|mm|m)(?![\w/²])"
)
"""Numbers before mm, mm/s or m: one, a list, a range, sizes ("38.1 x 1.65 mm") or points in brackets."""

_LIST_BEGINS = re.compile(r"(?:^|[:;(] ?|\b(?:near|tube|die|clamps?|drawing) )$")
"""Before a list with commas. Anywhere else a number before a comma is no length: "the rack 2, 30.0 mm deep"."""

_SHARING = re.compile(rf"(?<=, ){_NUMBER}(?= (?:allowed|required)\b)|(?<=\bclosest ){_NUMBER}(?=, )")
"""Lengths without a unit of their own: "1.2 mm into the post, 0.5 allowed", "closest 250, farthest 3200 mm"."""

_PROTECTED = re.compile(r'"[^"]*"|(?<![\w.])\d+(?:\.\d+)? mm class\b')

_PER_METRE = re.compile(r"for each metre\b")

_UNITS_ALONE = ((re.compile(r"\[mm\]"), "[in]"), (re.compile(r"(?<=, )mm$"), "in"))
"""Units at the head of a table."""

_WAYS: Final[tuple[tuple[str, str, str], ...]] = (
    # how the text before ends, how the text after begins, which way to round
    (r"instead of $", "", ROUND_HALF_UP),
    (r"\bwith $", r" required", ROUND_FLOOR),  # "with 9.0 mm required … this would be clear"
    (r"\bwith $", r" allowed", ROUND_CEILING),
    (r"nobody within $|up to $|takes $|needs $|\blonger by $|must hold at least $", "", ROUND_CEILING),
    (r"costs as much, .* and $", "", ROUND_CEILING),
    (r"at least $", r" straight behind", ROUND_CEILING),
    (r"", r" (?:of room|of tube stand ahead|of tube ahead|too short|are missing|required)", ROUND_CEILING),
    (r"", r" (?:more travel|longer|shorter|farther)\b", ROUND_CEILING),
    (r"\bA pit $|A (?:mandrel rod|pressure die) of $|Trim at end [AB] of $|runs back to $", "", ROUND_CEILING),
    (r"the centreline $", "", ROUND_CEILING),
    (r"longer by [^:]*: $", r" on the drawing", ROUND_CEILING),
    (r"A clamp die of $|A clearance of $|collet that comes to $", "", ROUND_FLOOR),
    (r"", r" (?:more tube|more stock|less to use up|less, this|more, this|more for each)", ROUND_CEILING),
    (r"\bcome within (?:\d+ mm of the .*, )?$", r" of the\b", ROUND_FLOOR),  # gaps
    (r"", r" of it are left\b", ROUND_FLOOR),
    (r"more than $|at least $|clearance (?:is |of )?$|comes within $|keeps $", "", ROUND_FLOOR),
    (r"", r" (?:allowed|are allowed|may press in)", ROUND_FLOOR),
    (r"press(?:es)? $", "", ROUND_CEILING),
)  # fmt: skip
_COMPILED = tuple((re.compile(before), re.compile(after), way) for before, after, way in _WAYS)

_SWEEPS = re.compile(r"^(?:The tube sweeps|Tube, arm and clamp sweep) the floor ")


def in_unit(sentence: str, unit: Unit, names: Iterable[str] = ()) -> str:
    """Return one of the planner's sentences with its lengths in the unit; "mm" returns it unchanged.

    names: of parts, machines and solids that may stand in it; they are left as they are.
    """
    if unit == "mm":
        return sentence
    protected = [match.span() for match in _protected(names).finditer(sentence)]

    def free(match: re.Match[str]) -> bool:
        return all(match.end() <= start or end <= match.start() for start, end in protected)

    edits: list[tuple[int, int, str]] = []
    for match in _LENGTHS.finditer(sentence):
        if free(match):
            edits.append(_converted(sentence, match))
    for match in _SHARING.finditer(sentence):
        if free(match):
            way = _way(sentence[: match.start()], sentence[match.end() :])
            edits.append((match.start(), match.end(), _inches(match[0], Decimal(1), way, DECIMALS["in"])))
    for match in _PER_METRE.finditer(sentence):
        if free(match):
            edits.append((match.start(), match.end(), "for each foot"))
    for pattern, instead in _UNITS_ALONE:
        edits += [(match.start(), match.end(), instead) for match in pattern.finditer(sentence) if free(match)]
    for start, end, text in sorted(edits, reverse=True):
        sentence = sentence[:start] + text + sentence[end:]
    return sentence


def _protected(names: Iterable[str]) -> re.Pattern[str]:
    """Return the pattern of what no length is taken from."""
    listed = sorted({name for name in names if name.strip()}, key=lambda name: (-len(name), name))
    said = "|".join(rf"(?<!\w){re.escape(name)}(?!\w)" for name in listed)
    return re.compile(f"{_PROTECTED.pattern}|{said}") if said else _PROTECTED


def _converted(sentence: str, match: re.Match[str]) -> tuple[int, int, str]:
    """Return where the lengths of a match stand, and what stands there in inches."""
    start, numbers, unit = match.start("numbers"), match["numbers"], match["unit"]
    before, after = sentence[:start], sentence[match.end() :]
    if ", " in numbers and not _LIST_BEGINS.search(before):
        cut = numbers.rindex(", ") + 2
        before, start, numbers = before + numbers[:cut], start + cut, numbers[cut:]
    scale, decimals = Decimal(1), DECIMALS["in"]
    if unit == "m":
        scale, decimals = Decimal(1000), METRE_DECIMALS
    elif _PER_METRE.match(after.removeprefix(" more ")):
        scale = INCH * 12 / 1000  # mm for each metre: as many thousandths, for each foot of 12 inches
    way = ROUND_CEILING if unit == "m" and _SWEEPS.match(sentence) else _way(before, after)
    said = re.sub(_NUMBER, lambda number: _inches(number[0], scale, way, decimals), numbers)
    return start, match.end(), f"{said}{match['after']} {'in/s' if unit == 'mm/s' else 'in'}"


def _way(before: str, after: str) -> str:
    """Return which way to round a length that stands between these texts."""
    for ends, begins, way in _COMPILED:
        if ends.search(before) and begins.match(after):
            return way
    return ROUND_HALF_UP


def _inches(text: str, scale: Decimal, way: str, decimals: int) -> str:
    """Return a number of the sentence, times `scale` [mm], in inches; a figure that is not 0 shows as none."""
    value = Decimal(text) * scale / INCH
    if value == 0:
        return "0"
    while abs(value) < Decimal(1).scaleb(-decimals) and decimals < KEPT_DECIMALS:
        decimals += 1
    return _rounded(value, way, decimals)


# As they are typed --------------------------------------------------------------------------------------------------

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


def typed_in(text: str, old: Unit, new: Unit) -> str:
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
