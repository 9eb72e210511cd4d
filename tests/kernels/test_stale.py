"""After an edit in a file that a compiled function only calls, the old compiled code does not run on."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

from reefscan.kernels import stale

CALLED = "from numba import njit\n\n\n@njit(cache=True)\ndef inner(x):\n    return x + {}\n"
CALLER = (
    "from numba import njit\n\nfrom pack.kernels.inner.called import inner\n\n\n"
    "@njit(cache=True)\ndef outer(x):\n    return inner(x) * 10\n"
)


def answer(root: Path) -> int:
    code = "from pack.kernels.outer.caller import outer; print(outer(1))"
    env = {key: value for key, value in os.environ.items() if key != "NUMBA_CACHE_DIR"}
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=root, capture_output=True, text=True, check=True, env=env
    )
    return int(done.stdout)


def package(root: Path, *, guarded: bool) -> Path:
    """A package of two kernels in folders of their own, one of which calls the other, with or without our guard."""
    kernels = root / "pack" / "kernels"
    for folder in (kernels / "outer", kernels / "inner", root / "pack" / "base"):
        folder.mkdir(parents=True)
        (folder / "__init__.py").write_text("")
    (root / "pack" / "__init__.py").write_text("")
    (root / "pack" / "base" / "model.py").write_text("")
    shutil.copy(stale.__file__, kernels / "stale.py")
    ours = (
        (Path(stale.__file__).parent / "__init__.py").read_text().replace("reefscan.kernels", "pack.kernels")
    )
    (kernels / "__init__.py").write_text(ours if guarded else "")
    (kernels / "outer" / "caller.py").write_text(CALLER)
    (kernels / "inner" / "called.py").write_text(CALLED.format(1))
    return kernels


def test_an_edit_in_a_called_file_is_seen(tmp_path: Path) -> None:
    kernels = package(tmp_path, guarded=True)
    assert answer(tmp_path) == 20
    assert list((kernels / "outer" / "__pycache__").glob("caller.outer-*.nbi"))
    (kernels / "inner" / "called.py").write_text(CALLED.format(2))
    assert answer(tmp_path) == 30
    assert answer(tmp_path) == 30


def test_an_edit_of_the_shared_constants_is_seen(tmp_path: Path) -> None:
    kernels = package(tmp_path, guarded=True)
    assert answer(tmp_path) == 20
    assert list((kernels / "outer" / "__pycache__").glob("caller.outer-*.nbi"))
    (tmp_path / "pack" / "base" / "model.py").write_text("NODATA = 7\n")
    subprocess.run([sys.executable, "-c", "import pack.kernels"], cwd=tmp_path, check=True)
    assert not list((kernels / "outer" / "__pycache__").glob("caller.outer-*.nbi"))


def test_without_the_guard_it_would_not_be(tmp_path: Path) -> None:
    """Should numba learn to see it, the guard can go."""
    kernels = package(tmp_path, guarded=False)
    assert answer(tmp_path) == 20
    (kernels / "inner" / "called.py").write_text(CALLED.format(2))
    assert answer(tmp_path) == 20


def test_what_the_same_sources_made_is_kept(tmp_path: Path) -> None:
    source, folder = tmp_path / "kernel.py", tmp_path / "cache"
    source.write_text("")
    folder.mkdir()
    compiled = folder / "kernel.f-1.py311.nbi"
    compiled.write_bytes(b"")
    assert stale.discard_stale(str(folder), [str(source)])  # nothing says what made it
    compiled.write_bytes(b"")
    assert not stale.discard_stale(str(folder), [str(source)])
    assert compiled.exists()
    source.write_text("x = 1\n")
    assert stale.discard_stale(str(folder), [str(source)])
    assert not compiled.exists()
    assert not stale.discard_stale(str(tmp_path / "nowhere"), [str(source)])
