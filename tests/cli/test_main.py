"""The command line: lazy, one line for an error, the promised exit codes."""

from __future__ import annotations

import json
import os
import subprocess
import sys

import pytest
from invented_sites import candidates

from reefscan import cli
from reefscan.base.degrees import position_words
from reefscan.base.errors import RecipeError
from reefscan.base.recipe import Recipe, load_recipe
from reefscan.cli.options import depth_metres, make_recipe, user_unit
from reefscan.io.out.runfolder import RunFolder
from reefscan.score.listing import list_sites


@pytest.fixture
def run_folder(tmp_path):
    table = candidates(300, 4)
    recipe = Recipe.default()
    with RunFolder.create(tmp_path / "run") as run:
        run.write_candidates(table)
        run.write_recipe(recipe)
        run.write_listed(list_sites(table, recipe, unit="ft").sites)
        run.finish(
            depth_unit="ft", limits=["smallest trough 32 m on 8 m cells"], candidates=len(table), listed=60
        )
    return run.path


def test_help_loads_nothing_heavy():
    code = (
        "import sys, reefscan.cli as c\n"
        "try:\n    c.run(['--help'])\nexcept SystemExit:\n    pass\n"
        "heavy = {'numpy', 'pandas', 'rasterio', 'numba', 'pydantic', 'scipy', 'pyproj'} & set(sys.modules)\n"
        "assert not heavy, heavy\n"
        # what it loads is what it takes: 323 modules in about a quarter of a second, numpy alone as much again
        "assert len(sys.modules) < 500, len(sys.modules)"
    )
    end = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert end.returncode == 0, end.stderr


def test_every_listed_command_can_be_loaded_and_has_help(capsys):
    for name in cli.COMMANDS:
        assert cli.run([name, "--help"]) == 0
        assert "Usage" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("argv", "code", "said"),
    [
        (["nothing-like-this"], 2, "No such command"),
        (["recipe", "--depth", "4"], 2, "requires 2 arguments"),
        (["recipe", "--top", "0"], 2, "--top"),
        (["recipe", "--frobnicate"], 2, "No such option"),
        (["scan"], 2, "Missing argument"),
        (["scan", "a.tif", "--positive", "sideways"], 2, "up (elevations) or down (depths)"),
        (["scan", "a.tif", "--datum-shift", "3 furlong"], 1, "--datum-shift"),
        (["recipe", "--depth", "60ft", "15ft"], 1, "write --depth 15ft 60ft"),
        (["recipe", "--depth", "15ft", "60"], 1, "one has a unit"),
        (["recipe", "--depth", "x", "60"], 1, "--depth x 60"),
        (["recipe", "--depth", "-4", "-15"], 1, "positive down"),
        (["recipe", "--recipe", "nowhere.toml"], 1, "no such recipe"),
        (["recipe", "--depth", "4", "1e9"], 1, "deeper than any sea"),
        (["recipe", "--top", "1000000000"], 1, "top = 1000000000: must be 1 to 1000000"),
        (["rescore", "nowhere"], 1, "no such run folder"),
        (["status", "nowhere"], 1, "no such run folder"),
        (["review", "nowhere", "--out", ""], 2, "one value is empty"),
        (["scan", "a.tif", "--crs", ""], 2, "one value is empty"),
    ],
)
def test_what_is_wrong_is_said_in_one_line_with_the_promised_code(argv, code, said, capsys):
    assert cli.run(argv) == code
    out, err = capsys.readouterr()
    assert out == "" and said in err and err.startswith("reefscan: ") and err.count("\n") == 1


def test_interruption_has_its_own_code_and_the_unexpected_is_one_line_too(monkeypatch, capsys):
    def stop(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr("reefscan.base.recipe.dump_recipe", stop)
    assert cli.run(["recipe"]) == 130
    assert "interrupted" in capsys.readouterr().err

    def burst(*_, **__):
        raise ZeroDivisionError("a fault of ours")

    monkeypatch.setattr("reefscan.base.recipe.dump_recipe", burst)
    assert cli.run(["recipe"]) == 1
    assert "--debug" in (err := capsys.readouterr().err) and "Traceback" not in err
    assert cli.run(["recipe", "--debug"]) == 1
    assert "Traceback" in capsys.readouterr().err


def test_the_printed_recipe_is_a_recipe(capsys, tmp_path):
    assert cli.run(["recipe", "--depth", "15ft", "60ft"]) == 0
    text = capsys.readouterr().out
    assert load_recipe(text) == Recipe.default().with_depth(4.572, 18.288)
    (tmp_path / "my.toml").write_text(text)
    assert make_recipe(tmp_path / "my.toml", None, None) == load_recipe(text)


def test_a_recipe_that_an_editor_began_with_a_mark_and_ended_lines_its_own_way_is_read(tmp_path):
    (tmp_path / "my.toml").write_bytes(b"\xef\xbb\xbf[rank]\r\ntop = 3\r\n")
    assert make_recipe(tmp_path / "my.toml", None, None).rank.top == 3


def test_depths_are_read_in_the_users_words():
    assert depth_metres(("3fathom", "10fathom")) == pytest.approx((5.4864, 18.288))
    assert depth_metres(("4", "20")) == (4, 20)
    assert [user_unit(d) for d in (("15ft", "60ft"), ("3 fathom", "10 fathom"), ("4", "20"), ("4m", "9m"), None)] == [
        "ft", "fathom", "m", "m", "m"
    ]  # fmt: skip
    with pytest.raises(RecipeError):
        depth_metres(("15ft", "60"))


def test_rescore_prints_a_short_table_and_where_the_files_are(run_folder, capsys, tmp_path):
    assert cli.run(["rescore", str(run_folder), "--top", "15", "--out", str(tmp_path / "new")]) == 0
    out, err = capsys.readouterr()
    for words in (
        "kind",
        "why",
        " ft",
        "and 3 more",
        "smallest trough 32 m",
        "candidates.geojson",
        "strong point",
    ):
        assert words in out
    assert "Not for navigation" in err
    assert len(out.splitlines()) < 80 and max(map(len, out.splitlines())) <= 150


def test_a_recipe_that_lists_other_depths_than_the_run_is_told(run_folder, capsys, tmp_path):
    """The depths of a scan are those of its --depth; a recipe that names none has the default ones."""
    (tmp_path / "top.toml").write_text("[rank]\ntop = 15\n")
    more = ["--recipe", str(tmp_path / "top.toml")]
    said = "--depth says which you want"
    assert cli.run(["rescore", str(run_folder), "--depth", "5", "12", "--out", str(tmp_path / "deep")]) == 0
    assert said not in capsys.readouterr().err
    assert cli.run(["rescore", str(tmp_path / "deep"), *more]) == 0
    assert (
        "4 m (13.1 ft) to 15 m (49.2 ft), not those of the run, 5 m (16.4 ft) to 12 m (39.4 ft): " + said
        in capsys.readouterr().err
    )
    assert cli.run(["rescore", str(tmp_path / "deep"), *more, "--depth", "5", "12"]) == 0
    assert said not in capsys.readouterr().err


def test_json_is_all_that_stands_on_standard_output(run_folder, capsys):
    assert cli.run(["rescore", str(run_folder), "--json", "--depth", "5", "12"]) == 0
    out, err = capsys.readouterr()
    data = json.loads(out)
    assert err == "" and data["sites"][0]["rank"] == 1 and data["caution"]
    assert all(5 <= s["depth_m"] <= 12 for s in data["sites"])


def test_a_band_outside_the_searched_one_is_refused(run_folder, capsys):
    assert cli.run(["rescore", str(run_folder), "--depth", "10ft", "200ft"]) == 1
    assert "scan again" in capsys.readouterr().err


def test_status_tells_a_finished_run_from_a_stopped_and_a_running_one(run_folder, capsys, tmp_path):
    assert cli.run(["status", str(run_folder)]) == 0
    assert "300 candidates found" in capsys.readouterr().out
    with RunFolder.create(tmp_path / "other"):
        assert cli.run(["status", str(tmp_path / "other")]) == 0
        assert ": running" in capsys.readouterr().out
    assert cli.run(["status", str(tmp_path / "other")]) == 0
    assert "stopped before its end" in capsys.readouterr().out
    assert cli.run(["status", str(tmp_path / "other"), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["running"] is False


def test_a_reader_that_goes_away_is_not_an_error(run_folder):
    for words in (["rescore", str(run_folder), "--json"], ["compare", str(run_folder), str(run_folder)]):
        with subprocess.Popen(
            [sys.executable, "-m", "reefscan", *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE
        ) as process:
            process.stdout.close()
            assert process.stderr.read() == b""
        assert process.returncode == 0


def test_an_output_that_knows_few_letters_gets_the_list_all_the_same(run_folder):
    known = {**os.environ, "PYTHONIOENCODING": "ascii"}
    call = [sys.executable, "-m", "reefscan", "rescore", str(run_folder), "--top", "2"]
    done = subprocess.run(call, env=known, capture_output=True, check=False)
    assert done.returncode == 0
    assert b"N " in done.stdout and b"Not for navigation" in done.stderr


@pytest.mark.parametrize(
    ("lon", "lat", "words"),
    [
        (-63.5234567, 44.9999999, "45°00.000'N 63°31.407'W"),
        (5.5, -0.25, "0°15.000'S 5°30.000'E"),
        (179.9999999, 0.0, "0°00.000'N 180°00.000'E"),
    ],
)
def test_positions_are_said_in_degrees_and_decimal_minutes(lon, lat, words):
    assert position_words(lon, lat) == words


def test_with_its_outputs_closed_it_still_ends_as_it_should(run_folder):
    """A service manager may start it so."""
    for words, code in ((f"status {run_folder}", 0), ("status nowhere", 1)):
        line = f"exec '{sys.executable}' -m reefscan {words} >&- 2>&-"
        assert subprocess.run(["sh", "-c", line], check=False).returncode == code


LOST = """
import os, signal, time
from reefscan.cli import interrupt
from reefscan.cli.progress import Progress
interrupt.listen()
class Freed:
    def __del__(self):
        os.kill(os.getpid(), signal.SIGINT)
        time.sleep(0.1)
freed = Freed()
del freed
print("went on")
try:
    Progress(quiet=True)(None)
except KeyboardInterrupt:
    print("noticed")
"""


def test_an_interrupt_that_python_loses_is_noticed_after_the_next_tile():
    out = subprocess.run([sys.executable, "-c", LOST], capture_output=True, text=True, check=True)
    assert out.stdout.split("\n") == ["went on", "noticed", ""]
