"""Carry out one order on a simulated tube and certify every motion of it.

Three batches at most: the bends themselves (dies close, bend, re-grip, dies open, arm home past the standing tube), the
easing off where the arm cannot pass, and the moves from bend to bend. For each bend the longest clamp that fits and is
clear in all of them is taken.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

from planner.clearance.certify import certify
from planner.clearance.rows import Rows, rows_of
from planner.clearance.solids import toward
from planner.clearance.surroundings import Surroundings
from planner.clearance.verdicts import Answer, Finding, Verdicts
from planner.inputs.machine import Machine
from planner.rules.chuck import both_ways
from planner.search.moves import PlainPath, plain_paths
from planner.search.stations import Station, Stationed, settable, shown
from planner.tube import motions
from planner.tube.motions import InDie, Motion, Standing
from planner.tube.partly_bent import leading_part

WORST_FIRST = (Answer.STRUCK, Answer.CLOSE, Answer.CLEAR)

EASE_WAYS = (5.0, 10.0, 15.0, 20.0, 30.0, 40.0, 60.0, 80.0, 120.0)
"""And so far in millimetres."""

EASE_SHARES = (1.0, 0.5, 0.25)
"""How much of the way to the next bend the tube is advanced off the die before the arm goes home, as shares."""


@dataclass(frozen=True)
class BendDone:
    """One bend with its proved motions, in order, and the clamp they hold for."""

    station: Station
    clamp: float
    path: PlainPath
    placing: tuple[Motion, ...]
    gripping: tuple[Motion, ...]  # dies close, bend, (re-grip,) dies open
    returning: tuple[Motion, ...]  # (ease off,) arm home
    eased: float


@dataclass(frozen=True)
class Failure:
    """What keeps an order from being carried out: the bend, what was being done, and the finding."""

    station: Station
    load: int
    doing: str
    finding: Finding
    motion: Motion
    rows: Rows | None


@dataclass(frozen=True)
class Trial:
    """The outcome of one order: the bends done of each load, or the failures; evaluations of cells spent."""

    stationed: Stationed
    loads: tuple[tuple[BendDone, ...], ...] | None
    failures: tuple[Failure, ...]
    evaluations: int


@dataclass
class _Work:
    """One bend on its way through the batches."""

    load: int
    station: Station
    clamps: tuple[float, ...]
    standing_before: Standing
    grip: InDie
    standing: Standing
    room_ahead: float | None  # way to the next bend's start, None after the last bend of a load
    shown_before: float  # what the readout shows at an advance of 0, from the place before
    shown_after: float  # and from the end of the bend
    gripping: list[Motion] = field(default_factory=list)
    returning: tuple[Motion, ...] = ()
    eased: float = 0.0
    blocked: Failure | None = None  # why the plain return fails, where it does
    path: PlainPath | None = None
    placing: tuple[Motion, ...] = ()
    fitting: list[int] = field(default_factory=list)


def try_order(stationed: Stationed, around: Callable[[Station], Surroundings]) -> Trial:
    """Certify every motion of an order; `around` gives the surroundings of a bend (its tooling)."""
    return _Trial(stationed, around).run()


class _Trial:
    def __init__(self, stationed: Stationed, around: Callable[[Station], Surroundings]) -> None:
        self.stationed = stationed
        self.machine: Machine = stationed.ready.case.machine
        self.around = around
        self.failures: list[Failure] = []
        self.evaluations = 0
        self.work = [w for number in range(len(stationed.loads)) for w in self._works(number)]

    def run(self) -> Trial:
        """Return the outcome."""
        for step in (self._grip_and_return, self._ease_off, self._place):
            step()
            if self.failures:
                return Trial(self.stationed, None, tuple(self.failures), self.evaluations)
        loads = tuple(
            tuple(self._done(w) for w in self.work if w.load == number) for number in range(len(self.stationed.loads))
        )
        return Trial(self.stationed, loads, (), self.evaluations)

    def _done(self, w: _Work) -> BendDone:
        assert w.path is not None  # _place leaves none without a path
        return BendDone(w.station, w.clamps[w.fitting[0]], w.path, w.placing, tuple(w.gripping), w.returning, w.eased)

    def _works(self, number: int) -> list[_Work]:
        """Build the tube as it stands before, in and after each bend of a load."""
        load, view = self.stationed.ready.loads[number], self.stationed.view(number)
        side, tail_end = toward(self.machine), load.loaded.stock_behind_zero
        trim, formed = load.loaded.trim_lead, load.formed
        works: list[_Work] = []
        before: Standing | None = None
        for i, (st, clamps) in enumerate(zip(self.stationed.loads[number], load.clamps, strict=True)):
            tooling = self.around(st).tooling
            ahead = leading_part(view, formed, st.start, trim, side, st.bend)
            if before is None:
                at = st.start - st.advance
                flush = leading_part(view, formed, at, trim, side, st.bend)
                before = Standing(flush, False, tail_end - at, at, _plus(st.face, st.advance), st.radius, side)
            grip = InDie(
                ahead,
                st.radius,
                side,
                st.angle,
                st.setting,
                st.start,
                tail_end - st.start,
                None if st.released else st.face,
                tooling.pressure_die_follows,
                st.advance,
            )
            formed = formed | {st.bend}
            face = _plus(st.face, -st.radius * st.angle)
            if st.regrip is not None:
                face = st.regrip[1] + st.radius * (st.setting - st.angle)
            after = Standing(
                leading_part(view, formed, st.end, trim, side, st.bend),
                True,
                tail_end - st.end,
                st.end,
                None if st.released else face,
                st.radius,
                side,
            )
            following = self.stationed.loads[number][i + 1] if i + 1 < len(load.bends) else None
            room = None if following is None else following.advance
            held = [next((g for g in load.grips if s.bend in g.bends), None) for s in (st, following or st)]
            shown_before = shown(self.machine, held[0], before.tangent_u, trim)
            shown_after = shown(self.machine, held[1], st.end, trim)
            works.append(_Work(number, st, clamps, before, grip, after, room, shown_before, shown_after))
            before = after
        return works

    def _certify(self, jobs: list[tuple[_Work, Motion]]) -> tuple[Rows, Verdicts]:
        """Certify a batch, one tooling at a time (a batch shares its surroundings)."""
        rows = rows_of([motion for _, motion in jobs], self.around(jobs[0][0].station), [w.clamps for w, _ in jobs])
        found = certify(rows)
        self.evaluations += found.evaluations
        return rows, found

    def _batches(self, jobs: list[tuple[_Work, Motion]]) -> list[tuple[Rows, Verdicts, list[tuple[_Work, Motion]]]]:
        """Certify jobs batched by tooling."""
        groups: dict[float, list[tuple[_Work, Motion]]] = {}
        for w, motion in jobs:
            groups.setdefault(w.station.radius, []).append((w, motion))
        return [(*self._certify(group), group) for group in groups.values()]

    def _grip_and_return(self) -> None:
        jobs: list[tuple[_Work, Motion]] = []
        for w in self.work:
            st, face = w.station, w.grip.face
            w.gripping = [motions.close_dies(replace(w.grip, face=st.face)), motions.bend(w.grip)]
            after_swing = None if face is None else face - st.swing_feed
            if st.regrip is not None:
                w.gripping.append(motions.regrip(w.grip, st.regrip))
                after_swing = st.regrip[1]
            w.gripping.append(motions.open_dies(w.grip, after_swing))
            if w.station.laid_in and w.standing_before.leading.count:
                w.gripping.insert(0, motions.laid_in(w.standing_before))
            pressure = st.swing_feed if w.grip.follows else 0.0
            w.returning = (motions.return_arm(w.standing, st.setting, 0.0, pressure),)
            jobs.extend((w, motion) for motion in (*w.gripping, *w.returning))
        for rows, found, group in self._batches(jobs):
            for w in self.work:
                of_bend = [(k, job) for k, job in enumerate(group) if job[0] is w]
                if of_bend:
                    self._judge_grip(of_bend, rows, found)

    def _judge_grip(self, jobs: list[tuple[int, tuple[_Work, Motion]]], rows: Rows, found: Verdicts) -> None:
        """Keep the clamps with which a bend is clear; the return may still be eased off."""
        w = jobs[0][1][0]
        held, (home, (_, last)) = jobs[:-1], jobs[-1]
        clear = [c for c in range(len(w.clamps)) if all(found.of(k, c).answer is Answer.CLEAR for k, _ in held)]
        if not clear:
            failed = [(found.of(k, c), motion) for c in range(len(w.clamps)) for k, (_, motion) in held]
            finding, motion = min(failed, key=lambda entry: WORST_FIRST.index(entry[0].answer))
            self.failures.append(Failure(w.station, w.load, "bend", finding, motion, rows))
            return
        direct = [c for c in clear if found.of(home, c).answer is Answer.CLEAR]
        w.fitting = direct or clear
        if not direct:
            w.returning = ()
            w.blocked = Failure(w.station, w.load, "return", found.of(home, clear[0]), last, rows)

    def _ease_off(self) -> None:
        """Find how far to advance the tube off the die before the arm goes home, where it cannot pass."""
        jobs: list[tuple[_Work, Motion]] = []
        blocked = [w for w in self.work if not w.returning]
        for w in blocked if self.machine.head.may_ease_off else []:
            pressure = w.station.swing_feed if w.grip.follows else 0.0
            for y in self._eased_ways(w):
                jobs.append((w, motions.ease_off(w.standing, w.station.setting, y, pressure)))
                jobs.append((w, motions.return_arm(w.standing, w.station.setting, y, pressure)))
        for _, found, group in self._batches(jobs) if jobs else []:
            for k in range(0, len(group), 2):
                w = group[k][0]
                both = [c for c in w.fitting if all(found.of(n, c).answer is Answer.CLEAR for n in (k, k + 1))]
                if both and not w.returning:
                    w.returning, w.eased, w.fitting = (group[k][1], group[k + 1][1]), group[k][1].y[1], both
        # Whatever has no way home by now, with room to ease off or without, fails as the plain return failed.
        self.failures.extend(w.blocked for w in blocked if not w.returning and w.blocked is not None)

    def _eased_ways(self, w: _Work) -> list[float]:
        step, zero = self.machine.advance.resolution, w.shown_after
        room = w.room_ahead
        if room is None:
            room = min(2.0 * w.station.radius, w.standing.tail_length)
        room = min(room, self._farthest_forward(w.standing))
        ways = dict.fromkeys(settable(share * room, step, zero) for share in EASE_SHARES)
        ways.update(dict.fromkeys(settable(y, step, zero) for y in EASE_WAYS))
        return [y for y in ways if 0.0 < y <= room + 1e-9]

    def _farthest_forward(self, standing: Standing) -> float:
        """Return the greatest advance that the carriage can make from a standing pose [mm]."""
        carriage = self.machine.carriage
        if carriage is None or standing.face is None:
            return standing.tail_length
        return standing.face - carriage.reach[0]

    def _place(self) -> None:
        """Find the fastest plain path that is clear to each bend's start."""
        pending = {k: self._paths(k) for k in range(len(self.work))}
        first_try = True
        while pending:
            chosen = {k: paths[:2] if first_try else paths[2:] for k, paths in pending.items()}
            jobs: list[tuple[_Work, Motion]] = []
            spans: list[tuple[int, PlainPath, int]] = []
            for k, paths in chosen.items():
                for path in paths:
                    moves = self._motions(self.work[k], path)
                    spans.append((k, path, len(moves)))
                    jobs.extend((self.work[k], move) for move in moves)
            left = self._judge_paths(jobs, spans, {k: p[2:] for k, p in pending.items()} if first_try else {})
            pending, first_try = left, False

    def _paths(self, k: int) -> list[PlainPath]:
        w = self.work[k]
        start = self.work[k - 1].eased if k and self.work[k - 1].load == w.load else 0.0
        return list(
            plain_paths(
                self.machine,
                start,
                w.station.advance,
                self._rolls(w),
                w.standing_before.formed_arc,
                self._farthest_forward(w.standing_before),
                w.shown_before,
            )
        )

    def _rolls(self, w: _Work) -> tuple[float, ...]:
        """Return the ways round that the chuck allows [rad]: both where it is continuous."""
        if w.station.laid_in or not w.standing_before.formed_arc:
            return (0.0,)
        if self.machine.rotation.range != "continuous":
            return (w.station.roll,)
        return both_ways(w.station.roll)

    @staticmethod
    def _motions(w: _Work, path: PlainPath) -> tuple[Motion, ...]:
        made = []
        for leg in path.legs:
            if leg.kind == "rotate":
                made.append(motions.rotate(w.standing_before, leg.at, (leg.start, leg.end)))
            else:
                made.append(motions.advance(w.standing_before, (leg.start, leg.end), leg.at, leg.turned_before))
        return tuple(made)

    def _judge_paths(
        self,
        jobs: list[tuple[_Work, Motion]],
        spans: list[tuple[int, PlainPath, int]],
        later: dict[int, list[PlainPath]],
    ) -> dict[int, list[PlainPath]]:
        """Give each bend its first clear path; return the bends, with their other paths, that have none yet."""
        answers: dict[int, tuple[Rows, Verdicts, int]] = {}
        place = {id(motion): n for n, (_, motion) in enumerate(jobs)}
        for rows, found, group in self._batches(jobs) if jobs else []:
            for n, (_, motion) in enumerate(group):
                answers[place[id(motion)]] = (rows, found, n)
        worst: dict[int, Failure] = {}
        at = 0
        for k, path, count in spans:
            w, numbers = self.work[k], range(at, at + count)
            at += count
            if w.path is not None:
                continue
            clear = [c for c in w.fitting if all(self._answer(answers[n], c).answer is Answer.CLEAR for n in numbers)]
            if clear:
                w.path, w.placing, w.fitting = path, tuple(jobs[n][1] for n in numbers), clear
                continue
            n = next(n for n in numbers if self._answer(answers[n], w.fitting[0]).answer is not Answer.CLEAR)
            failure = Failure(
                w.station, w.load, "move", self._answer(answers[n], w.fitting[0]), jobs[n][1], answers[n][0]
            )
            worst.setdefault(k, failure)
        left = {}
        for k in {k for k, _, _ in spans} | set(later):
            if self.work[k].path is None:
                if later.get(k):
                    left[k] = later[k]
                else:
                    self.failures.append(worst.get(k) or self._no_path(k))
        return dict(sorted(left.items()))

    def _no_path(self, k: int) -> Failure:
        w = self.work[k]
        return Failure(w.station, w.load, "no path", Finding(0, -1, Answer.CLOSE), w.gripping[0], None)

    @staticmethod
    def _answer(entry: tuple[Rows, Verdicts, int], clamp: int) -> Finding:
        return entry[1].of(entry[2], clamp)


def _plus(value: float | None, more: float) -> float | None:
    return None if value is None else value + more
