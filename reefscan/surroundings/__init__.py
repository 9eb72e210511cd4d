"""Facts about a place that come from outside the grid: functions of tables and geometries, no paths and no rasters opened.

A fact is one function here, one row in `reefscan.base.columns` and, where it is judged, one term in
`reefscan.base.terms`. `reefscan.pipeline.around` calls them.
"""
