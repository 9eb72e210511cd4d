"""See it work with one command: ``python scripts/demo.py``.

Makes ``.venv`` if it is missing, installs the package with its pinned dependencies, scans the
invented coast in ``data_samples``, plans a night there and says where the results are. Opens nothing and sends nothing.

What follows the command goes to the scan::

    python scripts/demo.py --depth 10ft 40ft --top 20

Standard library only.
"""

import shutil
import subprocess
import sys
from pathlib import Path

from bootstrap import ROOT, environment, stop

SAMPLE = ROOT / "data_samples" / "demo_coast.tif"
OUT = ROOT / "runs" / "demo"
AROUND = {"--closed": "closed.geojson", "--caution": "caution.geojson", "--hard": "structures.geojson"}
SCAN_DEFAULTS = ["--depth", "15ft", "60ft", "--top", "60"]
NIGHT = SAMPLE.parent / "night"
PLAN = [
    "--date", "2027-02-11", "--tz", "Atlantic/Azores", "--until", "23:30", "--tide-datum-offset", "0m",
    "--launch", "45.01465,-22.50465", "--gear", str(NIGHT / "gear.toml"), "--tide", str(NIGHT / "tides.csv"),
    "--boat", str(NIGHT / "boat.toml"), "--forecast", str(NIGHT / "forecast.toml"), "--rules", str(NIGHT / "rules.toml"),
]  # fmt: skip


def _reefscan(python: Path, *words: str) -> int:
    """Run one command of the program, showing the person the line they could type themselves."""
    shown = [_short(word) for word in words]
    print(f"\n$ reefscan {' '.join(shown)}", flush=True)
    code = "import sys; from reefscan.cli import main; sys.exit(main())"
    return subprocess.run([str(python), "-u", "-c", code, *shown], cwd=ROOT, check=False).returncode


def _short(word: str) -> str:
    """A path inside the checkout as it reads from there."""
    path = Path(word)
    return path.relative_to(ROOT).as_posix() if path.is_absolute() and ROOT in path.parents else word


def main(arguments: list[str]) -> int:
    """Scan the demo coast, then make the page, the waypoints and a night's plan; return the exit code."""
    if not SAMPLE.exists():
        stop(f"{_short(str(SAMPLE))} is missing; make it again with: python scripts/make_samples.py")
    python = environment("")
    if OUT.exists():
        shutil.rmtree(OUT)  # the demo's own folder, made by an earlier call
    OUT.parent.mkdir(exist_ok=True)
    around = [word for flag, name in AROUND.items() for word in (flag, str(SAMPLE.parent / name))]
    failed = _reefscan(python, "scan", str(SAMPLE), *(arguments or SCAN_DEFAULTS), *around, "--out", str(OUT))
    if failed:
        return failed
    page, waypoints, night = OUT.parent / "demo.html", OUT.parent / "demo.gpx", OUT.parent / "demo_night"
    for path in (page, waypoints):
        path.unlink(missing_ok=True)
    if night.exists():
        shutil.rmtree(night)
    failed = _reefscan(python, "review", str(OUT), "--out", str(page))
    failed = _reefscan(python, "export", str(OUT), "--format", "gpx", "--out", str(waypoints)) or failed
    no_plan = _reefscan(python, "plan", str(OUT), *PLAN, "--out", str(night))
    failed = failed or (0 if arguments else no_plan)  # sites of another scan may be out of that night's reach

    print("\nLook at:")
    for path, what in (
        (OUT / "map.png", "the map with the numbered sites "),
        (page, "the page to review them, works without a network"),
        (waypoints, "waypoints for a plotter or a phone"),
        (OUT / "candidates.geojson", "the ranked sites with their reasons"),
        (night / "deck.pdf", "a night on six of them: the sheet for the boat"),
        (night / "float_plan.txt", "the sheet to leave ashore"),
    ):
        if path.exists():
            print(f"  {_short(str(path)):32} {what}")
    print("The coast is invented: nothing here is a place to go.")
    return failed


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
