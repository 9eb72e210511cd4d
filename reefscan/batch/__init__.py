"""The engine beneath the pipeline: tiles, the store of finished ones, and the workers that do them."""

from reefscan.batch.engines import DaskCluster, Engine, InProcess, LocalProcesses, choose_engine
from reefscan.batch.result import TileFailure, TileResult
from reefscan.batch.run import Finished, finish_tiles
from reefscan.batch.store import TileStore, tile_key
from reefscan.batch.tiles import plan_tiles

__all__ = [
    "DaskCluster",
    "Engine",
    "Finished",
    "InProcess",
    "LocalProcesses",
    "TileFailure",
    "TileResult",
    "TileStore",
    "choose_engine",
    "finish_tiles",
    "plan_tiles",
    "tile_key",
]
