"""Kernels that read from a grid how its numbers were made: noise, rounding, repeated cells."""
