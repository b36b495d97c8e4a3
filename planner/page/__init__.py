"""The page beside the machine: see a plan, step through it, try another order."""
