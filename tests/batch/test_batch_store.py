"""The tile store: whole or not there."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reefscan.base.errors import DiskFullError, RunFolderError
from reefscan.base.model import Window
from reefscan.batch import TileResult, TileStore, tile_key
from reefscan.batch.pack import TilePack
from reefscan.batch.result import DamagedTileError, decode, encode
from reefscan.io.whole import replacing
from tests.batch.toy_work import checker

CORE = Window(-512, 1024, 512, 512)
NAME = tile_key(CORE, "x")


def assert_same(one: TileResult, two: TileResult) -> None:
    assert one.core == two.core
    assert dict(one.stats) == dict(two.stats)
    assert dict(one.inputs) == dict(two.inputs)
    assert one.tables.keys() == two.tables.keys()
    assert one.rasters.keys() == two.rasters.keys()
    for name in one.tables:
        assert one.tables[name].schema == two.tables[name].schema
        assert repr(one.tables[name].to_pylist()) == repr(two.tables[name].to_pylist())  # nan is not nan
    for name in one.rasters:
        assert one.rasters[name].dtype == two.rasters[name].dtype
        np.testing.assert_array_equal(one.rasters[name], two.rasters[name])


def rich() -> TileResult:
    """One of everything a tile may hold."""
    table = pa.table({"kind": ["ledge", None], "h": [1.5, float("nan")], "terms": [{"a": 1.0}, {"a": None}]})
    return TileResult(
        CORE,
        {"candidates": table, "none": table.slice(0, 0)},
        {"score": np.arange(12, dtype=np.uint8).reshape(3, 4), "m": np.full((2, 2), np.nan, np.float32)},
        {"cells": np.int64(7), "seconds": np.float32(0.5)},
        {"0/0": "ab"},
    )


def test_a_result_comes_back_from_its_bytes_as_it_was() -> None:
    back, stamp = decode(encode(rich(), "made from"))
    assert stamp == "made from"
    assert_same(back, rich())
    back.rasters["score"][0, 0] = 9  # an array that callers may paint into


def test_equal_results_are_equal_bytes_whatever_the_order_of_their_parts() -> None:
    one = rich()
    other = TileResult(
        one.core,
        dict(reversed(one.tables.items())),
        dict(reversed(one.rasters.items())),
        dict(reversed(one.stats.items())),
        one.inputs,
    )
    assert encode(one, "s") == encode(other, "s")


SMALL = encode(TileResult(CORE, {"t": pa.table({"a": [1, 2]})}, {"r": np.eye(8, dtype=np.uint8)}), "s")


@given(st.integers(0, len(SMALL) - 1), st.integers(1, 255))
@settings(max_examples=300)
def test_a_single_wrong_byte_anywhere_is_noticed(place: int, change: int) -> None:
    damaged = bytearray(SMALL)
    damaged[place] ^= change
    with pytest.raises(DamagedTileError):
        decode(bytes(damaged))


@given(st.integers(0, len(SMALL) - 1))
def test_bytes_cut_short_anywhere_are_noticed(length: int) -> None:
    with pytest.raises(DamagedTileError):
        decode(SMALL[:length])


def test_the_key_depends_on_every_part_and_on_nothing_else() -> None:
    keys = {
        tile_key(CORE, {"a": 1, "b": 2}),
        tile_key(CORE, {"a": 1, "b": 3}),
        tile_key(Window(0, 1024, 512, 512), {"a": 1, "b": 2}),
        tile_key(CORE, {"a": 1, "b": 2}, "0.2"),
    }
    assert len(keys) == 4
    assert tile_key(CORE, {"b": 2, "a": 1}) in keys


def test_what_is_saved_is_found_in_another_process_opening_the_same_folder(tmp_path: Path) -> None:
    TileStore.open(tmp_path / "store").save(NAME, "s", rich())
    code = (
        "import sys; from reefscan.batch import TileStore; "
        "print(TileStore.open(sys.argv[1]).load(sys.argv[2], 's').core.col)"
    )
    out = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / "store"), NAME],
        capture_output=True,
        text=True,
        check=True,
    )
    assert out.stdout.strip() == "1024"


@pytest.mark.parametrize("damage", ["cut", "flip", "empty", "other version"])
def test_a_damaged_file_is_not_there_and_can_be_written_again(tmp_path: Path, damage: str) -> None:
    store = TileStore.open(tmp_path)
    store.save(NAME, "s", rich())
    path = store.path(NAME)
    data = path.read_bytes()
    if damage == "cut":
        path.write_bytes(data[:-1])
    elif damage == "flip":
        path.write_bytes(data[:-9] + bytes([data[-9] ^ 1]) + data[-8:])
    elif damage == "empty":
        path.write_bytes(b"")
    else:
        path.write_bytes(data.replace(b"reefscan-tile 2", b"reefscan-tile 9", 1))
    assert store.look(NAME, "s") == "damaged"
    assert store.load(NAME, "s") is None
    store.save(NAME, "s", rich())
    assert store.look(NAME, "s") == "good"


def test_a_tile_made_from_something_else_is_stale_and_not_given(tmp_path: Path) -> None:
    store = TileStore.open(tmp_path)
    store.save(NAME, "old", rich())
    assert (store.look(NAME, "new"), store.load(NAME, "new")) == ("stale", None)
    found = store.load_stale(NAME)
    assert found is not None
    assert_same(found, rich())


def test_a_full_disk_leaves_the_old_tile_and_no_half_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = TileStore.open(tmp_path)
    store.save(NAME, "s", rich())
    before = sorted(path for path in tmp_path.rglob("*"))

    def full(handle: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(DiskFullError, match=r"disk is full; free some space and give the same command again"):
        store.save(NAME, "other", checker(CORE))
    monkeypatch.undo()
    assert sorted(path for path in tmp_path.rglob("*")) == before
    assert store.load(NAME, "s") is not None


def test_a_real_limit_on_file_size_reads_as_a_full_disk(tmp_path: Path) -> None:
    code = """
import resource, signal, sys
import numpy as np
from reefscan.batch import TileResult, TileStore
from reefscan.base.errors import DiskFullError
from reefscan.base.model import Window
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
store = TileStore.open(sys.argv[1])
resource.setrlimit(resource.RLIMIT_FSIZE, (50_000, 50_000))
noise = np.random.default_rng(1).integers(0, 255, (512, 512), np.uint8)
try:
    store.save("ab" * 16, "s", TileResult(Window(0, 0, 512, 512), {}, {"score": noise}))
except DiskFullError:
    print("full", [p.name for p in store.folder.rglob("*") if p.is_file()])
"""
    out = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path)], capture_output=True, text=True, check=True
    )
    assert out.stdout.strip() == "full ['store.json']"


def test_a_folder_that_may_not_be_written_is_named(tmp_path: Path) -> None:
    (tmp_path / "store").write_text("a file in the way")
    with pytest.raises(RunFolderError, match=r"store: cannot be written"):
        TileStore.open(tmp_path / "store")


def test_opening_clears_what_a_killed_run_left_half_written_and_nothing_else(tmp_path: Path) -> None:
    store = TileStore.open(tmp_path)
    store.save(NAME, "s", rich())
    half = store.path(NAME).with_name(".x.12345678.part.tile")
    half.write_bytes(b"half")
    (tmp_path / ".store.1234.part.json").write_bytes(b"half")
    again = TileStore.open(tmp_path)
    assert not half.exists()
    assert not (tmp_path / ".store.1234.part.json").exists()
    assert list(again.names()) == [NAME]


def test_a_tile_that_somebody_is_writing_just_now_is_not_counted(tmp_path: Path) -> None:
    store = TileStore.open(tmp_path)
    store.save(NAME, "s", rich())
    with replacing(store.path(NAME)) as passing:
        passing.write_bytes(b"half")
        assert list(store.names()) == [NAME]
        assert store.count() == 1


def test_a_store_at_the_same_path_on_another_disk_is_not_taken_for_this_one(tmp_path: Path) -> None:
    first = TileStore.open(tmp_path)
    assert first.reachable()
    TileStore.open(tmp_path)
    assert not first.reachable()


def test_small_tiles_that_no_longer_count_are_cleared_away(tmp_path: Path) -> None:
    pack = TilePack.open(tmp_path)
    filler = TileResult(CORE, {}, {"noise": np.random.default_rng(2).integers(0, 255, 30_000, np.uint8)})
    for number in range(80):
        pack.save(NAME, encode(filler, f"stamp {number}"))
    assert pack.path.stat().st_size > 2_000_000
    again = TilePack.open(tmp_path)
    assert again.path.stat().st_size < 50_000
    assert again.look(NAME, "stamp 79") == "good"
    found = again.load(NAME)
    assert found is not None
    assert_same(found, filler)


def test_the_count_of_tiles_has_the_small_ones_in_it(tmp_path: Path) -> None:
    store = TileStore.open(tmp_path)
    store.save(NAME, "s", rich())
    TilePack.open(tmp_path).save(tile_key(CORE, "y"), encode(rich(), "s"))
    assert store.count() == 2


def test_a_disk_that_fills_under_the_small_tiles_leaves_the_earlier_ones(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pack = TilePack.open(tmp_path)
    pack.save(NAME, encode(rich(), "s"))
    write = os.write
    monkeypatch.setattr(os, "write", lambda handle, data: write(handle, data[:50]))
    with pytest.raises(DiskFullError, match="give the same command again"):
        pack.save(tile_key(CORE, "y"), encode(rich(), "s"))
    monkeypatch.undo()
    again = TilePack.open(tmp_path)
    assert again.places == pack.places
    again.save(tile_key(CORE, "z"), encode(rich(), "s"))
    assert len(TilePack.read(tmp_path).places) == 2


def test_tiles_of_another_program_are_cleared_away_and_those_of_this_one_stay(tmp_path: Path) -> None:
    for program, kept in (("a", 0), ("a", 2), ("b", 0)):
        store = TileStore.open(tmp_path, program=program)
        assert store.count() == kept
        store.save(NAME, "s", rich())
        TilePack.open(tmp_path).save(tile_key(CORE, "y"), encode(rich(), "s"))
    (tmp_path / "store.json").write_text("torn")
    assert TileStore.open(tmp_path, program="b").count() == 0
