"""Write the README's example and its picture anew from what the program really prints.

Run it with the environment's Python after a change that moves the demo's results::

    .venv/bin/python scripts/readme_example.py

The text between the two ``example`` marks of README.md and the pictures of map, card and page in ``data_samples`` are
replaced; that of the page where there is a Chromium to take it with. ``tests/test_readme.py`` fails while they are out of date.
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


def picture(
    source: Path, target: Path, *, width: int = PICTURE_WIDTH, limit: int = PICTURE_LIMIT, part: float = 1.0
) -> None:
    """A picture small enough to keep beside the code: its upper ``part``, fewer pixels, a palette of its own."""
    with Image.open(source) as full:
        top = full.convert("RGB").crop((0, 0, full.width, round(full.height * part)))
        small = top.resize((width, round(top.height * width / top.width)), Image.Resampling.LANCZOS)
    for colours in (256, 192, 128, 64, 32):
        # The octree keeps rare colours (the sites'), which a median cut gives to the sea.
        palette = small.quantize(colours, method=Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE)
        palette.save(target, optimize=True)
        if target.stat().st_size < limit:
            return
    raise SystemExit(f"{target}: over {limit} bytes even in 32 colours; lower its width")


def run(folder: Path, *words: str) -> None:
    """Run one command of the program there."""
    subprocess.run([sys.executable, "-c", RUN, *words], cwd=folder, check=True, stdout=subprocess.DEVNULL)


def of_the_page(page: Path) -> Path | None:
    """A screenshot of the page; None where there is no Chromium."""
    browser = shutil.which("chromium") or shutil.which("chromium-browser")
    if browser is None:
        return None
    shot = page.with_suffix(".png")
    flags = (
        "--headless=new",
        "--no-sandbox",
        "--disable-gpu",
        "--hide-scrollbars",
        "--virtual-time-budget=8000",
    )
    subprocess.run(
        [browser, *flags, "--window-size=1280,860", f"--user-data-dir={page.parent / 'browser'}",
         f"--screenshot={shot}", page.as_uri()],
        check=True, capture_output=True,
    )  # fmt: skip
    return shot


def main() -> None:
    """Replace the example and the pictures."""
    samples = ROOT / "data_samples"
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name).resolve()
        shutil.copytree(ROOT / "data_samples", folder / "data_samples")
        text = f"```console\n$ reefscan {COMMAND}\n{said(folder)}\n```"
        picture(folder / "runs" / "coast" / "map.png", samples / "demo_map.png")
        run(folder, "cards", "runs/coast", "--top", "2", "--dpi", "120", "--out", "card.png")
        picture(folder / "card.png", samples / "demo_card.png", width=620, limit=60_000, part=0.505)
        run(folder, "review", "runs/coast", "--out", "coast.html")
        shot = of_the_page(folder / "coast.html")
        if shot is not None:
            picture(shot, samples / "demo_page.png", width=820, limit=200_000)
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
