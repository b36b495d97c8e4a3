"""How near the tube's surface comes to a solid at N places of it, at most.

At a place the tube is the flat disc of its radius across the centreline. Any point of it gives an upper bound of its
distance to a solid; a few are tried that lie toward the solid. Where the tube goes on either way, a sphere about the
place lies in it too: what counts is the centreline's distance less the sphere's radius.

Distances are signed and never grow faster than the way gone: a bound holds, larger by so much, for a tube shifted by
some way. To a convex solid the distance of a disc, or of a sphere, that is shifted along a straight is a convex
function of the way: on a stretch it is greatest at one of its ends.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from planner.audit.material import Points
from planner.audit.shapes import Array
from planner.audit.solids import Solid, distance
from planner.tolerances import ACROSS_TUBE, DIFFERENCE, NO_DIRECTION

TRIED = np.deg2rad(np.arange(0.0, 360.0, 15.0))
"""Where on the rim the distance is measured first, from the point that faces the solid [rad]."""

DEPTHS = (1.0, 0.5)
"""How far out, as shares of the radius."""

NARROWER = np.linspace(-1.0, 1.0, 9)
"""Where between the neighbours of the nearest point of the rim it is measured again."""

PROJECTIONS = 4
"""Times that the nearest point of the solid is sought from the nearest point of the disc and back."""


def surface(solid: Solid, points: Points, radius: float) -> Array:
    """Return upper bounds (N,) of the tube's distance [mm] at some places, seen from the solid's owner."""
    return np.asarray(_found(solid, points, radius).min(axis=0))


def over_stretch(solid: Solid, points: Points, radius: float, way: Array, convex: bool) -> Array:
    """Return upper bounds (N,) all over the stretches of `way` (N,) either way along the feed [mm]."""
    most = surface(solid, points, radius) + way
    if convex:
        ends = [_found(solid, points.shifted(sign * way), radius) for sign in (-1.0, 1.0)]
        most = np.minimum(most, np.maximum(*ends).min(axis=0))
    return np.asarray(most)


def _found(solid: Solid, points: Points, radius: float) -> Array:
    """Return the distances (2, N) found: of the largest sphere about each place that lies in the tube, and of its disc.

    Where the sphere is as large as it gets the disc is not looked at: it is infinite.
    """
    centre, sphere = distance(solid, points.x), _sphere_within(points, radius)
    disc = np.full_like(centre, np.inf)
    at = np.flatnonzero(sphere < radius)
    if at.size:
        disc[at] = _of_disc(solid, points.x[:, at], points.along[:, at], radius)
    return np.stack((centre - sphere, disc))


def _sphere_within(points: Points, radius: float) -> Array:
    """Return the radius (N,) of a sphere about each place that lies in tube of the same role [mm], the tube's at most.

    Where the centreline bends by no more than a curvature κ and goes on for m, its end lies at least sin(κm)/κ beyond
    the place (κm up to 90°), seen along its direction there. A sphere no larger lies on the near side of the end's
    plane, so that the centreline's nearest point to any point of the sphere is none of its ends; it is no farther off
    than the place is, so that the point lies in the disc there.
    """
    on = np.maximum(np.minimum(points.before, points.beyond), 0.0)
    bend = points.curvature
    turned = np.minimum(bend * on, np.pi / 2.0)
    reach = np.where(bend > 0.0, np.sin(turned) / np.where(bend > 0.0, bend, 1.0), on)
    return np.asarray(np.minimum(reach, radius))


def _away(solid: Solid, x: Array) -> Array:
    """Return unit directions (3, N) away from a solid, by differences."""
    steps = (DIFFERENCE * np.eye(3))[:, :, None]
    slope = np.stack([distance(solid, x + step) - distance(solid, x - step) for step in steps])
    size = np.sqrt((slope * slope).sum(axis=0))
    return np.asarray(slope / np.where(size > 0.0, size, 1.0))


def _of_disc(solid: Solid, x: Array, along: Array, radius: float) -> Array:
    """Return the least distance found over the discs: by turns from the solid and from the disc, and on the rim."""
    g = _away(solid, x)
    first = _unit_across(g, along)
    second = np.cross(along, first, axis=0)
    best = np.full(x.shape[1], np.inf)
    q = x
    for _ in range(PROJECTIONS):
        off = q - distance(solid, q) * _away(solid, q) - x
        off = off - along * (off * along).sum(axis=0)
        size = np.sqrt((off * off).sum(axis=0))
        q = x + off * np.minimum(1.0, radius / np.maximum(size, NO_DIRECTION))
        best = np.minimum(best, distance(solid, q))

    def on_rim(angle: Array, share: float) -> Array:
        """Return the distances at angles (A, N) from the point that faces the solid."""
        way = radius * share
        spots = x[:, None] - way * (np.cos(angle) * first[:, None] + np.sin(angle) * second[:, None])
        return np.asarray(distance(solid, spots.reshape(3, -1)).reshape(angle.shape))

    every = np.tile(TRIED[:, None], (1, x.shape[1]))
    for share in DEPTHS:
        found, angle, half = on_rim(every, share), every, float(TRIED[1] - TRIED[0])
        for _ in range(3):
            nearest = np.take_along_axis(angle, found.argmin(axis=0)[None], axis=0)
            best = np.minimum(best, found.min(axis=0))
            angle = nearest + half * NARROWER[:, None]
            found, half = on_rim(angle, share), half / 4.0
        best = np.minimum(best, found.min(axis=0))
    return best


def _unit_across(g: Array, along: Array) -> Array:
    """Return unit vectors across the tube, along g where that is not along the tube."""
    off = g - along * (g * along).sum(axis=0)
    size = np.sqrt((off * off).sum(axis=0))
    axis = np.where(np.abs(along[2]) < 0.9, np.array([[0.0], [0.0], [1.0]]), np.array([[1.0], [0.0], [0.0]]))
    spare = axis - along * (axis * along).sum(axis=0)
    spare = spare / np.sqrt((spare * spare).sum(axis=0))
    return np.asarray(np.where(size > ACROSS_TUBE, off / np.where(size > ACROSS_TUBE, size, 1.0), spare))


def seen_from_arm(points: Points, arm: Array, toward: float, die_y: float) -> Points:
    """Return points as the arm sees them at angles (N,) from home [rad]."""
    c, s = np.cos(arm), -toward * np.sin(arm)
    aside = points.x[1] - die_y
    x = np.stack((c * points.x[0] - s * aside, die_y + s * points.x[0] + c * aside, points.x[2]))
    a = points.along
    along = np.stack((c * a[0] - s * a[1], s * a[0] + c * a[1], a[2]))
    return replace(points, x=x, along=along)
