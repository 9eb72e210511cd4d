"""From an array to a map in ten lines: scan it, look at the score of every cell, the troughs and the sites.

Run it in the folder that holds ``data_samples``; the map is ``array_map.png`` there::

    .venv/bin/python scripts/array_to_map.py
"""

import matplotlib.pyplot as plt
import rioxarray

import reefscan

seabed = rioxarray.open_rasterio("data_samples/demo_coast.tif", masked=True).squeeze()
run = reefscan.scan(seabed, reefscan.Recipe.default().with_depth(4, 15))
figure, axes = plt.subplots(figsize=(9, 8), layout="constrained")
run.score.plot(ax=axes, cmap="Blues")
run.features["troughs"].plot(ax=axes, color="black", linewidth=0.8)
run.sites.to_crs(run.score.rio.crs).plot(ax=axes, color="orange", edgecolor="black")
figure.savefig("array_map.png", dpi=120)
print(run)
