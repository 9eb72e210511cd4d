"""The books a person writes for a night: read strictly, with the nearest right key for a wrong one."""

from __future__ import annotations

import pytest

from reefscan.base.errors import RecipeError
from reefscan.plan.books import Boat, Forecast, Gear, Net, Rules, Secondary, read_book


def test_amounts_carry_units_or_are_metres_knots_and_minutes() -> None:
    boat = read_book('speed_kn = "5m/s"\nhandling_min = "1h30"\nlength_m = "20ft"\n', Boat, name="b")
    assert boat.speed_kn == pytest.approx(5 * 3600 / 1852, abs=1e-5)  # a knot is 1852 m an hour
    assert boat.handling_min == 90
    assert boat.length_m == pytest.approx(6.096)


@pytest.mark.parametrize(
    ("form", "text", "said"),
    [
        (Gear, "[[nets]]\nrope = 3", "unknown key 'nets.0.rope'; did you mean 'nets.0.rope_m'"),
        (Boat, '[ashore]\npersons = "A, B"', "ashore.persons: wanted a list in brackets (found 'A, B')"),
        (Forecast, "wave_m = 30", "wave_m: wanted 15 or less (found 30)"),
        (Gear, "[[net]]\nrope_m = 3", "unknown key 'net'; did you mean 'nets'"),
        (Gear, "nets = []", "nets: "),
        (Gear, "", "nets: is missing"),
        (
            Gear,
            "[nets]\nrope_m = 3",
            "nets: wanted a list of tables: write the name in two brackets, [[such]], above each",
        ),
        (Gear, "[[nets]]\nrope_m = 3\ncount = 0", "nets.0.count: wanted 1 or more (found 0)"),
        (Gear, "[[nets]]\nrope_m = 3\ncount = 2.5", "nets.0.count: wanted a whole number (found 2.5)"),
        (Gear, '[[nets]]\nrope_m = "1m"\nmarks_m = "2m"', "a rope of 1 m has no mark at 2 m"),
        (Gear, '[[nets]]\nrope_m = "24furlong"', "unknown unit 'furlong'"),
        (Gear, "[[nets]]\nrope_m = -24", "wanted more than 0"),
        (Gear, '[[nets]]\nrope_m = 24\nline = "floaty"', "'floating' or 'sinking'"),
        (Boat, "draught_m = 1", "did you mean 'draft_m'"),
        (Boat, "[limits]\nwnd_kn = 15", "did you mean 'limits.wind_kn'"),
        (Boat, "wind_kn = 15", "did you mean 'limits.wind_kn'"),
        (Boat, '[limits]\nturn_back = "2am"', "no time of the clock"),
        (Boat, 'speed_kn = "8 furlongs"', "unknown unit 'furlongs'"),
        (Forecast, "wind_knots = 3", "did you mean 'wind_kn'"),
        (Forecast, "wind_from_deg = 400", "wanted 360 or less"),
        (
            Forecast,
            "[[stream]]\nto_deg = 1\nspeed_kn = 1\n[[stream]]\nto_deg = 2\nspeed_kn = 1",
            "each needs at",
        ),
        (Rules, "season_frm = '--01-01'", "did you mean 'season_from'"),
        (Rules, "season_from = 'spring'", "is not a day"),
        (Secondary, "high_mins = 3", "did you mean 'high_min'"),
        (Boat, "draft_m = true", "wanted a number"),
        (Boat, "draft_m = = 3", "not valid TOML"),
    ],
)
def test_what_is_misspelt_or_no_amount_is_refused_with_what_is_wanted(
    form: type, text: str, said: str
) -> None:
    with pytest.raises(RecipeError, match=r"^book\.toml: ") as told:
        read_book(text, form, name="book.toml")
    assert said in str(told.value)


def test_a_rope_is_let_out_to_its_last_mark() -> None:
    assert Net(rope_m=25, marks_m=2).longest_m == 24
    assert Net(rope_m=24, marks_m=2).longest_m == 24
    assert Net(rope_m="80ft", marks_m="1fathom").longest_m == pytest.approx(
        13 * 1.8288
    )  # 80 ft is 13.3 fathoms
    assert Net(rope_m=24.37).longest_m == 24.3


def test_a_gear_book_counts_its_nets_longest_rope_first() -> None:
    gear = Gear(nets=[Net(rope_m=20, count=2), Net(rope_m=30, name="long")])
    assert [(net.name, net.rope_m) for net in gear.each] == [("long", 30), ("2", 20), ("3", 20)]
