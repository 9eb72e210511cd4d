"""What the composition does not need before there is a table is not imported with it."""

from __future__ import annotations

import subprocess
import sys

LATE = (
    "pandas",
    "geopandas",
    "matplotlib",
    "xarray",
    "skimage",
    "verde",
    "scipy.spatial",
    "scipy.sparse",
)


def test_the_composition_is_imported_without_what_only_its_end_needs():
    code = f"import sys, reefscan.pipeline.scan; print([m for m in {LATE} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
