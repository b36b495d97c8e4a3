"""Yield strength, modulus and density of the common tube materials: plausible values, never a promise about the tube
at hand.

Yields are the standard's minimum (for 6061-O its maximum, for 1020 DOM the lower end of what pages give);
moduli are the lower end of the usual range, which gives the larger springback and sag; densities are handbook values,
from memory. The yield of a real tube lies
above the minimum: give `yield_strength` in the part's file where it is known. Where a value rests on memory
of the standard, with agreeing secondary pages, the source says so.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True)
class Material:
    """A tube material: yield_strength, modulus [MPa], density [kg/m³], the source of the yield, other names for it."""

    name: str
    yield_strength: float
    modulus: float
    density: float
    source: str
    also: tuple[str, ...] = ()


_MEMORY = "from memory, secondary pages agree"

MATERIALS: Final = (
    Material("stainless 304", 205.0, 193_000.0, 8000.0, f"ASTM A554 minimum, {_MEMORY}", ("1.4301",)),
    Material("stainless 304L", 170.0, 193_000.0, 8000.0, f"ASTM A554 minimum, {_MEMORY}", ("1.4307",)),
    Material(
        "steel 1020 DOM", 345.0, 200_000.0, 7850.0, "ASTM A513 type 5, from memory, pages give 345 to 415", ("DOM",)
    ),
    Material("steel E235+N", 235.0, 210_000.0, 7850.0, f"EN 10305-1 minimum, {_MEMORY}", ("E235",)),
    Material("steel E235+SR", 350.0, 210_000.0, 7850.0, f"EN 10305-1 minimum, {_MEMORY}"),
    Material("steel E355+N", 355.0, 210_000.0, 7850.0, f"EN 10305-1 minimum, {_MEMORY}", ("E355",)),
    Material("aluminium 6061-T6", 240.0, 68_900.0, 2700.0, "ASTM B241 Table 1 minimum, drawn pipe"),
    Material("aluminium 6061-O", 97.0, 68_900.0, 2700.0, "ASTM B210 maximum, from memory"),
    Material("titanium grade 2", 275.0, 103_000.0, 4510.0, f"ASTM B338 minimum, {_MEMORY}", ("CP titanium gr 2",)),
    Material("CuNi 90/10", 100.0, 124_000.0, 8900.0, "Copper Development Association, annealed tube", ("C70600",)),
    Material(
        "copper C12200 annealed", 62.0, 115_000.0, 8940.0, f"ASTM B75 minimum, {_MEMORY}", ("C12200", "C12200-O60")
    ),
    Material("copper C12200 drawn", 205.0, 115_000.0, 8940.0, f"ASTM B75 minimum, {_MEMORY}", ("C12200-H58",)),
)

_NOISE: Final = frozenset(
    [
        "stainless",
        "steel",
        "carbon",
        "aluminium",
        "aluminum",
        "alloy",
        "copper",
        "tube",
        "tubing",
        "aisi",
        "astm",
        "en",
        "ss",
        "type",
        "annealed",
        "cp",
        "titanium",
        "grade",
        "gr",
    ]
)
"""Words that do not tell the materials of the table apart from one another, once a grade is named."""


def find_material(name: str) -> Material | None:
    """Return the material meant by a name such as "stainless 304", "304 tube", "6061 T6"; None if none is.

    Letters' case, punctuation, order and words such as "steel" do not matter, the grade does.
    """
    full, grade = _words(name), _words(name) - _NOISE
    for material in MATERIALS:
        if any(_words(known) == full for known in (material.name, *material.also)):
            return material
    for material in MATERIALS:
        if grade and any(_words(known) - _NOISE == grade and _kin(known, name) for known in _names(material)):
            return material
    return None


def _names(material: Material) -> tuple[str, ...]:
    """Return all names of a material."""
    return (material.name, *material.also)


def _words(name: str) -> frozenset[str]:
    """Return the words of a name: runs of letters and digits, in lower case, "1.4301" as one."""
    return frozenset(re.findall(r"[a-z0-9]+(?:\.[0-9]+)?", name.lower()))


_METALS: Final = ("stainless", "aluminium", "titanium", "copper")


def _kin(known: str, name: str) -> bool:
    """Return whether two names may name one metal: "titanium 304" is no stainless steel, and "2" alone is nothing."""
    one, other = _metals(known), _metals(name)
    return one == other if one and other else any(len(word) > 2 for word in _words(name) - _NOISE)


def _metals(name: str) -> set[str]:
    """Return the metals that a name names."""
    return {metal for metal in _METALS if metal in name.lower().replace("aluminum", "aluminium")}
