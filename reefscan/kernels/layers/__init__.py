"""Kernels of the terrain layers: one value a cell."""
