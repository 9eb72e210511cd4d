"""What a command does not use is not imported, and what is left out of libraries is missed by nothing."""

from __future__ import annotations

import subprocess
import sys

HEAVY = (
    "pandas",
    "geopandas",
    "matplotlib",
    "xarray",
    "rioxarray",
    "skimage",
    "verde",
    "scipy.spatial",
    "scipy.sparse",
)


def ran(code: str) -> str:
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


def test_the_composition_is_imported_without_what_only_its_end_needs():
    assert ran(f"import sys, reefscan.pipeline.scan; print([m for m in {HEAVY} if m in sys.modules])") == "[]"


def test_numba_works_without_linear_algebra_which_is_there_for_whoever_asks():
    told = ran(
        "import sys; from reefscan.cli.spared import spare; spare()\n"
        "import numpy as np; from reefscan.kernels.order import median\n"
        "print(median(np.arange(5.0)), 'scipy.linalg' in sys.modules)\n"
        "import scipy.linalg; print(scipy.linalg.det(np.eye(2)))"
    )
    assert told.split() == ["2.0", "False", "1.0"]


def test_figures_are_drawn_alike_without_the_texts_of_their_documentation():
    draw = (
        "import hashlib; from matplotlib.figure import Figure\n"
        "from matplotlib.backends.backend_agg import FigureCanvasAgg\n"
        "figure = Figure(); canvas = FigureCanvasAgg(figure); ax = figure.add_subplot()\n"
        "line, = ax.plot([1, 2, 4], label='depth'); line.set(linewidth=3, color='k'); ax.legend(); canvas.draw()\n"
        "print(hashlib.md5(bytes(canvas.buffer_rgba())).hexdigest(), 'Properties' in (type(line).set.__doc__ or ''))"
    )
    plain, full = ran(draw).split()
    drawn, texts = ran(f"from reefscan.cli.spared import spare; spare()\n{draw}").split()
    assert (drawn, full, texts) == (plain, "True", "False")
