"""Own soundings: cleaned, reduced for draft and tide, gridded with an honest doubt.

Tables and arrays in, tables and arrays out; files are read and written in ``io``.
"""
