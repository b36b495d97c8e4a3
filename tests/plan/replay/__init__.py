"""A plan carried out again from its document alone, its tube sampled densely among the machine's solids.

Nothing of the program is used but what makes the parts and plans to be looked at. The modules, as they build on one
another: `stock` (the tube and the bends made on it), `motions` (how tube moves), `bodies` (its pieces in their roles),
`solids` (the machine about it), `contact` (what may touch what), `steps` (where everything stands), `homing` (the arm's ways
home), `loading` (loads, and the carriage by itself), `carrying_out` (all steps, each joined to the one before), `finished`
(the part made, held against the drawing), `distances` (how far tube is from a solid), `sampling` (the least distance over a
motion), `clearances` and `swept` (what the document claims, held against what was found), `cases` (parts and benders),
`faults` (what a wrong plan would look like).
"""
