"""Seabeds, judges and a plain yardstick that tell how good *any* finder of structure is.

Nothing here reads the package's finder: a finder is a callable (see `unseen.found`), a seabed is an array with its
noise-free surface (see `unseen.bed`), and a judge compares the two in plain numpy. Seeds 0-199 are for tuning, seeds
from 1000 on for reporting.

Local metres: x east and y north of the grid's north-west corner, so y is negative; row 0 is north; heights positive up.
"""
