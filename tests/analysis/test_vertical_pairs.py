"""Which wells of a cluster are paired, and when; constructed frames."""

import datetime as dt

from gwnet.analysis.maps.vertical_pairs import vertical_table

from .frames import levels, wells

SHALLOW = {"cluster": "K", "screen_top_m": 4.0, "screen_bottom_m": 6.0}
DEEP = {"cluster": "K", "screen_top_m": 20.0, "screen_bottom_m": 22.0}


def pairs(given_up=None, drilled=None):
    """Return the days of the rows of a pair of which the deep well is read in March alone."""
    site = wells(("U", 0, 0, SHALLOW), ("L", 1, 0, {**DEEP, "decommissioned_on": given_up, "drilled_on": drilled}))
    table = levels(
        ("U", "2026-02-17T10:00", 40.0, {"round": "R1"}),
        ("U", "2026-03-17T10:00", 40.0, {"round": "R2"}),
        ("L", "2026-03-17T11:00", 39.0, {"round": "R2"}),
        ("U", "2026-04-17T10:00", 40.0, {"round": "R3"}),
    )
    return vertical_table(table, site, window_days=1.0)["round"].tolist()


def test_a_round_in_which_a_well_of_the_pair_was_not_read_has_a_row_that_says_so():
    assert pairs() == ["R1", "R2", "R3"]


def test_a_well_is_missed_neither_before_it_was_drilled_nor_after_it_was_given_up():
    assert pairs(drilled=dt.date(2026, 3, 1)) == ["R2", "R3"]
    assert pairs(given_up=dt.date(2026, 4, 1)) == ["R1", "R2"]
    assert pairs(drilled=dt.date(2026, 3, 1), given_up=dt.date(2026, 4, 1)) == ["R2"]
    assert pairs(given_up=dt.date(2026, 4, 17)) == ["R1", "R2", "R3"]
