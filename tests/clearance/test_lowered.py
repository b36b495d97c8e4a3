"""A die that has been lowered sees the tube above it, however the tube moves meanwhile."""

import numpy as np
import pytest

from planner.clearance.poses import pose
from tests.clearance.cases import case, moment_of, places

GOES_DOWN = {"bend die": "die", "die hub": "die", "grip section": "section"}


@pytest.mark.parametrize("seed", range(320, 326))
def test_from_what_goes_down_every_point_lies_where_its_places_do(seed: int) -> None:
    """Places by the tests' own tube: the die goes down and up, and the tube is advanced and rotated over it."""
    c, rng, met = case(seed), np.random.default_rng(seed), set[str]()
    rows = c.rows()
    names = c.names(rows)
    for row in range(rows.count):
        step, name = c.steps[rows.motion[row] // len(names)], names[rows.motion[row] % len(names)]
        if step.play.drop == (0.0, 0.0) or name not in GOES_DOWN:
            continue
        table = rows.pieces[:, rows.piece[row]]
        t = moment_of(rows, row, step, float(rng.uniform(0.05, 0.95)))
        s = float(rng.uniform(table[10], min(table[11], table[12] + table[13] * t)))
        frames = step.play.moment(t).frames(places(rows, row, np.array([s]), step, t))
        wanted = step.play.seen(GOES_DOWN[name], frames, t)[0, :3, 3]
        found = pose(rows, np.array([row]), np.array([s]), np.array([t]))
        assert found.x[:, 0] == pytest.approx(wanted, abs=1e-8), (step.name, name)
        met.add(step.name)
    assert met == {"die lowered", "return, die lowered", "advance, die lowered", "rotate, die lowered", "die up"}
