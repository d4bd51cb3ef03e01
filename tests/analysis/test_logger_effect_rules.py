"""Heads of loggers that moved between two states of the record; constructed frames."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.review import logger_effects

from .heads_of_arrays import HOUR, NAN, START, channel_of, heads_of, hours, out_of

PARTS = ["by_survey_m", "by_tape_m", "by_reading_m", "by_other_m"]

INSTALLED = {
    **dict.fromkeys(("site", "kind", "access", "barometer"), ""),
    "site": "S",
    "well": "W",
    "instrument": "L",
    "installed_at_utc": 1,
    "removed_at_utc": 2,
    "hanging_depth_m": 9.0,
    "access": "main",
    "kind": "logger",
}
POINT = {"site": "S", "well": "W", "access": "main", "valid_from_utc": 1, "valid_until_utc": 2, "elevation_m": 100.0}


def logger_state(heads=(), *, rows=None, points=(POINT,), corrections=()):
    table = pd.DataFrame([{**INSTALLED, **row} for row in (({},) if rows is None else rows)], columns=list(INSTALLED))
    return SimpleNamespace(
        deployments=table,
        measuring_points=pd.DataFrame(list(points), columns=list(POINT)),
        corrections=pd.DataFrame(list(corrections), columns=["correction_id", "instrument"]),
        sites=pd.DataFrame({"site": ["S"], "time_zone": ["UTC+01:00"]}),
        heads=list(heads),
    )


@pytest.fixture
def of_loggers(monkeypatch):
    """Give a function that compares two states of loggers; it returns the rows, and the wells that were worked out."""

    def compare(before, after, moved=(), wells=None):
        asked = []

        def chosen(record, wells=None):
            return record.deployments if wells is None else (record, wells)

        def iterate(record, given):
            asked.append(given[1])
            return iter([one for one in record.heads if one.well in given[1]])

        monkeypatch.setattr(logger_effects, "deployments_in", chosen)
        monkeypatch.setattr(logger_effects, "loggers_of", lambda record: record)
        monkeypatch.setattr(logger_effects, "iterate_heads", iterate)
        table = logger_effects.compare_loggers(before, after, set(moved), wells)
        return table.to_dict("records"), asked

    return compare


@pytest.mark.parametrize(
    ("before", "after", "touched"),
    [
        ({}, {}, []),
        ({}, {"rows": [{"hanging_depth_m": 9.5}]}, ["W"]),
        ({}, {"rows": [{"well": "V"}]}, ["V", "W"]),
        ({}, {"points": [{**POINT, "elevation_m": 101.0}]}, ["W"]),
        ({}, {"points": [POINT, {**POINT, "well": "none"}]}, []),
        ({"corrections": [(1, "L")]}, {"corrections": [(1, "L")]}, []),
        ({"corrections": [(1, "L")]}, {"corrections": []}, ["W"]),
        ({}, {"corrections": [(2, "L")]}, ["W"]),
        ({}, {"corrections": [(2, "K")]}, []),
        # through its barometer
        ({"rows": [{"barometer": "B"}]}, {"rows": [{"barometer": "B"}], "corrections": [(3, "B")]}, ["W"]),
        (
            {"rows": [{"barometer": "B"}, {"instrument": "B", "kind": "barometer", "well": ""}]},
            {
                "rows": [
                    {"barometer": "B"},
                    {"instrument": "B", "kind": "barometer", "well": "", "hanging_depth_m": 1.0},
                ]
            },
            ["W"],
        ),
        (
            {
                "rows": [
                    {"well": "V"},
                    {"instrument": "B", "kind": "logger", "well": "X", "hanging_depth_m": 0.0},
                    {"barometer": "B"},
                ]
            },
            {
                "rows": [
                    {"well": "V"},
                    {"instrument": "B", "kind": "logger", "well": "X", "hanging_depth_m": 1.0},
                    {"barometer": "B"},
                ]
            },
            ["X"],
        ),
        ({"rows": [{}, {}]}, {"rows": [{}]}, []),
    ],
)
def test_the_wells_whose_installation_point_or_correction_differs_are_worked_out(of_loggers, before, after, touched):
    _, asked = of_loggers(logger_state(**before), logger_state(**after))
    assert asked == ([touched, touched] if touched else [])


def test_wells_whose_readings_moved_and_that_were_chosen_are_worked_out(of_loggers):
    state = logger_state(rows=[{}, {"well": "V"}])
    for moved, wells, asked in (
        (["W", "none"], None, ["W"]),
        (["W", "V"], ["V"], ["V"]),
        (["W"], ["V"], None),
        ([], None, None),
    ):
        assert of_loggers(state, state, moved, wells)[1] == ([asked, asked] if asked else [])
    gone = logger_state(rows=[])
    assert of_loggers(state, gone, ["V"])[1] == [["V", "W"]] * 2


def series(values, *, start=START, reasons=None, bound=None, **more):
    values = np.asarray(values, dtype=float)
    out = out_of(*(reasons or [""] * values.size))
    channel = channel_of(values, file_time=hours(values.size) - START + start)
    return heads_of(
        None,
        channel=channel,
        out=out,
        bound_m=np.full(values.size, NAN) if bound is None else np.asarray(bound),
        **more,
    )


def moved_row(of_loggers, before, after):
    rows, _ = of_loggers(logger_state(before), logger_state(after), ["W"])
    return rows


def test_a_logger_whose_heads_moved_is_one_row_with_the_sample_that_moved_farthest(of_loggers):
    """File times from 22:00 UTC on, which is an hour later at the site; the third of five moved down by 0.5 m."""
    start = START - 2 * HOUR
    before = series([1.0, 2.0, 3.0, 4.0, 5.0], start=start)
    after = series([1.0, 2.25, 2.5, 4.0 + 2e-7, 5.0 + 0.5e-7], start=start)
    (row,) = moved_row(of_loggers, [before], [after])
    assert row == {
        "site": "S",
        "well": "W",
        "measured_at": "2024-01-01T01:00+01:00",
        "event_id": -1,
        "access": "main",
        "water_elevation_before_m": 3.0,
        "water_elevation_after_m": 2.5,
        "difference_m": -0.5,
        "by_survey_m": 0.0,
        "by_tape_m": 0.0,
        "by_reading_m": 0.0,
        "by_other_m": -0.5,
        "bound_before": "",
        "bound_after": "",
        "status_before": "static",
        "status_after": "static",
        "review": "provisional",
        "cause": "3 samples of logger L, 2024-01-01 to 2024-01-01",
        "reason": "",
    }


def test_samples_that_were_lost_gained_or_became_bounds_moved(of_loggers):
    reasons = ["", "spike", "", "out of water", ""]
    before = series([1.0, 2.0, 3.0, 4.0, 5.0], reasons=reasons, bound=[NAN, NAN, NAN, 4.0, NAN])
    after = series([1.0, 2.0, 3.0, 4.0, 5.0, 6.0], reasons=["spike", "", "spike", "", "", ""])
    (row,) = moved_row(of_loggers, [before], [after])
    assert row["cause"] == "4 samples of logger L, 2024-01-01 to 2024-01-01 (1 gained, 2 lost)"
    # the bound that became a head of the same number has a difference, of zero
    assert (row["measured_at"], row["difference_m"], row["bound_before"], row["bound_after"]) == (
        "2024-01-01T04:00+01:00",
        0.0,
        "<=",
        "",
    )
    lost = series([1.0, 2.0], reasons=["spike", "spike"])
    (row,) = moved_row(of_loggers, [series([1.0, 2.0])], [lost])
    assert row["cause"] == "2 samples of logger L, 2024-01-01 to 2024-01-01 (2 lost)"
    assert (row["measured_at"], row["water_elevation_before_m"]) == ("2024-01-01T01:00+01:00", 1.0)
    assert np.isnan([row[name] for name in ("water_elevation_after_m", "difference_m", *PARTS)]).all()
    (row,) = moved_row(of_loggers, [lost], [series([1.0, 2.0])])
    assert row["cause"].endswith("(2 gained)")
    (row,) = moved_row(of_loggers, [series([1.0])], [series([1.0], reasons=["out of water"], bound=[1.0])])
    assert (row["bound_before"], row["bound_after"], row["cause"]) == (
        "",
        "<=",
        "1 sample of logger L, 2024-01-01 to 2024-01-01",
    )


def test_an_installation_that_is_gone_is_withdrawn_and_a_new_one_did_not_move(of_loggers):
    rows = moved_row(
        of_loggers,
        [series([1.0, 2.0]), series([3.0], instrument="K")],
        [series([1.0, 2.0]), series([9.0], instrument="NEW")],
    )
    assert [(row["cause"], row["status_after"], row["bound_after"]) for row in rows] == [
        ("1 sample of logger K, 2024-01-01 to 2024-01-01 (1 lost)", "withdrawn", "")
    ]
    # two deployments of one instrument are one row; a file time that both have counts once
    pair = [series([1.0, 2.0]), series([7.0, 8.0, 9.0], start=START + HOUR)]
    (row,) = moved_row(of_loggers, pair, [series([1.0, 2.0]), series([7.0, 8.5, 9.0], start=START + HOUR)])
    assert (row["water_elevation_before_m"], row["difference_m"]) == (8.0, 0.5)
    assert moved_row(of_loggers, pair, pair) == []
