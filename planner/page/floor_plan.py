"""The floor plan of a step as a picture (SVG): the machine from above, what the tube sweeps, and its reach just now.

Seen from above with the feed to the right and the left side of the feed upwards [mm]. What is drawn as swept is an
upper bound, as the plan's own outline and swings are.
"""

from __future__ import annotations

import html
from typing import Any

from planner.plans.document import Plan, Step, Swing
from planner.wording.figures import LengthUnit, at_most_shown

MARGIN = 300.0
"""Of floor about everything that is drawn [mm]."""


def floor_plan(plan: Plan, step: Step, unit: LengthUnit) -> str:
    """Return the floor plan of a step as SVG text."""
    outline = [point for area in plan.keep_clear for point in area.outline]
    boxes = [_seen_from_above(solid) for solid in plan.machine.get("solid", ()) if solid["moves_with"] == "frame"]
    xs = [x for x, _ in outline] + [v for box in boxes for v in (box[0], box[2])] + [0.0]
    ys = [y for _, y in outline] + [v for box in boxes for v in (box[1], box[3])] + [0.0]
    if step.swing is not None:
        xs, ys = xs + _reached(step.swing, _die(plan, step), 0), ys + _reached(step.swing, _die(plan, step), 1)
    left, right = min(xs) - MARGIN, max(xs) + MARGIN
    low, high = min(ys) - MARGIN, max(ys) + MARGIN
    thick = (right - left) / 260.0
    drawn = [_swept(outline, thick)] if outline else []
    drawn += [_box(box, thick) for box in boxes]
    drawn.append(_feed(left, right, thick))
    sentence = "What the whole plan sweeps"
    if step.swing is not None:
        drawn.append(_reach(step.swing, _die(plan, step), left, thick))
        sentence = f"{sentence}, and how far this step reaches: {at_most_shown(step.swing.farthest, unit)}"
    view = f"{left:.0f} {-high:.0f} {right - left:.0f} {high - low:.0f}"
    title = html.escape(f"Floor plan. {sentence}.")
    return (
        f'<svg viewBox="{view}" role="img" aria-label="{title}" xmlns="http://www.w3.org/2000/svg">'
        f"<title>{title}</title>{_hatch(thick)}{''.join(drawn)}</svg>"
    )


def _seen_from_above(solid: dict[str, Any]) -> tuple[float, float, float, float]:
    """Return the corners (x, y, x, y) of a solid from above [mm]."""
    if "box" in solid:
        (x0, y0, _), (x1, y1, _) = solid["box"]["from"], solid["box"]["to"]
        return x0, y0, x1, y1
    (x, y), radius = solid["cylinder"]["centre"], solid["cylinder"]["radius"]
    return x - radius, y - radius, x + radius, y + radius


def _hatch(thick: float) -> str:
    gap = 9.0 * thick
    return (
        f'<defs><pattern id="swept" width="{gap:.0f}" height="{gap:.0f}" patternUnits="userSpaceOnUse"'
        ' patternTransform="rotate(45)">'
        f'<line x1="0" y1="0" x2="0" y2="{gap:.0f}" stroke="var(--open)" stroke-width="{thick:.1f}"/></pattern></defs>'
    )


def _swept(outline: list[tuple[float, float]], thick: float) -> str:
    points = " ".join(f"{x:.0f},{-y:.0f}" for x, y in outline)
    return (
        f'<polygon points="{points}" fill="url(#swept)" fill-opacity="0.55" stroke="var(--open)"'
        f' stroke-width="{2.0 * thick:.1f}"/>'
    )


def _box(box: tuple[float, float, float, float], thick: float) -> str:
    x0, y0, x1, y1 = box
    return (
        f'<rect x="{x0:.0f}" y="{-y1:.0f}" width="{x1 - x0:.0f}" height="{y1 - y0:.0f}" fill="var(--line)"'
        f' stroke="var(--faint)" stroke-width="{thick:.1f}"/>'
    )


def _feed(left: float, right: float, thick: float) -> str:
    """Return the feed's line with an arrow, and the tangent point."""
    tip = 14.0 * thick
    return (
        f'<line x1="{left:.0f}" y1="0" x2="{right - tip:.0f}" y2="0" stroke="var(--ink)" stroke-width="{thick:.1f}"'
        f' stroke-dasharray="{6 * thick:.0f} {4 * thick:.0f}"/>'
        f'<polygon points="{right:.0f},0 {right - tip:.0f},{-tip / 2.5:.0f} {right - tip:.0f},{tip / 2.5:.0f}"'
        f' fill="var(--ink)"/><circle cx="0" cy="0" r="{4 * thick:.0f}" fill="var(--ink)"/>'
    )


def _die(plan: Plan, step: Step) -> float:
    """Return where the die's axis stands across the feed in a step [mm]."""
    side = -1.0 if plan.machine["head"]["bends_toward"] == "right" else 1.0
    return side * float(plan.part["shape"]["lra"][(step.bend or 1) - 1][3])


def _reached(swing: Swing, die: float, axis: int) -> list[float]:
    """Return how far a step reaches along the feed (axis 0) or across it (1), least and most [mm]."""
    far = swing.farthest
    if swing.about is None:
        return [far if axis == 0 else 0.0]
    if swing.about == "feed":
        return [0.0] if axis == 0 else [-far, far]
    return [-far, far] if axis == 0 else [die - far, die + far]


def _reach(swing: Swing, die: float, left: float, thick: float) -> str:
    """Return how far the tube reaches in one step: a circle about the die, a band about the feed, or a line ahead."""
    style = f'fill="none" stroke="var(--bad)" stroke-width="{3.0 * thick:.1f}"'
    far = swing.farthest
    if swing.about == "die":
        return f'<circle cx="0" cy="{-die:.0f}" r="{far:.0f}" {style}/>'
    if swing.about == "feed":
        return f'<rect x="{left:.0f}" y="{-far:.0f}" width="{-2.0 * left:.0f}" height="{2.0 * far:.0f}" {style}/>'
    return f'<line x1="{far:.0f}" y1="{-20 * thick:.0f}" x2="{far:.0f}" y2="{20 * thick:.0f}" {style}/>'
