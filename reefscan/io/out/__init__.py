"""What is written: run folders, tables, rasters, waypoints."""
