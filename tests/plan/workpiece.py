"""Carry out a plan document on a simulated tube, from the document alone (JSON data): NumPy, nothing of the program.

The tube is a row of marks, each at a stock coordinate counted from the raw end A (trim included), with its place in the
machine frame: origin at the tangent point, +x along the feed, +z up, so +y to the left. Only what the words of the shop mean
happens to them: an advance shifts all marks, a rotation turns them about x, a bend wraps the tube on a die whose axis
stands at (0, −CLR) on a right head and at (0, +CLR) on a left one.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from tests.geometry.turns import Array, turn_about

Document = dict[str, Any]

SPACING = 8.0
"""Between marks [mm]; each is carried exactly, so the spacing is no error."""


@dataclass
class Seen:
    """What the simulation expects of a step: where things stand before and after it, and what the readouts show."""

    step: Document
    before: dict[str, float | None]
    after: dict[str, float | None]
    dial: float
    readout: float


@dataclass
class Workpiece:
    """The tube in the machine, and how far the steps have been carried out."""

    document: Document
    mirror_the_chuck: bool = False  # carry out every rotation the wrong way round: what a flipped sign would make
    marks: Array = field(init=False)
    places: Array = field(init=False)
    seen: list[Seen] = field(default_factory=list)
    at_bend: dict[int, Array] = field(default_factory=dict)  # directions of the free leg as the dies close on a bend

    def __post_init__(self) -> None:
        self.rows = self.document["part"]["shape"]["lra"]
        self.machine = self.document["machine"]
        self.stock = self.document["stock"]
        self.cut = self.stock["cut_length"]
        self.marks = np.linspace(0.0, self.cut, int(self.cut / SPACING) + 2)
        self.places = np.zeros((len(self.marks), 3))
        self.side = -1.0 if self.machine["head"]["bends_toward"] == "right" else 1.0
        self.leads, self.passed = "A", 0.0  # raw stock that has passed the tangent point, from the leading end
        self.formed: dict[int, tuple[float, float]] = {}  # bend → raw coordinates of its tangent points from end A
        self.y = self.chuck = self.arm = self.zero_y = self.zero_chuck = 0.0
        self.face: float | None = None
        self.holds = False  # the collet is closed

    # From the leading end

    def counted(self) -> Array:
        """Raw stock coordinates of the marks from the leading end [mm]."""
        return self.marks if self.leads == "A" else self.cut - self.marks

    def carry_out(self) -> Workpiece:
        """Carry out every step; return self."""
        for step in self.document["steps"]:
            if step["action"] in ("load", "turn", "reload") and step["from"] is not None:
                # In free hands until then: it is brought to where the step begins.
                self.y, self.arm, self.face = step["from"]["y"], 0.0, step["from"]["face"]
                self.chuck = math.radians(step["from"]["rotation"])
            before = self._stand()
            getattr(self, "_" + step["action"].replace(" ", "_").replace("-", "_"))(step)
            self.seen.append(Seen(step, before, self._stand(), self._dial(), self._readout()))
            if step["action"] == "open dies":  # the advance of the next bend counts from here
                self.y = 0.0
                self.zero_y = 0.0 if self.machine["advance"]["zeroed"] else self.zero_y
        return self

    def _stand(self) -> dict[str, float | None]:
        return {"y": self.y, "rotation": math.degrees(self.chuck), "arm": math.degrees(self.arm), "face": self.face}

    # The steps

    def _load(self, step: Document) -> None:
        self.leads = step["leads"]
        self.passed = self._laid(step)
        self.places = np.column_stack((self.passed - self.counted(), 0.0 * self.marks, 0.0 * self.marks))
        stands = re.search(r"its end ([\d.]+) mm past", step["note"])
        assert abs(self.passed - (0.0 if stands is None else float(stands[1]))) <= 0.05 + 1e-6
        self._on_its_way(step)

    def _on_its_way(self, step: Document) -> None:
        """Take the tube back from its place to where a load's first leg ends; the legs that follow bring it there."""
        if step["to"] is None:
            return
        self.y, self.chuck = step["to"]["y"], math.radians(step["to"]["rotation"])
        self.places = self.places @ turn_about("x", self.chuck).T + [self.y, 0.0, 0.0]
        self.passed += self.y

    def _laid(self, step: Document) -> float:
        """Raw coordinate from the leading end at the tangent point after a load: where the collet then takes hold says it."""
        self.y = self.chuck = self.zero_y = self.zero_chuck = 0.0
        self.holds, self.face = False, None
        carriage = self.machine.get("carriage")
        if carriage is None:
            return 0.0
        self.face = float(carriage.get("stand_back") or carriage["reach"][1])
        following = self.document["steps"][step["number"] :]
        taking_hold = next(s for s in following if s["action"] == "carriage forward")
        return float(self.cut - taking_hold["grip"] - taking_hold["to"]["face"])

    def _carriage_forward(self, step: Document) -> None:
        """The collet takes hold where the step says, its face so far from the tail end."""
        self.face, self.holds = self.cut - self.passed - step["grip"], True

    def _carriage_back(self, step: Document) -> None:
        assert not self.holds
        words = re.search(r"its face ([\d.]+) mm from the tangent point", step["note"])
        assert words is not None
        assert self.face is not None
        before, self.face = self.face, float(words[1])
        assert abs(abs(before - self.face) - step["amount"]) <= 0.05 + 1e-6

    def _turn(self, step: Document) -> None:
        assert step["leads"] != self.leads
        assert step["note"].startswith("Turn end for end")
        self._put_back(step)

    def _reload(self, step: Document) -> None:
        assert step["leads"] == self.leads
        assert "put it back the same way round" in step["note"]
        self._put_back(step)

    def _put_back(self, step: Document) -> None:
        """Lay a formed tube in as the words say."""
        self.leads = step["leads"]
        words = step["note"]
        found = re.search(r"bend (\d+) nearer end ([AB]) ([\d.]+) mm ahead", words)
        assert found is not None
        bend, nearer, distance = int(found[1]), found[2], float(found[3])
        assert nearer != self.leads  # it lies on the straight that goes into the machine
        raw = max(self.formed[bend]) if nearer == "B" else min(self.formed[bend])
        joint = raw if self.leads == "A" else self.cut - raw
        passed = self._laid(step)
        if self.face is None:  # no collet takes hold
            passed = joint + distance
        assert abs(passed - joint - distance) <= 0.05 + 1e-6
        self._lay_in(joint, passed, self._points(words))
        self.passed = passed
        self._on_its_way(step)

    def _lay_in(self, joint: float, passed: float, lateral: Array) -> None:
        """Move the tube so that the straight behind `joint` lies on the feed and the bend ahead curls toward `lateral`."""
        counted = self.counted()
        behind = np.flatnonzero(counted > joint + 1e-6)
        near, end = behind[np.argmin(counted[behind])], behind[np.argmax(counted[behind])]
        forward = self.places[near] - self.places[end]
        forward = forward / np.linalg.norm(forward)
        origin = self.places[near] + forward * (counted[near] - joint)
        on_arc = np.flatnonzero(counted < joint - 1e-6)
        curl = self.places[on_arc[np.argmax(counted[on_arc])]] - origin
        curl = curl - forward * (curl @ forward)
        curl = curl / np.linalg.norm(curl)
        was = np.column_stack((forward, curl, np.cross(forward, curl)))
        ahead = np.array([1.0, 0.0, 0.0])
        wanted = np.column_stack((ahead, lateral, np.cross(ahead, lateral)))
        self.places = (self.places - origin) @ (wanted @ was.T).T + ahead * (passed - joint)

    def _points(self, words: str) -> Array:
        """The direction across the feed to which the words say that the bend ahead curls."""
        straight = re.search(r"straight (up|down)", words)
        if straight is not None:
            return np.array([0.0, 0.0, 1.0 if straight[1] == "up" else -1.0])
        slope, away = re.search(r"([\d.]+)° (above|below) level", words), "the side away from the die" in words
        assert away or "the die's side" in words
        up = 0.0 if slope is None else math.radians(float(slope[1])) * (1.0 if slope[2] == "above" else -1.0)
        return np.array([0.0, (-self.side if away else self.side) * math.cos(up), math.sin(up)])

    def _advance(self, step: Document) -> None:
        self._forward(step["amount"])

    def _forward(self, way: float) -> None:
        """The tube goes along the feed, and with it the collet that holds it."""
        self.places = self.places + [way, 0.0, 0.0]
        self.passed, self.y = self.passed + way, self.y + way
        if self.face is not None and self.holds:
            self.face -= way

    def _rotate(self, step: Document) -> None:
        way = math.radians(step["amount"]) * (1.0 if step["way"] == "clockwise" else -1.0)
        self.places = self.places @ turn_about("x", -way if self.mirror_the_chuck else way).T
        self.chuck += way

    def _close_dies(self, step: Document) -> None:
        order = np.argsort(self.counted())
        leg = self.places[order[0]] - self.places[order[1]]
        self.at_bend[step["bend"]] = leg / np.linalg.norm(leg)

    def _bend(self, step: Document) -> None:
        """Swing to the setting. The tube springs back to the angle as the dies open: the arc keeps the stock CLR · angle."""
        setting, self.angle = math.radians(step["setting"]), math.radians(step["angle"])
        self.radius = self.rows[step["bend"] - 1][3]
        self.before_swing, self.feed = self.places.copy(), self.radius * setting
        self._wrap(setting)
        self.arm, self.y = setting, self.y + self.feed
        if self.face is not None and self.holds:
            self.face -= self.feed

    def _wrap(self, angle: float) -> None:
        """Wrap the tube as it lay before the swing on the die by an angle [rad]."""
        counted, start = self.counted(), self.passed
        assert np.abs(self.before_swing[counted >= start][:, 1:]).max(initial=0.0) < 1e-6, (
            "what is bent must be straight"
        )
        axis = np.array([0.0, self.side * self.radius, 0.0])
        swung = (self.before_swing - axis) @ turn_about("z", self.side * angle).T + axis
        along = angle - (counted - start) / self.radius  # angle on the die, from its tangent point
        bow = np.column_stack((np.sin(along), self.side * (1.0 - np.cos(along)), 0.0 * along)) * self.radius
        tail = np.column_stack((along * self.radius, 0.0 * along, 0.0 * along))
        ahead, behind = (counted <= start)[:, None], (along < 0.0)[:, None]
        self.places = np.where(ahead, swung, np.where(behind, tail, bow))

    def _open_dies(self, step: Document) -> None:
        self._wrap(self.angle)
        arc = self.radius * self.angle
        near, far = self.passed, self.passed + arc
        self.formed[step["bend"]] = (near, far) if self.leads == "A" else (self.cut - near, self.cut - far)
        self.passed, self.y = far, self.y - self.feed + arc
        if self.face is not None and self.holds:
            self.face += self.feed - arc

    def _run_forward(self, step: Document) -> None:
        assert self.face is None or ("by hand" in step["note"]) != self.holds
        self._forward(step["amount"])

    def _die_down(self, _: Document) -> None: ...

    def _die_up(self, _: Document) -> None: ...

    def _return(self, step: Document) -> None:
        """The arm goes home, or as far as the words say (to 0.1°); with an amount the tube is run forward meanwhile."""
        words = re.search(r"As far as ([\d.]+)° from home", step["note"] or "")
        self.arm = 0.0 if step["to"] is None else math.radians(step["to"]["arm"])
        if step["amount"] is None:
            assert abs(math.degrees(self.arm) - (0.0 if words is None else float(words[1]))) <= 0.05 + 1e-6
        else:
            self._forward(step["amount"])

    def _re_grip(self, step: Document) -> None:
        assert self.face is not None
        self.face += step["amount"]
        if "chuck back to 0" in step["note"]:
            self.chuck = 0.0

    def _open_collet(self, _: Document) -> None:
        assert self.holds
        self.holds = False

    def _zero(self, step: Document) -> None:
        if "advance" in step["note"]:
            self.zero_y = self.y
        if "dial" in step["note"]:
            self.zero_chuck = self.chuck

    def _change_clamp(self, _: Document) -> None: ...

    def _unload(self, step: Document) -> None:
        if step["to"] is not None:
            self.places = self.places + [step["to"]["y"] - step["from"]["y"], 0.0, 0.0]
            self.y = step["to"]["y"]

    def _check(self, _: Document) -> None: ...

    def _trim(self, step: Document) -> None:
        end = re.search(r"end ([AB])", step["note"])
        assert end is not None
        assert step["amount"] == self.stock["trim_a" if end[1] == "A" else "trim_b"]

    # What the readouts show

    def _dial(self) -> float:
        """What the dial shows [deg], within the turn that its style shows."""
        made = self.machine["rotation"]
        angle = math.degrees(self.chuck - (self.zero_chuck if made["zeroed"] else 0.0))
        angle = angle if made["counts"] == "clockwise" else -angle
        return angle % 360.0 if made["style"] == "0-360" else angle

    def _readout(self) -> float:
        """What the advance readout shows [mm]."""
        made, carriage = self.machine["advance"], self.machine.get("carriage")
        if made["zeroed"]:
            return self.y - self.zero_y
        if made["absolute_zero"] == "leading end at tangent" or carriage is None or self.face is None or not self.holds:
            return self.passed
        closest, farthest = carriage["reach"]
        return farthest - self.face if made["absolute_zero"] == "collet at farthest" else self.face - closest

    # The finished part

    def finished(self) -> tuple[Array, Array]:
        """Stock coordinates from end A of the part, trim cut off, and the places of the marks (k, 3) [mm]."""
        along = self.marks - self.stock["trim_a"]
        kept = (along >= 0.0) & (along <= self.stock["developed_length"])
        return along[kept], self.places[kept]


def drawing(document: Document, along: Array) -> Array:
    """The drawing's centreline (k, 3) [mm] at stock coordinates from end A: frames walked from A, right-handed."""
    rows = document["part"]["shape"]["lra"]
    out, place, frame, used = np.empty((len(along), 3)), np.zeros(3), np.eye(3), 0.0
    for row in rows:
        length = row[0]
        inside = along >= used - 1e-9
        out[inside] = place + np.outer(along[inside] - used, frame[:, 0])
        place, used = place + length * frame[:, 0], used + length
        if len(row) == 1:
            break
        _, rotation, angle, radius = row
        frame, angle = frame @ turn_about("x", math.radians(rotation)), math.radians(angle)
        inside = along >= used - 1e-9
        turned = (along[inside] - used) / radius
        bow = np.column_stack((np.sin(turned), 1.0 - np.cos(turned), 0.0 * turned)) * radius
        out[inside] = place + bow @ frame.T
        place = place + frame @ (radius * np.array([math.sin(angle), 1.0 - math.cos(angle), 0.0]))
        frame, used = frame @ turn_about("z", angle), used + radius * angle
    return out


def fit(points: Array, goal: Array, mirrored: bool = False) -> tuple[float, float]:
    """Root mean square and largest distance [mm] after the best rigid motion onto `goal`; mirrored: of the mirror image.

    Kabsch, Acta Crystallographica A 32 (1976) 922: the rotation from the singular values, its determinant held at +1.
    """
    a, b = points - points.mean(axis=0), goal - goal.mean(axis=0)
    if mirrored:
        a = a * [1.0, 1.0, -1.0]
    left, _, right = np.linalg.svd(a.T @ b)
    flip = np.diag([1.0, 1.0, np.sign(np.linalg.det(left @ right))])
    off = np.linalg.norm(a @ (left @ flip @ right) - b, axis=1)
    return float(np.sqrt(np.mean(off**2))), float(off.max())
