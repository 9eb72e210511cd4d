"""How a term of the score is told to compiled code."""

OPTIONAL, REQUIRED, BONUS, PENALTY = 0, 1, 2, 3
"""What a term does, as `raise_worth` is told."""

DEPTH, HEIGHT, SLOPE = 0, 1, 2
"""What a cell can answer, as `raise_worth` is told."""
