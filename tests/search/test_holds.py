"""The exact engine on the shop rules alone, against a plain enumeration of orders, holds at 1 mm and trims at 1 mm."""

from __future__ import annotations

from collections import Counter

from planner.cuts.impossible import broken_in_every_order
from planner.cuts.shop_rules import problem_of
from planner.feasibility.orders import Case, ready_of
from planner.sequencing.events import Prefer
from planner.sequencing.exact import Exact
from tests.plan.forced import no_extra
from tests.rules.enumeration import every_trim, on_the_edge

CASES = 260


def test_a_sequence_is_found_where_one_keeps_the_rules_and_with_as_few_reclamps_and_as_little_trim(
    campaign: bool,
) -> None:
    """By either preference; and nothing is called impossible of which the enumeration finds how to make it."""
    met: Counter[str] = Counter()
    for seed in range(20 * CASES if campaign else CASES):
        part, machine, settings = on_the_edge(seed)
        case = Case(part, machine, (machine.tooling[0],) * part.n_bends, tuple(settings))
        plain = every_trim(part, machine, settings)
        problem = problem_of(case)
        preferences: tuple[Prefer, Prefer] = ("fewer re-clamps", "less trim")
        for prefer in preferences:
            found = Exact().best(problem, (), no_extra, prefer)
            if not plain:
                assert found is None, (seed, found)
                met["impossible"] += 1
                continue
            wanted = min(
                ((count, a + b) if prefer == "fewer re-clamps" else (a + b, count)) for (a, b), count in plain.items()
            )
            assert found is not None, (seed, wanted)
            assert found.value.key(prefer)[1:3] == wanted, seed
            ready = ready_of(case, found)
            assert ready.reclamps == found.value.reclamps, seed
            for kind in ("turns", "reloads", "regrips", "released"):
                met[kind] += getattr(ready, kind) > 0
            met["trim"] += found.value.trim > 0
            met["nothing"] += wanted == (0, 0)
        assert not (plain and broken_in_every_order(case)), seed
    kinds = ("impossible", "turns", "reloads", "regrips", "released", "trim", "nothing")
    assert min(met[kind] for kind in kinds) >= 12, met
