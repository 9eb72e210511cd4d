"""What the README promises is what happens: its code runs, its output is real, its table adds up."""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from PIL import Image

from reefscan.base.recipe import load_recipe

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
# the warning of a library's own use of another is hidden from people by Python itself
STRICT = ("-W", "error", "-W", "ignore::PendingDeprecationWarning")
RUN = "import sys; from reefscan.cli import main; sys.exit(main())"


def _blocks(language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```$", README, flags=re.MULTILINE | re.DOTALL)


@pytest.fixture(scope="module")
def beside_the_samples(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder like the checkout: samples in it, and nothing that a run left behind."""
    folder = tmp_path_factory.mktemp("newcomer")
    shutil.copytree(ROOT / "data_samples", folder / "data_samples")
    return folder


def _squeezed(text: str) -> list[str]:
    """Lines without the spacing that a terminal's width decides."""
    return [" ".join(line.split()) for line in text.splitlines() if line.strip()]


def test_the_commands_shown_print_what_is_shown(beside_the_samples: Path) -> None:
    sessions = [block for block in _blocks("console") if "$ reefscan" in block]
    assert sessions
    for session in sessions:
        for command, shown in re.findall(
            r"^\$ reefscan (.*)\n((?:(?!\$ ).*\n)*)", session, flags=re.MULTILINE
        ):
            out = _printed("-c", RUN, *shlex.split(command), cwd=beside_the_samples)
            said, written = _squeezed(out), _squeezed(shown)
            for line in written:
                if line != "..." and not _of_the_table(line, written):
                    assert line in said, f"{command}: {line!r} is not in its output:\n" + "\n".join(said)
            # Which sites lead moves with every better finder; scripts/readme_example.py writes them
            # anew. That they are rows as the program prints them holds at all times.
            ranks = [int(row[1]) for row in map(SITE.match, written) if row]
            assert ranks == list(range(1, len(ranks) + 1)) and len(ranks) >= 3
            assert len([row for row in map(SITE.match, said) if row]) >= len(ranks)


SITE = re.compile(
    r"(\d+) (?:trough|ledge|rise|man-made) [\d.]+ ft [\d.]+ ft [\d.]+ [<>]?\d+ % \d+°[\d.]+'[NS] \d+°[\d.]+'[EW] \w"
)
"""A site's row: rank, kind, depth, height, score, confidence, position and the beginning of why."""


def _of_the_table(line: str, lines: list[str]) -> bool:
    """True for the rows of sites and the lines that their reasons go on to."""
    start = next(k for k, text in enumerate(lines) if text.startswith("───"))
    end = next(k for k, text in enumerate(lines) if text == "...")
    return start < lines.index(line) < end


def _printed(*words: str, cwd: Path) -> str:
    """What Python prints on a plain terminal."""
    plain = {**os.environ, "COLUMNS": "120", "NO_COLOR": "1", "TERM": "dumb", "PYTHONUTF8": "1"}
    done = subprocess.run(
        [sys.executable, *words], cwd=cwd, capture_output=True, text=True, encoding="utf-8", env=plain
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_the_python_examples_run_as_they_stand(beside_the_samples: Path) -> None:
    blocks = _blocks("python")
    assert blocks
    for block in blocks:
        lines = [line for line in block.splitlines() if line.strip()]
        assert len(lines) <= 12, "more than a cell of a notebook"
        assert _printed(*STRICT, "-c", block, cwd=beside_the_samples).strip()


def test_an_array_becomes_a_map_in_ten_lines(beside_the_samples: Path) -> None:
    script = ROOT / "scripts" / "array_to_map.py"
    text = script.read_text(encoding="utf-8").split('"""')[2]
    assert len([line for line in text.splitlines() if line.strip() and "import" not in line]) <= 10
    strict = (*STRICT, "-W", "ignore::DeprecationWarning")  # of old libraries among themselves
    assert _printed(*strict, str(script), cwd=beside_the_samples).startswith("Run: ")
    with Image.open(beside_the_samples / "array_map.png") as picture:
        colours = picture.convert("RGB").getcolors(1 << 24)
    assert len(colours) > 100


def test_the_recipe_shown_is_a_valid_recipe() -> None:
    blocks = _blocks("toml")
    assert blocks
    for block in blocks:
        recipe = load_recipe(block)
        # 1 ft is 0.3048 m exactly (international yard and pound agreement, 1959).
        assert recipe.find.trough_radius_m == pytest.approx(150 * 0.3048)
        assert recipe.score.terms["height_ledge"].a == pytest.approx(3 * 0.3048)


def test_the_table_of_sources_follows_from_the_cell_sizes() -> None:
    # A ledge wants 3 cells across it, a trough 4 intervals crest to crest (Nyquist with a margin of two).
    rows = re.findall(
        r"^\| [^|]* \| (?:about )?([\d.]+)(?:-([\d.]+))? m \| ([^|]+) \| ([^|]+) \|", README, re.M
    )
    assert len(rows) == 8
    for low, high, ledge, trough in rows:
        for cells, shown in ((3, ledge), (4, trough)):
            unit = 1000.0 if "km" in shown else 1.0
            numbers = [unit * float(number) for number in re.findall(r"[\d.]+", shown)]
            wanted = [cells * float(cell) for cell in (low, high) if cell]
            assert numbers == pytest.approx(wanted, rel=0.05)


def test_every_file_the_readme_points_to_is_there() -> None:
    targets = re.findall(r"\]\((?!https?:)([^)#]+)\)", README)
    assert targets
    for target in targets:
        assert (ROOT / target).exists(), target


def test_the_usual_cautions_are_said() -> None:
    for words in ("Not for navigation", "Life jackets", "propellers", "closed ground", "forecast"):
        assert words in README


def test_every_command_and_option_the_readme_names_exists() -> None:
    from reefscan.cli import COMMANDS, _load

    lines = re.findall(r"(?:^|`|\$ )reefscan (\w+)([^`\n]*)", README, re.M)
    assert len(lines) > 8
    for name, rest in lines:
        if name not in COMMANDS:
            assert not rest.strip().startswith("-"), name  # a sentence that starts with the name
            continue
        known = {option for parameter in _load(name).params for option in parameter.opts}
        assert set(re.findall(r"--[a-z-]+", rest)) <= known, name
