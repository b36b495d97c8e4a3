"""What to make of verdicts: which machine can make a part, why this order, what would make it possible."""
