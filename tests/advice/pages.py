"""Pages of `why` as they were read and found good."""

LOCKSIDE = """\
MAKEABLE: lockside rail (38.1 mm tube, 4 bends) goes as 2A 3A 4A 1B: 1 re-clamp, 0 mm of trim, 247
s, smallest clearance 22.1 mm.

Where it is begun
  It must be begun in the middle: no plan with 1 re-clamp and 0 mm of trim begins with bend 1 or
  bend 4.
  1A first  never: (1) Bend 1 with end A leading: 4849.2 mm of tube go over the mandrel at the load;
            the rod is 3600.0 mm long.
  1B first  never: (2) Bend 2 cannot be made with end A leading once bend 1 is formed: straight 0
            strikes the floor, 156.2 mm deep, 0° into the swing.
  4A first  never: (3) Bend 3 cannot be made with end B leading once bend 4 is formed: straight 4
            strikes the floor, 156.2 mm deep, 0° into the swing.
  4B first  never: (4) Bend 4 with end B leading: 4849.2 mm of tube go over the mandrel at the load;
            the rod is 3600.0 mm long.
"""

LOFT = """\
NOT MAKEABLE: loft rail (38.1 mm tube, 2 bends) cannot be made on the semi-automatic mandrel bender
under a loft (invented) in any order.

Together these exclude every order; without any one of them some order is left
  1   The tube cannot be put on for bend 2 by any path with end A leading once bend 1 is formed:
      straight 0 strikes the stock rack, 294.0 mm deep, at an advance of 1148.8 mm.
  2   The tube cannot be brought to bend 2 by any path with end A leading once bend 1 is formed:
      straight 0 strikes the floor, 426.3 mm deep, 89° into the rotation at an advance of 600.0 mm.
  3   The tube cannot be put on for bend 1 by any path with end B leading once bend 2 is formed:
      straight 2 strikes the stock rack, 294.0 mm deep, at an advance of 1148.8 mm.
  4   The tube cannot be brought to bend 1 by any path with end B leading once bend 2 is formed:
      straight 2 strikes the floor, 426.3 mm deep, 89° into the rotation at an advance of 600.0 mm.

3A: bend 3 with end A leading.
"""

WHARF = """\
MAKEABLE: wharf rail (38.1 mm tube, 3 bends) goes as 1A 2A 3A: 1 re-clamp, 0 mm of trim, 173 s,
smallest clearance 24.7 mm.

What decided the order
  1   Bend 1 with end B leading: the tail is 42.9 mm too short; the collet holds 50.0 mm and comes
      no closer to the tangent point than 290.0 mm.
  2   Bends 1 to 3 with end A leading: no one grip within 290.0 to 3200.0 mm of the tangent point
      serves all of them, 272.4 mm are missing.

Straight through from either end
  -  1A 2A 3A goes: 1 re-clamp, 0 mm of trim, 173 s, smallest clearance 24.7 mm. It is the plan's
     own order.
  -  3B 2B 1B goes: 1 re-clamp, 43 mm of trim, 173 s, smallest clearance 24.7 mm. Against the best
     plan: 43 mm of trim more.

What comes before what
  In every plan with 1 re-clamp and 0 mm of trim a bend comes before those that its arrows lead to.
    1A -> 2A -> 3A

3A: bend 3 with end A leading. "Clear" means clear of the machine, never of people.
"""


TILLER = """\
NOT MAKEABLE: tiller bracket (38.1 mm tube, 2 bends) cannot be made on the semi-automatic mandrel
bender, 38 mm class (invented) in any order.

This alone excludes every order
  1   Straight 1 between bends 1 and 2 is 55.0 mm; the later of the two must be gripped on it, and
      the shortest clamp is 76.0 mm.

What would make it possible, what touches least first; each planned again with the change made
  1   A clamp die of 55.0 mm, 21.0 mm shorter than the shortest there is (76.0 mm), and a grip no
      longer than that: one clamp die to make, which holds less, so watch for slipping. Every
      smaller whole millimetre is proved too little. Planned again so, it takes 0 re-clamps and 0.0
      mm of trim, the smallest clearance 8.5 mm.
  2   Straight 1 longer by 21.0 mm: 76.0 mm on the drawing instead of 55.0 mm. Every smaller whole
      millimetre is proved too little. Planned again so, it takes 0 re-clamps and 0.0 mm of trim,
      the smallest clearance 22.1 mm.

3A: bend 3 with end A leading.
"""
