"""The settings of a survey: which rules clean the soundings, and how they become a grid.

Kept apart from the recipe of the scan, whose three parts decide what is found and liked; nothing
here reaches a scan except through the grid. Every rule has its own switch.
"""

from __future__ import annotations

from pydantic import Field

from reefscan.base.complaint import fitted
from reefscan.base.recipe import commented, read_toml
from reefscan.base.recipe_part import Metres, Part


class Clean(Part):
    """Rules that set soundings aside. ``use_...`` switches one off."""

    use_speed: bool = Field(default=True, description="set aside positions the boat could not have reached")
    speed_max_m_s: float = Field(default=20.0, gt=0, description="fastest the boat can go (m/s)")
    use_repeat: bool = Field(default=True, description="set aside soundings logged twice")
    use_range: bool = Field(default=True, description="keep to the depths below")
    depth_min_m: Metres = Field(default=0.0, ge=0, description="shoalest believable reading of the sounder")
    depth_max_m: Metres = Field(
        default=12000.0, gt=0, description="deepest believable reading of the sounder"
    )
    use_stuck: bool = Field(default=True, description="set aside one value held while the boat moved on")
    stuck_count: int = Field(default=40, ge=5, description="equal readings in a row that count as stuck")
    stuck_run_m: Metres = Field(default=60.0, gt=0, description="distance the boat must move meanwhile")
    use_lost: bool = Field(
        default=True, description="set aside bursts that leap off the ground's level and back"
    )
    lost_count: int = Field(default=120, ge=1, description="longest burst looked for, in soundings")
    use_double: bool = Field(default=True, description="set aside echoes at twice the depth")
    double_within: float = Field(default=0.06, gt=0, lt=0.3, description="how near to twice counts (share)")
    use_spike: bool = Field(default=True, description="set aside spikes")
    spike_floor_m: Metres = Field(default=0.3, gt=0, description="never call less than this a spike")
    spike_share: float = Field(default=0.01, ge=0, description="plus this share of the depth")
    spike_times: float = Field(
        default=5.0, ge=2, description="times the local scatter that counts as a spike"
    )
    spike_run: int = Field(default=3, ge=1, description="longest run of spikes looked for along the track")
    use_beside: bool = Field(default=True, description="judge longer runs by the soundings of other passes")
    beside_m: Metres = Field(default=6.0, gt=0, description="how near another pass must be to judge")
    use_steep: bool = Field(
        default=True, description="flag ground too steep for the beam (kept, less certain)"
    )
    beam_deg: float = Field(default=20.0, gt=0, lt=90, description="full width of the sounder's beam")


class Reduce(Part):
    """What turns a reading into a depth below the datum."""

    sound_set_m_s: float = Field(
        default=1500.0, gt=1300, lt=1700, description="speed of sound the sounder used"
    )
    sound_true_m_s: float = Field(default=1500.0, gt=1300, lt=1700, description="speed of sound in the water")
    tide_gap_h: float = Field(
        default=2.5, gt=0, description="longest gap in a tide series that is bridged (h)"
    )
    tide_leg_h: float = Field(default=14.0, gt=0, description="longest leg between high and low water (h)")
    fix_gap_s: float = Field(default=15.0, gt=0, description="longest gap between fixes that is bridged (s)")


class Surface(Part):
    """How soundings become a surface."""

    reach_m: Metres | None = Field(
        default=None,
        gt=0,
        description="farthest a cell may lie from data; none: 15 m or three cells, whichever is more",
    )
    block_cells: int | None = Field(
        default=None, ge=1, le=4, description="side of a reduction block; none: tuned"
    )
    method: str | None = Field(default=None, pattern="^(linear|cubic)$", description="none: tuned")
    floor_sigma_m: Metres = Field(default=0.05, ge=0, description="a cell is never more certain than this")
    blend_m: Metres = Field(
        default=40.0, gt=0, description="distance over which own ground meets a public grid"
    )


class SurveySettings(Part):
    """All settings of ``reefscan grid``."""

    version: int = Field(default=1, ge=1, le=1)
    clean: Clean = Clean()
    reduce: Reduce = Reduce()
    surface: Surface = Surface()


def load_settings(text: str, *, where: str = "survey settings") -> SurveySettings:
    """Read settings from TOML.

    Raises
    ------
    RecipeError
        On broken TOML, an unknown key or a value out of bounds, in one line that names the key.
    """
    return fitted(read_toml(text, where), SurveySettings, name=where)


def dump_settings(settings: SurveySettings) -> str:
    """Write settings as TOML with a comment on every line; `load_settings` gives them back."""
    lines = ["# Settings of reefscan grid.", f"version = {settings.version}"]
    for name in ("clean", "reduce", "surface"):
        lines += ["", f"[{name}]", *commented(getattr(settings, name))]
    return "\n".join(lines) + "\n"
