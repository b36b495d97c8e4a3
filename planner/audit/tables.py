"""What rules and no-goods allow, laid out for many pairs of trims at once.

An axis P is one place a pair of trims, K is one place a bend of the view (K[0] is empty, so that bend k stands at k), H
is one place a hold: 2 · since for one begun by a load, one more for a re-grip.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from planner.audit import asked
from planner.audit.asked import Asked
from planner.audit.patterns import LOADED, Pattern
from planner.audit.shop import ENDS, End, Pair, Shop, other
from planner.tolerances import RULE_SLACK

Flags = NDArray[np.bool_]
Lengths = NDArray[np.float64]

BEGUN = ("load", "re-grip")


@dataclass
class Tables:
    """What a part on a machine allows with each of some pairs of trims."""

    shop: Shop
    pairs: Sequence[Pair]
    no_goods: Sequence[Pattern]
    forbidden: dict[tuple[str, End, int | None, bool | None], Flags] = field(default_factory=dict, init=False)
    _rules: dict[tuple[str, End], Flags] = field(default_factory=dict, init=False)

    def __post_init__(self) -> None:
        self.n = self.shop.n
        self.trims = np.array(self.pairs, dtype=np.float64).reshape(-1, 2)
        for pattern in self.no_goods:
            self._mark(pattern)
        for end in ENDS:
            self._ask(end)

    def _mark(self, pattern: Pattern) -> None:
        """Note what a no-good forbids: (P, first formed bend, bend)."""
        if pattern.hold is not None:
            return  # one that speaks of a single hold is not counted; none that is written does
        if pattern.way is not None and (self.shop.chuck is None or pattern.event == "re-grip"):
            return  # where a rotation may go either way, one way barred bars nothing; nor is a bend's past kept
        key = (pattern.event, pattern.leads, pattern.way, pattern.released)
        if key not in self.forbidden:
            self.forbidden[key] = np.zeros((len(self.pairs), self.n + 2, self.n + 2), dtype=bool)
        within = np.ones(len(self.pairs), dtype=bool)
        for column, end in enumerate(ENDS):
            low, high = pattern.span_at(end)
            within &= (low <= self.trims[:, column]) & (self.trims[:, column] <= high)
        self.forbidden[key][within, pattern.ahead[0] : pattern.ahead[1] + 1, pattern.bend] = True

    def _kept(self, end: End, rules: Sequence[Asked]) -> Flags:
        """Return with which pairs each rule is kept (P, len(rules)); end: the end that leads."""
        spans = np.array([rule.kept for rule in rules])
        columns = [ENDS.index(end if rule.of == "lead" else other(end)) for rule in rules]
        trims = self.trims[:, columns]
        return np.asarray((spans[:, 0] - RULE_SLACK <= trims) & (trims <= spans[:, 1] + RULE_SLACK))

    def _ask(self, end: End) -> None:
        """Ask the rules that speak of one bend: (P, K) each."""
        shop, bends = self.shop, range(1, self.n + 1)
        always = self._kept(end, [asked.rated_capacity(shop)])
        for rule in (asked.largest_angle, asked.pressure_die, asked.shortest_tail):
            always = always & self._kept(end, [rule(shop, end, bend) for bend in bends])
        found = {
            "always": always,
            "alone": self._kept(end, [asked.shortest_grip(shop, end, bend) for bend in bends]),
            "joined": self._kept(end, [asked.clamp(shop, end, bend) for bend in bends]),
            "dies": self._kept(end, [asked.same_dies(shop, end, bend) for bend in bends]),
            "rod": self._kept(end, [asked.rod_length(shop, end, bend) for bend in bends]),
            "closed": self._kept(end, [asked.window(shop, end, bend, False) for bend in bends]),
            "open": self._kept(end, [asked.window(shop, end, bend, True) for bend in bends]),
            "re-grip": self._kept(end, [asked.regrip_window(shop, end, bend) for bend in bends]),
        }
        for name, kept in found.items():
            self._rules[name, end] = np.concatenate([np.zeros((len(self.pairs), 1), dtype=bool), kept], axis=1)

    def arrivals(self, event: str, end: End, way: int, released: bool) -> Flags:
        """Return which arrivals are allowed, holds and chuck aside: (P, first formed bend, bend)."""
        n = self.n
        names = ("always", "alone", "joined", "dies", "rod", "closed", "open")
        rule = {name: self._rules[name, end] for name in names}
        bend = rule["always"] & rule["open" if released else "closed"] & rule["rod" if event in LOADED else "dies"]
        allowed = np.zeros((len(self.pairs), n + 2, n + 2), dtype=bool)
        allowed[:, :, : n + 1] = (bend & rule["joined"])[:, None, :]
        k = np.arange(1, n + 1)
        allowed[:, k, k] = (bend & rule["alone"])[:, 1:]
        for (of, leads, round_, open_), marked in self.forbidden.items():
            if leads == end and of in (event, "bend") and round_ in (None, way) and open_ in (None, released):
                allowed &= ~marked
        return allowed

    def regrips(self, end: End) -> Flags:
        """Return after which bends the collet may take a new hold: (P, first formed bend, bend)."""
        n = self.n
        allowed = np.zeros((len(self.pairs), n + 2, n + 2), dtype=bool)
        if self.shop.may_regrip:
            allowed[:, :, : n + 1] = self._rules["re-grip", end][:, None, :]
        for (of, leads, _, open_), marked in self.forbidden.items():
            if leads == end and of == "re-grip" and open_ is not True:
                allowed &= ~marked
        return allowed

    def serves(self, end: End, released: bool) -> Flags:
        """Return which holds serve which bends: (P, H, K), a hold's first bend and those after it."""
        n, carriage = self.n, self.shop.carriage
        since, bends = np.arange(1, n + 1), np.arange(1, n + 1)
        found = np.zeros((len(self.pairs), 2 * n + 2, n + 2), dtype=bool)
        side, tail = self.shop.sides[end], self.trims[:, ENDS.index(other(end))]
        for begun in range(2):
            face = np.full((len(self.pairs), n), np.inf)
            least = np.zeros(n)
            if carriage is not None:
                back = np.array([at.start for at in side]) + carriage.reach[1]
                if begun:
                    back[1:] = np.minimum(back[1:], np.array([at.end for at in side[:-1]]) + carriage.reach[1])
                face = np.minimum(back, (self.shop.length + tail - carriage.grip_length)[:, None])
                least = np.array([at.start if released else at.swing for at in side]) + carriage.reach[0]
            kept = (least <= face[:, :, None] + RULE_SLACK) & (bends >= since[:, None])
            if begun:
                kept[:, 0] = False  # a re-grip needs a bend before it
            found[:, 2 * since + begun, 1 : n + 1] = kept
        return found
