"""Kernels that find where the ground falls fastest, on ground made ready for it."""
