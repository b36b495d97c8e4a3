"""Rules and learned no-goods as the proof document writes them: their literals, their numbers, what is struck where."""

from __future__ import annotations

import math
from typing import Any

from planner.clearance.verdicts import Witness
from planner.cuts.strike_cuts import Struck
from planner.cuts.walls import Closed, Strike, Wall, strikes_of
from planner.feasibility.checks import Checks
from planner.rules.broken import Broken, other
from planner.sequencing.events import ANY, Event, NoGood, Pattern, Span
from planner.tolerances import EDGE_DECIMALS, PROOF_DECIMALS
from planner.tube.bodies import Motion, Phase


def rule_record(nogood: NoGood) -> dict[str, Any]:
    """Return a shop rule: which arrivals it forbids, and the numbers that it rests on."""
    broken = nogood.evidence
    assert isinstance(broken, Broken)  # of every rule
    numbers = {name: _number(value) for name, value in broken.numbers.items()}
    return {**pattern_record(nogood.pattern), "rule": nogood.rule, "sentence": nogood.sentence, "numbers": numbers}


def no_good_record(checks: Checks, nogood: NoGood, sentence: str) -> dict[str, Any]:
    """Return a learned and proved no-good with its evidence."""
    evidence = nogood.evidence
    assert isinstance(evidence, Struck)  # of every one that was learned and proved
    at, trims = evidence.place.at, evidence.place.trims
    stock = checks.case.loaded(at.leads, trims).stock_behind_zero
    doing = evidence.blocked[0].doing
    homing = nogood.pattern.event is Event.LINK and any(entry.doing == "return" for entry in evidence.blocked)
    kind = "home" if homing else doing if doing in ("move", "load", "unload") else "bend"
    record: dict[str, Any] = {
        **pattern_record(nogood.pattern),
        "sentence": sentence,
        "met": {"ahead": at.ahead, "trim_lead": trims.at(at.leads), "trim_tail": trims.at(other(at.leads))},
        "doing": kind,
        "clamps": [],
        "walls": [],
    }
    if kind in ("bend", "home"):
        record["clamps"] = _by_clamp(evidence, stock)
    else:
        record["walls"] = [_wall(wall, stock) for wall in evidence.walls]
    return record


def pattern_record(pattern: Pattern) -> dict[str, Any]:
    """Return which arrivals a no-good forbids; bends are counted from the end that leads."""
    hold = pattern.hold
    return {
        "event": pattern.event.value,
        "leads": pattern.leads,
        "bend": pattern.bend,
        "ahead": list(pattern.ahead),
        "trim_lead": _span(pattern.trim_lead),
        "trim_tail": _span(pattern.trim_tail),
        "hold": None if hold is None else {"since": hold.since, "begun": hold.begun},
        "way": pattern.way,
        "released": pattern.released,
    }


def _span(span: Span) -> list[float | None] | None:
    return None if span == ANY else [_finite(span[0]), _finite(span[1])]


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _number(value: float | tuple[float, ...]) -> float | list[float]:
    if isinstance(value, tuple):
        return [round(one, PROOF_DECIMALS) for one in value]
    return round(value, PROOF_DECIMALS)


def _by_clamp(evidence: Struck, stock: float) -> list[dict[str, Any]]:
    """Return what blocks each clamp: a strike, or where another way home or another hold could help, a wall."""
    walls = {wall.clamp: wall for wall in evidence.walls}
    written = []
    for number, (length, blocked) in enumerate(zip(evidence.attempt.clamps, evidence.blocked, strict=True)):
        if number in walls:
            written.append({"clamp": length, "wall": _wall(walls[number], stock)})
            continue
        (strike,) = strikes_of((blocked,), evidence.attempt)
        written.append({"clamp": length, "strike": _strike(strike, stock)})
    return written


def _wall(wall: Wall, stock: float) -> dict[str, Any]:
    """Return a wall."""
    strikes = [_strike(strike, stock) for strike in wall.strikes]
    if wall.closed is not None:
        return {"kind": "cells", **_closed(wall.closed), "slide_strikes": strikes}
    record: dict[str, Any] = {"kind": wall.kind, "strikes": strikes}
    if wall.kind != "bare":
        record["span"] = [_written(x) for x in wall.span]
    if wall.kind == "across":
        record["roll"] = _degrees(wall.roll)
    if wall.kind == "home":
        record["arm"] = _degrees(wall.arm)
        record |= {"side": [_strike(strike, stock) for strike in wall.side]} if wall.side else {}
    return record


def _closed(closed: Closed) -> dict[str, Any]:
    """Return the blocked cells of a plane: midpoint and half-width of advance and rotation, place and solid."""
    ground, cells = closed.ground, closed.cells
    columns = zip(cells.y, cells.dy, cells.roll, cells.droll, closed.witnesses, strict=True)
    return {
        "y": [_written(x) for x in ground.y],
        "rolls": [_degrees(x) for x in ground.rolls],
        "goes_round": ground.goes_round,
        "slides_to": _written(closed.slides_to),
        "clamp": ground.clamp,
        "cells": [
            [_fine(y), _fine(dy), _fine(math.degrees(roll)), _fine(math.degrees(droll)), _written(w.place), w.solid]
            for y, dy, roll, droll, w in columns
        ],
    }


def _strike(strike: Strike, stock: float) -> dict[str, Any]:
    """Return a witness: where on the tube, against what, and where everything stands at that moment.

    stock: coordinate of the tube's tail end [mm]. Tube that is drawn out counts as if it reached back for ever: where
    its end has passed the place already, it is the end that came by there before.
    """
    witness, motion = strike.witness, strike.motion
    place, t = _on_the_tube(witness, motion, stock)

    def at(pair: tuple[float, float]) -> float:
        return pair[0] + t * (pair[1] - pair[0])

    return {
        "phase": motion.phase.value,
        "place": _written(place),
        "solid": witness.solid,
        "clamp": strike.clamp,
        "advance": _written(at(motion.y)),
        "rotation": _degrees(at(motion.rotation)),
        "arm": _degrees(at(motion.arm)),
        "tube": _degrees(_bent_so_far(motion, t)),
        "face": None if motion.face is None else _written(at(motion.face)),
        "pressure": _written(at(motion.pressure)),
        "clearance": _written(witness.clearance),
        "needed": _written(witness.needed),
        "slides": motion.slides_straight,
    }


def _on_the_tube(witness: Witness, motion: Motion, stock: float) -> tuple[float, float]:
    past, way = witness.place - stock, motion.y[1] - motion.y[0]
    if past <= 0.0 or way == 0.0:
        return min(witness.place, stock), witness.t
    return stock, min(max(witness.t - past / way, 0.0), 1.0)


def _bent_so_far(motion: Motion, t: float) -> float:
    """Return the angle of the arc in the die [rad]: it grows with the arm and springs back while the dies open."""
    if motion.phase in (Phase.BEND, Phase.REGRIP):
        return motion.arm[0] + t * (motion.arm[1] - motion.arm[0])
    if motion.phase is Phase.OPEN:
        arc = motion.bodies[1]
        assert arc.length_at_start is not None  # of the arc in the die
        return (arc.length_at_start + t * arc.length_change) / motion.bend_radius
    return 0.0


def _written(value: float) -> float:
    return round(float(value), PROOF_DECIMALS) + 0.0


def _fine(value: float) -> float:
    """Return a side of a cell: with more digits, for neighbours share it."""
    return round(float(value), EDGE_DECIMALS) + 0.0


def _degrees(angle: float) -> float:
    return _written(math.degrees(angle))
