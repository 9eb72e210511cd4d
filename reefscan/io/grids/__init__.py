"""Bathymetry of any form as sheets of metric cells."""
