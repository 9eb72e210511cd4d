"""What is told while the kernels are compiled."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable

import pytest
from numba import typeof

from reefscan.batch.events import Compiling
from reefscan.find import candidates
from reefscan.kernels.measure import section
from reefscan.pipeline import warmup
from reefscan.pipeline.warmup import telling, warm_up


def test_what_is_loaded_is_not_told_and_the_work_keeps_its_name():
    warm_up()
    told: list[object] = []
    prepare = telling(told.append)
    prepare()
    assert told == []
    assert (prepare.__module__, prepare.__qualname__) == (warm_up.__module__, warm_up.__qualname__)


def test_each_function_is_told_as_it_is_compiled(tmp_path):
    code = (
        "import numpy as np; from reefscan.kernels.order import median\n"
        "from reefscan.pipeline import warmup; told = []\n"
        "with warmup._told(told.append): median(np.arange(3.0))\n"
        "print([event.functions for event in told])"
    )
    environment = {**os.environ, "NUMBA_CACHE_DIR": str(tmp_path)}
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, env=environment, check=True
    )
    counts = [int(n) for n in done.stdout.strip()[1:-1].split(",")]
    assert counts[0] == 0
    assert counts[-1] >= 2  # itself and what it calls
    assert counts == sorted(counts)
    assert Compiling(3).functions == 3


def test_the_second_process_compiles_what_measures_stations_calls(monkeypatch: pytest.MonkeyPatch) -> None:
    """By other types it would be compiled in vain, and once more; so the caller is run as plain Python, and asks by its own."""
    asked = {"second": set(), "caller": set()}
    compiled = section.ground_of_net

    def noting(who: str) -> Callable[..., None]:
        return lambda *given: (asked[who].add(tuple(map(typeof, given))), compiled(*given))[1]

    monkeypatch.setattr(warmup, "ground_of_net", noting("second"))
    monkeypatch.setattr(section, "ground_of_net", noting("caller"))
    monkeypatch.setattr(candidates, "measure_faces", section.measure_faces.py_func)
    warmup.compile_ground()
    warmup.compile_stations()
    assert len(asked["second"]) == 1
    assert asked["caller"] == asked["second"]
