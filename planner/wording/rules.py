"""Shop rules that are broken, in words."""

from __future__ import annotations

from typing import Final

SAYS: Final = {
    # Each bend by itself
    "largest-angle": "Bend {bend} of {angle} needs a setting of {setting}; the machine goes to {largest}.",
    "rated-capacity": "The tube takes a bending moment of {moment} to yield; the machine is rated for {rated}.",
    "no-rated-tube": "Rating not checked: the profile names no rated tube.",
    "no-yield-strength": 'Rating not checked: no yield strength is known for "{material}".',
    # Grip, dies, tail, rod
    "grip-too-short": (
        "Bend {bend} with end {leads} leading: the clamp would hold {held} of the leading end, trim included; the"
        " tooling needs {needed}."
    ),
    "straight-under-the-clamp": (
        "Bend {bend} with end {leads} leading: straight {straight} before it is {there}; the shortest {tool} is"
        " {shortest}."
    ),
    "other-dies": (
        "Bend {bend} is made with the dies for {radius}, its neighbour, bend {ahead}, with those for {radius_ahead}:"
        " each set of dies makes its bends in a pass of its own over the whole batch, and the tube is put back for it."
    ),
    "pressure-die-too-short": (
        "Bend {bend}: the pressure die, {length} long, follows the tube by {gone}; {left} of it are left behind the"
        " tangent point, the tooling needs {needed}."
    ),
    "tail-too-short": (
        "Bend {bend} with end {leads} leading: {left} of tube are left behind the tangent point when the bend ends; the"
        " tooling needs {needed}."
    ),
    "rod-too-short": (
        "Bend {bend} with end {leads} leading: {behind} of tube go over the mandrel at the load; the rod is {rod} long."
    ),
    "grip-too-short-with-all-trim": (
        "Bend {bend} with end {leads} leading: the clamp would hold {held}, all trim included; the tooling needs"
        " {needed}."
    ),
    "straight-under-the-clamp-either-way": (
        "Straight {straight} between bends {first} and {second} is {there}; the later of the two must be gripped on it,"
        " and the shortest clamp is {shortest}."
    ),
    # The carriage
    "no-grip-serves-all": (
        "Bends {first} to {bend} with end {leads} leading{opened}: no one grip within {closest:bare} to {farthest} of"
        " the tangent point serves all of them, {missing} are missing."
    ),
    "no-new-hold": "After bend {bend} with end {leads} leading the collet finds no new hold: {missing} are missing.",
    "collet-out-of-tube": (
        "Bend {bend} with end {leads} leading{opened}: the tail is {missing} too short; the collet holds {held} and"
        " comes no closer to the tangent point than {closest}."
    ),
    "carriage-out-of-travel": (
        "Bend {bend} with end {leads} leading{opened}: the carriage would have to run {missing} farther than its travel"
        " from {farthest:bare} to {closest}."
    ),
    "collet-cannot-hold": (
        "Bend {bend} with end {leads} leading: the collet cannot hold the tube, {missing} are missing even with all the"
        " trim that is allowed."
    ),
    "collet-opened": " and the collet opened once the dies have closed",
    "no-grip-as-rounded": (
        "Bend {bend} with end {leads} leading: no grip keeps the carriage's travel once the numbers are rounded"
        " to {resolution}."
    ),
    "travel-too-short-as-rounded": (
        "Bend {bend} with end {leads} leading: with the numbers rounded to what the readouts show the carriage's travel"
        " is {missing} too short."
    ),
    # What the readouts can show
    "goes-as-drawn-only": (
        "Bend {bend} with end {leads} leading goes by the drawing's numbers, but not with those that the readouts can"
        " show{steps}."
    ),
    "which-step-by": ", which step by {advance} and {rotation}",
    # The chuck
    "chuck-range-of-rotations": (
        "With end {leads} leading the rotations of bends {first} to {bend} do not fit the chuck's range of {low} to"
        " {high}."
    ),
    "chuck-range": "The chuck turns from {low} to {high}, and stands at 0° after every load and re-grip.",
}
