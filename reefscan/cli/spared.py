"""What libraries do as they are imported and no command needs is left out of this process.

Of the second and a half that a small scan has for imports, a third of a second goes into the texts of matplotlib's
documentation, written anew for each of its 120 classes, and into a library of linear algebra that numba asks for
and no kernel uses (0.17 s each). Only the command line does this: a program that uses the library keeps all of both.
"""

from __future__ import annotations

import sys
from types import ModuleType
from typing import Any


def spare() -> None:
    """Leave it out from now on; a library that is made otherwise than expected is left as it is."""
    if not any(isinstance(finder, _Spared) for finder in sys.meta_path):
        sys.meta_path.insert(0, _Spared())


class _Spared:
    """Asked before each import; finds nothing itself."""

    def find_spec(self, name: str, path: Any = None, target: ModuleType | None = None) -> None:
        """Step in at the two places."""
        if name == "scipy.linalg":
            asking = sys.modules.get("numba.np.arraymath")
            if asking is not None and not hasattr(asking, "_HAVE_BLAS"):  # in the middle of its own import
                raise ModuleNotFoundError(name)
        elif name.startswith("matplotlib."):
            artist: Any = sys.modules.get("matplotlib.artist")
            base: Any = getattr(artist, "Artist", None)
            if hasattr(base, "_update_set_signature_and_docstring") and hasattr(artist, "kwdoc"):
                base._update_set_signature_and_docstring = classmethod(_nothing)
                artist.kwdoc = _nothing


def _nothing(*_: object) -> str:
    return ""
