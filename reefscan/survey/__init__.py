"""Own soundings: cleaned, reduced for draft and tide, gridded with an honest uncertainty.

Tables and arrays in, tables and arrays out; files are read and written in ``io``.
"""
