"""What compiled code knows a term of the score by: numbers."""

OPTIONAL, REQUIRED, BONUS, PENALTY = 0, 1, 2, 3
"""What a term does."""

DEPTH, HEIGHT, SLOPE = 0, 1, 2
"""What a cell can answer."""
