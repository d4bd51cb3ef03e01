"""Same-day sets at their limits: every column of a row, wells of one place, gauges, loggers; constructed frames."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.maps.same_day import CONTROL_COLUMNS, leave_out, same_day_set, span_of
from gwnet.analysis.maps.same_day_loggers import count_text, logger_text, moment_of
from gwnet.errors import NotFoundError

from .frames import levels, stages, wells

DAY = dt.date(2026, 3, 17)
AT = "2026-03-17T10:00"


def chosen(levels_frame, wells_frame, **options):
    return same_day_set(
        levels_frame, wells_frame, **{"aquifer": "upper", "date": DAY, "time_zone": "UTC+01:00", **options}
    )


def reasons(control):
    return dict(zip(control["well"], control["reason"], strict=True))


def logged(*rows, **more):
    """Return levels of loggers at ten o'clock from (well, elevation)."""
    table = pd.DataFrame(list(rows), columns=["well", "water_elevation_m"])
    when = pd.Timestamp("2026-03-17T09:00", tz="UTC").as_unit("us")
    given = {"bound": "", "bound_elevation_m": np.nan, "usable": True, "unusable_reason": "", "uncertainty_m": 0.04}
    return table.assign(measured_at=f"{AT}+01:00", measured_at_utc=when, **{**given, **more})


def test_a_row_has_what_is_on_record_of_its_well_and_level():
    site = wells(
        ("B", 310.0, 220.0, {"ground_elevation_m": 61.5, "screen_top_m": 4.0, "screen_bottom_m": 7.0}),
        ("C", 110.0, 120.0, {"cluster": "K"}),
    )
    river = stages(("A1", "2026-03-12T09:00Z", 39.5, 10.0, 20.0, "upper"))
    control = chosen(levels(("B", AT, 57.25, {"event_id": 8, "uncertainty_m": 0.03})), site, stages=river)
    assert tuple(control.columns) == CONTROL_COLUMNS
    assert control.index.tolist() == [0, 1, 2]
    assert control["well"].tolist() == ["B", "C", "A1"], "gauges come last"
    first, second, gauge = control.drop(columns=["measured_at_utc"]).to_dict("records")
    assert control["measured_at_utc"].iloc[0] == pd.Timestamp("2026-03-17T09:00Z")
    assert first == {
        "site": "S",
        "well": "B",
        "kind": "well",
        "easting": 310.0,
        "northing": 220.0,
        "measured_at": f"{AT}+01:00",
        "water_elevation_m": 57.25,
        "uncertainty_m": 0.03,
        "status": "static",
        "used": True,
        "reason": "",
        "time_known": True,
        "cluster": "",
        "event_id": 8,
        "screen_length_m": 3.0,
        "screen_middle_m": 56.0,
        "ground_elevation_m": 61.5,
        "source": "manual",
        "bound": "",
    }
    nothing = {"measured_at": "", "status": "", "used": False, "time_known": False, "event_id": -1, "source": ""}
    assert {name: second[name] for name in nothing} == nothing
    assert {name: gauge[name] for name in nothing} == nothing
    assert (second["cluster"], second["bound"], gauge["kind"]) == ("K", "", "stage")
    assert np.isnan([second["water_elevation_m"], second["uncertainty_m"], gauge["water_elevation_m"]]).all()


def test_a_gauge_with_a_stage_is_a_row_of_its_own():
    river = stages(
        ("G1", "2026-03-17T09:00Z", 39.5, 10.0, 20.0, "upper"),
        ("G2", "2026-03-17T09:00Z", 39.6, np.nan, 20.0, "upper"),
        ("G3", "2026-03-17T09:00Z", 39.7, 10.0, np.nan, "upper"),
        ("G4", "2026-03-17T11:00Z", 39.8, 30.0, 40.0, "upper"),
        ("G5", "2026-03-17T09:00Z", 39.9, 30.0, 40.0, "upper"),
    )
    river = river.assign(
        site=["S", "S", "S", "S", "T"], time_known=[True, True, True, False, True], gauge=["G1", "G2", "G3", "G4", "G5"]
    )
    control = chosen(levels(), wells(("A", 0.0, 0.0, {})), stages=river)
    rows = control[control["kind"] == "stage"].set_index("well")
    place = "no coordinates on record"
    assert rows["reason"].to_dict() == {"G1": "", "G2": place, "G3": place, "G4": ""}, "G5 is of another site"
    assert rows["event_id"].tolist() == [-1] * 4
    assert rows.loc["G1", ["measured_at", "status", "source", "used", "time_known"]].tolist() == [
        *("2026-03-17T10:00+01:00", "static", "stage", True, True)
    ]
    assert rows.loc["G4", ["measured_at", "time_known"]].tolist() == ["2026-03-17", False]


def test_gauges_alone_make_a_set_and_so_do_wells_whose_aquifer_nobody_knows():
    river = stages(("G1", "2026-03-17T09:00Z", 39.5, 10.0, 20.0, "upper"))
    assert reasons(chosen(levels(), wells(("A", 0.0, 0.0, {"aquifer": "lower"})), stages=river)) == {"G1": ""}
    assert reasons(chosen(levels(), wells(("A", 0.0, 0.0, {})).iloc[:0], stages=river)) == {"G1": ""}
    loose = wells(("A", 0.0, 0.0, {"aquifer": ""}))
    assert reasons(chosen(levels(("A", AT, 1.0, {})), loose)) == {"A": "no aquifer on record"}
    with pytest.raises(NotFoundError, match="No well and no gauge of aquifer 'upper' is on record"):
        chosen(levels(), loose)


def test_dates_of_a_well_in_every_form_that_the_record_has():
    site = wells(
        *[(f"W{n}", float(n), 0.0, {"decommissioned_on": day}) for n, day in enumerate((None, pd.NaT, np.nan, ""))],
        ("W4", 4.0, 0.0, {"decommissioned_on": "2026-03-16"}),
        ("W5", 5.0, 0.0, {"decommissioned_on": pd.Timestamp("2026-03-17")}),
        ("W6", 6.0, 0.0, {"drilled_on": DAY}),
        ("W7", 7.0, 0.0, {"drilled_on": "2026-03-18"}),
        ("W8", 8.0, 0.0, {"drilled_on": "2026-03-18"}),
        ("W9", np.nan, 0.0, {}),
        ("X1", 9.0, np.nan, {}),
    )
    measured = [name for name in site["well"] if name not in ("W6", "W7")]
    assert reasons(chosen(levels(*[(name, AT, 1.0, {}) for name in measured]), site)) == {
        **dict.fromkeys(site["well"], ""),
        "W4": "decommissioned on 2026-03-16",
        "W6": "no measurement on the date",
        "W7": "drilled after the date, on 2026-03-18",
        "W9": "no coordinates on record",
        "X1": "no coordinates on record",
    }


@pytest.mark.parametrize(
    ("others", "kept", "rule"),
    [
        ([(4.0, 6.0), (5.0, 7.0), (20.0, 22.0)], "N-1", "screen nearest in elevation to the other wells'"),
        ([(30.0, 32.0)] * 3, "N-2", "screen nearest in elevation to the other wells'"),
        ([(np.nan, np.nan)] * 3, "N-1", "first by rule"),
    ],
)
def test_of_a_cluster_the_screen_nearest_to_the_median_of_the_others_stands(others, kept, rule):
    """The cluster has middles 5 and 30 m below ground; a third well of it has no screen and never stands first."""
    screens = [(n, *screen) for n, screen in zip("ABC", others, strict=True)]
    site = wells(
        ("N-0", 500.0, 500.0, {"cluster": "N", "screen_top_m": np.nan, "screen_bottom_m": np.nan}),
        ("N-1", 600.0, 500.0, {"cluster": "N", "screen_top_m": 4.0, "screen_bottom_m": 6.0}),
        ("N-2", 700.0, 500.0, {"cluster": "N", "screen_top_m": 29.0, "screen_bottom_m": 31.0}),
        *[(n, 0.0, 100.0 * k, {"screen_top_m": a, "screen_bottom_m": b}) for k, (n, a, b) in enumerate(screens)],
    )
    river = stages(*[(f"G{n}", "2026-03-17T09:00Z", 39.5, 10.0, 20.0, "upper") for n in range(3)])
    widths = {"N-1": 0.01, "N-0": 0.02, "N-2": 0.03}
    table = levels(*[(name, AT, 1.0, {"uncertainty_m": widths.get(name, 0.02)}) for name in site["well"]])
    control = chosen(table, site, stages=river)
    left = {name: f"one well a place: {kept} stands for it ({rule})" for name in widths if name != kept}
    assert reasons(control) == {**dict.fromkeys([*site["well"], "G0", "G1", "G2"], ""), **left}


def test_one_well_with_a_screen_goes_before_one_without():
    bare = {"screen_top_m": np.nan, "screen_bottom_m": np.nan}
    site = wells(("A", 0.0, 0.0, bare), ("B", 0.25, 0.25, {}), ("C", 500.0, 0.0, {}))
    control = chosen(levels(*[(name, AT, 1.0, {}) for name in "ABC"]), site)
    assert (
        reasons(control)["A"] == "one well a place: B stands for it (screen nearest in elevation to the other wells')"
    )


def test_a_set_of_which_wells_are_left_out_uses_the_others():
    control = chosen(levels(*[(name, AT, 1.0, {}) for name in "AB"]), wells(("A", 0.0, 0.0, {}), ("B", 90.0, 0.0, {})))
    assert leave_out(control, ["A"])["used"].tolist() == [False, True]
    assert control["used"].tolist() == [True, True], "the set itself stays as it was"


@pytest.mark.parametrize(
    ("times", "hours", "days", "untimed", "text"),
    [
        ([], np.nan, 0, 0, "no levels"),
        (["2026-03-17T10:00"], np.nan, 1, 0, "one day"),
        (["2026-03-17"], np.nan, 1, 1, "one day; time of day not known for 1 of 1 levels"),
        (["2026-03-17T10:00", "2026-03-17T12:45"], 2.75, 1, 0, "one day; 2.8 hours from the first to the last level"),
        (["2026-03-17T10:00", "2026-03-18"], np.nan, 2, 1, "2 days; time of day not known for 1 of 2 levels"),
        (["2026-03-17T23:45", "2026-03-18T00:15"], 0.5, 2, 0, "2 days; 0.5 hours from the first to the last level"),
    ],
)
def test_how_long_the_levels_took(times, hours, days, untimed, text):
    site = wells(("A", 0.0, 0.0, {}), ("B", 90.0, 0.0, {}))
    table = levels(*[(name, when, 1.0, {}) for name, when in zip("AB", times, strict=False)])
    span = span_of(chosen(table, site, window_days=1.0))
    assert span.hours == pytest.approx(hours, nan_ok=True)
    assert (span.days, span.untimed, span.text) == (days, untimed, text)


SITE = wells(*[(name, 100.0 * k, 0.0, {}) for k, name in enumerate("ABCD")])


def test_a_logger_fills_a_well_only_where_its_place_is_known_and_the_reading_failed():
    site = wells(("A", np.nan, 0.0, {}), ("B", 100.0, np.nan, {}), ("C", 200.0, 0.0, {}), ("D", 300.0, 0.0, {}))
    table = levels(("C", AT, np.nan, {"status": "pumping", "unusable_reason": "pumping"}))
    control = chosen(table, site, loggers=logged(("A", 40.0), ("B", 40.0), ("C", 40.0), ("D", 41.0))).set_index("well")
    assert control["used"].to_dict() == {"A": False, "B": False, "C": False, "D": True}
    assert control["source"].to_dict() == {"A": "", "B": "", "C": "", "D": "logger"}
    assert control.loc["D", ["water_elevation_m", "uncertainty_m", "time_known", "event_id", "status"]].tolist() == [
        *(41.0, 0.04, True, -1, "static")
    ]
    words = "No usable manual reading, so the level of the logger at the moment of the others: D at 2026-03-17 10:00."
    assert logger_text(control.reset_index()) == words
    assert logger_text(control.reset_index().drop(columns="source")) == ""


def test_the_sentence_on_loggers_names_those_that_are_used_alone():
    control = pd.DataFrame(
        {
            "well": ["A", "B", "C"],
            "used": [True, False, True],
            "source": ["manual", "logger", "logger"],
            "kind": "well",
            "measured_at": ["2026-03-17T08:00+01:00", "2026-03-17T09:00+01:00", "2026-03-17T10:30+01:00"],
        }
    )
    words = "No usable manual reading, so the level of the logger at the moment of the others: C at 2026-03-17 10:30."
    assert logger_text(control) == words
    assert logger_text(control.iloc[:2]) == ""
    assert count_text(control) == "1 manual reading and 1 logger"
    assert count_text(control.assign(kind="stage", source="stage", used=True)) == "3 gauges"
    assert (
        count_text(control.assign(kind=["river", "stage", "well"], used=True)) == "1 logger, 1 gauge and 1 river point"
    )


def test_gauges_untimed_and_unused_levels_do_not_move_the_moment_of_a_set():
    table = levels(
        ("A", "2026-03-17T09:00", 40.0, {}),
        ("B", "2026-03-17T09:31", 40.0, {}),
        ("C", "2026-03-17", 40.0, {}),
        ("D", "2026-03-17T17:00", 40.0, {"unusable_reason": "pumping"}),
    )
    river = stages(("G1", "2026-03-17T20:00Z", 39.5, 10.0, 20.0, "upper"))
    control = chosen(table, SITE, stages=river)
    assert control["used"].tolist() == [True, True, True, False, True]
    assert moment_of(control, DAY, "UTC+01:00") == pd.Timestamp("2026-03-17T08:15:30Z")
