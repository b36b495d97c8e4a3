"""Machine profiles in shop words: one line each, or one in full.

Everything is read from the normalised profile, the file's own keys in mm and degrees, as in a plan document.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from planner.outputs.terminal import Page
from planner.words import counted, duration, listed, size

Profile = dict[str, Any]

MOVES = {
    "frame": "stands still", "arm": "turns with the bend arm", "carriage": "moves with the carriage",
    "pressure die": "moves with the pressure die",
}  # fmt: skip


def in_one_line(profile: Profile) -> str:
    """Return the head, the tube sizes, the reach and the mandrel of a machine."""
    sizes = sorted({tooling["tube_diameter"] for tooling in profile["tooling"]})
    tubes = listed(size(diameter) for diameter in sizes)
    return "; ".join(
        [
            f"bends toward the {profile['head']['bends_toward']}",
            f"tube {tubes} mm",
            reach(profile),
            mandrel(profile),
        ]
    )


def reach(profile: Profile) -> str:
    """Return how near and how far the collet's face comes to the tangent point."""
    carriage = profile.get("carriage")
    if carriage is None:
        return "fed by hand"
    closest, farthest = carriage["reach"]
    return f"collet {size(closest)} to {size(farthest)} mm from the tangent point"


def mandrel(profile: Profile) -> str:
    """Return the mandrel in words."""
    rod = profile.get("mandrel")
    return "no mandrel" if rod is None else f"mandrel on a rod of {size(rod['rod_length'])} mm"


def print_machines(profiles: Sequence[tuple[str, str, str]], page: Page) -> None:
    """Write the list of profiles, each as (name, file, the line about it)."""
    page.text(
        f"{counted(len(profiles), 'machine')}. Plan with one by its name: bendorder plan PART -m NAME",
        style="bold",
    )
    for name, file, line in profiles:
        page.blank()
        page.text(name, style="bold")
        page.text(line, indent=2)
        page.text(file, style="dim", indent=2)


def print_machine(
    profile: Profile, file: str, page: Page, remarks: Sequence[str] = (), notes: Sequence[str] = ()
) -> None:
    """Write one profile in full, then what looking it over found and what was assumed, in sentences."""
    page.text(str(profile["name"]), style="bold")
    page.text(file, style="dim")
    page.blank()
    page.field("Head", *_head(profile))
    page.field("Carriage", *_carriage(profile))
    page.field("Rotation", *_rotation(profile["rotation"]))
    if profile.get("advance") is not None:
        page.field("Advance", *_advance(profile["advance"]))
    page.field("Mandrel", *_mandrel(profile))
    page.field("Keep clear", *_clearance(profile["clearance"]))
    for tooling in profile["tooling"]:
        page.heading(f"Tooling for tube {size(tooling['tube_diameter'])} mm, radius {size(tooling['bend_radius'])} mm")
        page.bullets(_tooling(tooling))
    page.heading("Solids besides floor, dies and clamp")
    page.bullets([_solid(solid) for solid in profile.get("solid") or ()] or ["none"])
    page.heading("Speeds and times")
    page.bullets(_speeds(profile))
    page.heading("Shop numbers")
    page.bullets(_shop_numbers(profile))
    if notes:
        page.heading("Assumed")
        page.bullets(notes)
    page.heading("Looked over" if remarks else "Looked over: clean")
    page.bullets(remarks)


def _head(profile: Profile) -> list[str]:
    head = profile["head"]
    eases = "may" if head.get("may_ease_off") else "may not"
    together = "can" if head.get("homes_with_tube") else "cannot"
    drop = head.get("die_drops") or 0
    return [
        f"bends toward the {head['bends_toward']}",
        f"centreline {size(head['centreline_height'])} mm above the floor",
        f"largest setting {size(head['largest_angle'])}°",
        f"the tube {eases} be eased off the die before the arm goes home",
        f"the carriage {together} run forward while the arm goes home",
        f"the die drops {size(drop)} mm before the arm goes home" if drop else "the die does not drop",
    ]


def _carriage(profile: Profile) -> list[str]:
    carriage = profile.get("carriage")
    if carriage is None:
        return ["none: the tube is fed by hand"]
    closest, farthest = carriage["reach"]
    through = carriage.get("passes_through")
    back, released = carriage.get("may_go_back"), carriage.get("finish_released")
    waits = carriage.get("stand_back")
    return [
        f"collet's face {size(closest)} to {size(farthest)} mm from the tangent point",
        f"travel {size(farthest - closest)} mm",
        f"grips {size(carriage['grip_length'])} mm of tube; "
        + (
            "the tube may stick out behind it, so it can re-grip"
            if through
            else "it holds the very end, so there is no re-grip"
        ),
        f"{'may' if back else 'may not'} go back",
        f"the last bend {'may' if released else 'may not'} be made with the collet open",
        f"stands back at {size(farthest if waits is None else waits)} mm while the tube is put on or taken off",
    ]


def _rotation(rotation: Profile) -> list[str]:
    within = rotation["range"]
    turns = "without end" if within == "continuous" else f"from {size(within[0])}° to {size(within[1])}° since the load"
    dial = "0 to 360°" if rotation.get("style") == "0-360" else "signed, -180° to 180°"
    zeroed = "set to 0 at the end of every bend" if rotation.get("zeroed") else "counts on since the load"
    return [
        f"turns {turns}",
        f"dial {dial}, counts {rotation.get('counts')} seen along the feed",
        f"shows {size(rotation['resolution'])}°, {zeroed}",
    ]


def _advance(advance: Profile) -> list[str]:
    zeroed = "set to 0 at the end of every bend" if advance.get("zeroed") else f"0 with {advance.get('absolute_zero')}"
    return [f"readout shows {size(advance['resolution'])} mm, {zeroed}"]


def _mandrel(profile: Profile) -> list[str]:
    rod = profile.get("mandrel")
    if rod is None:
        return ["none"]
    thick = rod.get("rod_diameter")
    nose = rod.get("nose")
    draws = "is drawn back before the tube is rotated" if rod.get("draws_back") else "is not drawn back"
    through = "as thick as the mandrel" if thick is None else f"{size(thick)} mm thick"
    lines = [f"on a rod of {size(rod['rod_length'])} mm, {through}"]
    if nose is not None:
        lines.append(f"stands {size(nose)} mm past the tangent point with tooling that says nothing of its own")
    return [*lines, draws]


def _clearance(clearance: Profile) -> list[str]:
    sag = clearance.get("per_metre") or 0
    more = f", and {size(sag)} mm more for each metre ahead of the tangent point" if sag else ""
    return [
        f"{size(clearance['required'])} mm to machine and floor{more}",
        f"{size(clearance['to_tooling'])} mm to tooling that does not hold the tube",
        f"{size(clearance['to_itself'])} mm to itself",
    ]


def _tooling(tooling: Profile) -> list[str]:
    clamps = listed((size(length) for length in tooling["clamp_lengths"]), last="or")
    follows = "travels with the tube" if tooling.get("pressure_die_follows") else "stands still"
    lines = [
        f"clamp die {clamps} mm long",
        f"the clamp must hold at least {size(tooling['shortest_grip'])} mm at a leading end",
        f"pressure die {size(tooling['pressure_die_length'])} mm long, {follows} while bending",
        *_rest(tooling),
        f"at least {size(tooling['shortest_tail'])} mm straight behind the tangent point when a bend ends",
        f"bend die {size(tooling['die_height'])} mm high",
    ]
    lines += [_section(tooling), *_tip(tooling)]
    hub = tooling.get("die_hub")
    if hub is not None:
        lines.append(f"over the die a hub of radius {size(hub['radius'])} mm, {size(hub['height'])} mm high")
    for key, name in (("clamp_block", "clamp block"), ("pressure_block", "pressure block")):
        block = tooling[key]
        lines.append(f"{name} {size(block['width'])} x {size(block['height'])} mm, opens {size(block['opens'])} mm")
    wiper = tooling.get("wiper_block")
    if wiper is not None:
        lines.append(f"wiper block {size(wiper['length'])} x {size(wiper['width'])} x {size(wiper['height'])} mm")
    return lines


def _rest(tooling: Profile) -> list[str]:
    """Return how much of a pressure die that follows the tube must be left, in words."""
    if not tooling.get("pressure_die_follows"):
        return []
    rest = tooling.get("pressure_rest")
    left = f"{size(tooling['tube_diameter'])} mm, a tube diameter," if rest is None else f"{size(rest)} mm"
    return [f"{left} of it left behind the tangent point when a bend ends"]


def _section(tooling: Profile) -> str:
    """Return the grip section in words."""
    given = tooling.get("grip_section")
    if given is False:
        return "no grip section: the groove ends at the tangent point"
    given = given or {}
    depth, height, length = (given.get(key) for key in ("depth", "height", "length"))
    deep = "as deep as usual" if depth is None else f"{size(depth)} mm deep"
    high = "as high as the die" if height is None else f"{size(height)} mm high"
    long = "as long as the clamp die" if length is None else f"{size(length)} mm long"
    return f"grip section {deep}, {high}, {long}"


def _tip(tooling: Profile) -> list[str]:
    """Return the mandrel's tip in words."""
    tip = tooling.get("mandrel")
    if tip is None:
        return []
    balls, before = tip.get("balls") or 0, tip.get("draws_back_before_end") or 0
    words = f"mandrel {size(tip['nose'])} mm past the tangent point"
    if balls:
        words += f", with {counted(balls, 'ball')} to {size(tip['ball_reach'])} mm"
    return [words + (f", drawn back {size(before)}° before the end of the bend" if before else "")]


def _solid(solid: Profile) -> str:
    moves = MOVES.get(solid["moves_with"], solid["moves_with"])
    box, cylinder = solid.get("box"), solid.get("cylinder")
    if box is not None:
        low, high = (", ".join(size(x) for x in box[end]) for end in ("from", "to"))
        return f"{solid['name']}: box from ({low}) to ({high}) mm, {moves}"
    if cylinder is not None:
        centre = ", ".join(size(x) for x in cylinder["centre"])
        low, high = (size(z) for z in cylinder["z"])
        round_it = f"upright cylinder of radius {size(cylinder['radius'])} mm around ({centre})"
        return f"{solid['name']}: {round_it}, z {low} to {high} mm, {moves}"
    return f"{solid['name']}: {moves}"


def _speeds(profile: Profile) -> list[str]:
    speeds, times = profile.get("speeds") or {}, profile.get("times") or {}
    words = {"advance": "mm/s", "rotate": "°/s", "bend": "°/s", "return": "°/s"}
    named = {
        "regrip": "a re-grip",
        "turn": "a turn end for end",
        "load": "a load",
        "clamp": "closing or opening the dies",
        "tool_change": "a change of clamp",
    }
    moving = [f"{name} {size(speeds[name])} {unit}" for name, unit in words.items() if speeds.get(name) is not None]
    taking = [f"{name} takes {duration(times[key])}" for key, name in named.items() if times.get(key) is not None]
    return [", ".join(moving)] * bool(moving) + taking or ["none given"]


def _shop_numbers(profile: Profile) -> list[str]:
    springback, rated = profile.get("springback"), profile.get("rated")
    measured = springback.get("measured") if springback else None
    lines = ["springback is estimated: the profile has no measured pairs"]
    if measured:
        pairs = listed(f"{size(setting)}° makes {size(angle)}°" for angle, setting in measured)
        lines = [f"springback measured: a setting of {pairs}"]
    scatter = profile.get("scatter")
    if scatter:
        lines.append("scatter, one standard deviation: " + ", ".join(_scatter(scatter)))
    if rated:
        strength = (
            f", yield strength {size(rated['yield_strength'])} MPa" if rated.get("yield_strength") is not None else ""
        )
        lines.append(f"rated for tube {size(rated['tube_diameter'])} x {size(rated['wall'])} mm{strength}")
    return lines if rated else [*lines, "no rating given"]


def _scatter(scatter: Profile) -> list[str]:
    units = {"angle": "°", "rotation": "°", "advance": " mm"}
    words = [f"{name} {size(scatter[name])}{unit}" for name, unit in units.items() if scatter.get(name) is not None]
    reclamp = scatter.get("reclamp")
    if reclamp:
        words.append(f"after a re-clamp rotation {size(reclamp['rotation'])}°, advance {size(reclamp['advance'])} mm")
    return words
