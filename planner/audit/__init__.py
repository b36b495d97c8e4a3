"""The auditor of proof documents: it confirms or refuses what a plan claims, with geometry and rules of its own.

Of the program it uses the inputs alone (part, machine, springback), so that a fault in the planner's geometry is not
repeated here. What it cannot confirm it refuses.
"""
