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


def test_kernels_are_loaded_without_linear_algebra_which_is_whole_for_who_asks_for_it_later():
    code = (
        "import sys; from reefscan.pipeline.warmup import warm_up; warm_up(); late = 'scipy.linalg' not in sys.modules;"
        "import scipy.linalg.cython_blas as blas; print(late, 'dgemm' in blas.__pyx_capi__)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "True True"
