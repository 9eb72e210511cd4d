"""Write the README's example and its picture anew from what the program really prints.

Run it with the environment's Python after a change that moves the demo's results::

    .venv/bin/python scripts/readme_example.py

The text between the two ``example`` marks of README.md and ``data_samples/demo_map.png`` are
replaced. ``tests/test_readme.py`` fails while they are out of date.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image

ROOT = Path(__file__).resolve().parent.parent
COMMAND = (
    "scan data_samples/demo_coast.tif --depth 15ft 60ft --top 60 --closed data_samples/closed.geojson "
    "--caution data_samples/caution.geojson --hard data_samples/structures.geojson --out runs/coast"
)
RUN = "import sys; from reefscan.cli import main; sys.exit(main())"
ROWS = 5
PICTURE_WIDTH = 1100
PICTURE_LIMIT = 400_000


def said(folder: Path) -> str:
    """What the command prints on standard output, cut to the first rows of its table."""
    env = {**os.environ, "NO_COLOR": "1", "PYTHONUTF8": "1"}
    done = subprocess.run(
        [sys.executable, "-c", RUN, *COMMAND.split(), "--quiet"],
        cwd=folder,
        env=env,
        check=True,
        stdout=subprocess.PIPE,
        encoding="utf-8",
    )
    lines = []
    cut = False
    for line in done.stdout.strip("\n").splitlines():
        cut = (cut or line.split()[:1] == [str(ROWS + 1)]) and not line.startswith("...")
        if not cut:
            lines.append("..." if line.startswith("...") else line.rstrip())
    return "\n".join(lines)


def picture(source: Path, target: Path) -> None:
    """A map small enough to keep beside the code: fewer pixels, a palette of its own."""
    with Image.open(source) as full:
        height = round(full.height * PICTURE_WIDTH / full.width)
        small = full.convert("RGB").resize((PICTURE_WIDTH, height), Image.Resampling.LANCZOS)
    for colours in (256, 192, 128, 64, 32):
        # The octree keeps rare colours (the sites'), which a median cut gives to the sea.
        palette = small.quantize(colours, method=Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE)
        palette.save(target, optimize=True)
        if target.stat().st_size < PICTURE_LIMIT:
            return
    raise SystemExit(f"{target}: over {PICTURE_LIMIT} bytes even in 32 colours; lower PICTURE_WIDTH")


def main() -> None:
    """Replace the example and the picture."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name).resolve()
        shutil.copytree(ROOT / "data_samples", folder / "data_samples")
        text = f"```console\n$ reefscan {COMMAND}\n{said(folder)}\n```"
        picture(folder / "runs" / "coast" / "map.png", ROOT / "data_samples" / "demo_map.png")
    readme = ROOT / "README.md"
    old = readme.read_text(encoding="utf-8")
    new, times = re.subn(
        r"(<!-- example -->\n).*?(<!-- end of example -->)",
        lambda match: match[1] + text + "\n" + match[2],
        old,
        flags=re.DOTALL,
    )
    if times != 1:
        raise SystemExit("README.md: found no place for the example; it lies between two comments")
    readme.write_text(new, encoding="utf-8")


if __name__ == "__main__":
    main()
