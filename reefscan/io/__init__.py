"""Everything that touches files: rooms for grids, logs and what is written; here what they share."""
