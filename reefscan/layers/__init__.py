"""Terrain layers: one table of slope, ruggedness, position index, relief and heights of structure."""
