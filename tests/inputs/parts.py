"""Parts for the tests of the inputs: a document to spoil, and random parts."""

from __future__ import annotations

import copy
from typing import Any

import numpy as np
from hypothesis import strategies as st

from planner.inputs.files import part_from_data
from planner.inputs.part import Part

RAIL: dict[str, Any] = {
    "name": "boarding ladder rail (invented)",
    "units": "mm",
    "tube": {"outside_diameter": 38.1, "wall": 1.65, "material": "stainless 304"},
    "shape": {"bend_radius": 76.2, "lra": [[250, 0, 90], [180, -90, 45], [300]]},
}


def rail(**shape: Any) -> dict[str, Any]:
    """Return the rail's document with another shape, if one is given."""
    document = copy.deepcopy(RAIL)
    if shape:
        document["shape"] = shape
    return document


def of_shape(*, outside_diameter: float = 38.1, **shape: Any) -> Part:
    """Return a part of a shape."""
    document = rail(**shape)
    document["tube"]["outside_diameter"] = outside_diameter
    return part_from_data(document)


@st.composite
def parts(draw: st.DrawFn, largest_angle: float = 170.0, least_angle: float = 1.0) -> Part:
    """Return a random part, crossing itself or not: Part itself does not judge that."""
    n = draw(st.integers(1, 8))
    lengths = st.floats(0.0, 900.0)
    rotations = [0.0, *draw(st.lists(st.floats(-180.0, 180.0), min_size=n - 1, max_size=n - 1))]
    angles = draw(st.lists(st.floats(least_angle, largest_angle), min_size=n, max_size=n))
    return Part(
        name="random",
        machine=draw(st.sampled_from([None, "canal-workshop"])),
        outside_diameter=38.1,
        wall=1.65,
        gauge=draw(st.sampled_from([None, "16 BWG"])),
        material="stainless 304",
        yield_strength=205.0,
        straights=np.array(draw(st.lists(lengths, min_size=n + 1, max_size=n + 1))),
        rotations=np.deg2rad(rotations),
        angles=np.deg2rad(angles),
        radii=np.array(draw(st.lists(st.sampled_from([57.15, 76.2, 114.3]), min_size=n, max_size=n))),
        trim_a=draw(lengths),
        trim_b=draw(lengths),
    )
