"""Kernels that measure a station: faces, what they are part of, and the net on the same section."""
