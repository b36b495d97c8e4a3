"""Facts in words: sentences are made here and nowhere else, with lengths in mm or in inches.

A sentence is a text with the names of a fact's values in braces: `{missing}`. Behind a colon stands how a value is
said (`HOW`). Where a text is not enough, the sentence is a function of the values. A value that the fact has not is
nothing, and is said as nothing.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping, Sequence
from typing import Final

from planner.facts import Fact, Quantity, Value
from planner.wording.figures import LengthUnit, bare, with_unit
from planner.words import listed, numbers


class Values:
    """The values of a fact, each ready to be put into a sentence: `values["missing"]` or `values.missing`."""

    def __init__(self, values: Mapping[str, Value], unit: LengthUnit) -> None:
        self._values, self._unit = values, unit

    def __getitem__(self, name: str) -> Worded:
        return Worded(self._values.get(name), self._unit)

    def __getattr__(self, name: str) -> Worded:
        return self[name]


Sentence = str | Callable[[Values], str]
"""How a kind of fact is said."""


class Worded:
    """A value as it is said; false where there is nothing to say."""

    def __init__(self, value: Value, unit: LengthUnit) -> None:
        self.value, self._unit = value, unit

    def __bool__(self) -> bool:
        return self.value not in (None, "", ())

    def __str__(self) -> str:
        return format(self, "")

    def __format__(self, how: str) -> str:
        return HOW[how](self.value, self._unit)

    @property
    def count(self) -> int:
        """The value where it is a whole number."""
        assert isinstance(self.value, int)  # asked of counts only
        return self.value

    def each(self) -> tuple[str, ...]:
        """Return what is said of each item of a list."""
        assert isinstance(self.value, Sequence)  # asked of lists only
        return tuple(_plainly(item, self._unit) for item in self.value)


def _plainly(value: Value, unit: LengthUnit) -> str:
    """Return a figure with its unit, a fact in words, a list of facts one after the other."""
    if isinstance(value, Quantity):
        return with_unit(value, unit)
    if isinstance(value, Fact):
        return say(value, unit)
    if isinstance(value, str | int):
        return str(value)
    return " ".join(_plainly(item, unit) for item in value or ())


def _each(value: Value, unit: LengthUnit) -> tuple[str, ...]:
    return Worded(value, unit).each()


def _bare(value: Value, unit: LengthUnit) -> str:
    assert isinstance(value, Quantity)
    return bare(value, unit)


def _sizes(value: Value, unit: LengthUnit) -> str:
    assert isinstance(value, Sequence)
    *others, last = value
    return ", ".join([*(_bare(one, unit) for one in others), _plainly(last, unit)])


def _with_article(value: Value, unit: LengthUnit) -> str:
    name = _plainly(value, unit)
    return name if name.startswith("its ") else f"the {name}"


def _capital(value: Value, unit: LengthUnit) -> str:
    said = _plainly(value, unit)
    return said[:1].upper() + said[1:]


HOW: Final[dict[str, Callable[[Value, LengthUnit], str]]] = {
    "": _plainly,
    "bare": _bare,  # a figure without its unit
    "unit": lambda value, unit: _plainly(value, unit).removeprefix(_bare(value, unit)).strip(),  # the unit alone
    "the": _with_article,  # a solid: "the floor", "its own tail"
    "cap": _capital,  # with a capital
    "list": lambda value, unit: listed(_each(value, unit)),  # a, b and c
    "commas": lambda value, unit: ", ".join(_each(value, unit)),
    "sizes": _sizes,  # figures, the unit behind the last
    "numbers": lambda value, unit: numbers([int(item) for item in _each(value, unit)]),  # 1, 3 to 5 and 9
    "s": lambda value, unit: "" if len(_each(value, unit)) == 1 else "s",  # of "bend" or "bends"
}
"""How a value can be said."""


def say(fact: Fact, unit: LengthUnit = "mm") -> str:
    """Return a fact in words, its lengths in the unit."""
    sentence, values = sentences()[fact.kind], Values(fact.values, unit)
    return sentence.format_map(values) if isinstance(sentence, str) else sentence(values)


@functools.cache
def sentences() -> dict[str, Sentence]:
    """Return every sentence there is, by the kind of fact that it says."""
    from planner.wording import advice, contacts, errors, plans, profiles, rules, steps

    parts = (rules, contacts, plans, steps, profiles, advice, errors)
    return {kind: said for part in parts for kind, said in part.SAYS.items()}
