"""Levels of loggers as rows of the levels frame, what is a bound of the aquifer, and what is approved; constructed frames."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.levels.bounds import BELOW_SCREEN, SENSOR_OUT
from gwnet.analysis.loggers import level_rows as module

from .heads_of_arrays import HOUR, NAN, START, heads_of, manual_of

#: W is screened down to 12 m and closed below; V has no screen on record. The ground at W is at 100.0 m.
WELLS = pd.DataFrame(
    {
        "site": ["S", "S", "R"],
        "well": ["W", "V", "W"],
        "well_id": [1, 2, 3],
        "aquifer": ["upper", "lower", "other"],
        "screen_bottom_m": [12.0, NAN, 3.0],
        "total_depth_m": [NAN, NAN, NAN],
    }
)


def instants(*texts):
    return pd.to_datetime(pd.Series(texts, dtype=object), utc=True, format="ISO8601").astype("datetime64[us, UTC]")


def record_of(states=()):
    points = pd.DataFrame(
        {
            "well": ["W", "W", "W", "V"],
            "access": ["main", "main", "tube", "main"],
            "elevation_m": [100.5, 100.7, 101.0, 50.0],
            "height_above_ground_m": [0.5, 0.7, 1.0, NAN],
            "valid_from_utc": instants("2020-01-01", "2024-06-01", "2020-01-01", "2020-01-01"),
            "valid_until_utc": instants("2024-06-01", None, None, "2024-03-01"),
        }
    )
    return SimpleNamespace(
        site="S",
        settings={"time_zone": "Europe/Vienna"},
        wells=WELLS,
        reviews=pd.DataFrame(list(states), columns=["event_id", "state"]),
        measuring_points=points,
        construction=pd.DataFrame(columns=["well_id", "part", "bottom_depth_m", "removed_on"]),
    )


def rows_of(*rows):
    """Return rows from (well, access, time, elevation, bound, doubt)."""
    frame = pd.DataFrame(rows, columns=["well", "access", "measured_at_utc", "water_elevation_m", "bound", "doubt"])
    frame["measured_at_utc"] = instants(*frame["measured_at_utc"])
    return frame


@pytest.fixture(autouse=True)
def pumping(monkeypatch):
    """Let the sixth row lie within a pumping test."""
    monkeypatch.setattr(module, "is_during_test", lambda record, rows: np.arange(len(rows)) == 5)


ROWS = (
    ("W", "main", "2024-01-02T23:30", 95.0, "", ""),
    ("W", "main", "2024-01-03T09:00:59", 90.0, "<=", ""),
    ("W", "main", "2024-01-03T10:00", 85.0, "<=", ""),
    ("W", "main", "2024-01-03T11:00", 87.0, "", ""),
    ("W", "main", "2024-01-03T12:00", 88.0, "", ""),
    ("W", "main", "2024-06-01T00:00", 96.0, "", ""),
    ("W", "tube", "2024-01-03T12:00", 97.0, "", "open finding"),
    ("V", "main", "2024-02-29T23:59", 42.0, "", ""),
    ("V", "main", "2024-03-01T00:00", 42.0, "<=", "open finding"),
    ("V", "main", "2024-02-01T00:00", 42.0, "<=", ""),
)


def test_rows_have_depths_bounds_and_what_they_are(monkeypatch):
    """The bound of a sensor out of water is the shallower of sensor and screen bottom, at 88 m; below it water stands in
    a closed pipe."""
    made = module.with_bounds(record_of(), rows_of(*ROWS))
    point = np.array([100.5] * 5 + [100.7, 101.0, 50.0, NAN, 50.0])
    ground = np.array([100.0] * 5 + [100.0, 100.0, NAN, NAN, NAN])
    head = np.array([95.0, 90.0, 88.0, 87.0, 88.0, 96.0, 97.0, 42.0, 42.0, 42.0])
    out = np.array([False, True, True, False, False, False, False, False, True, True])
    np.testing.assert_array_equal(made["measuring_point_elevation_m"], point)
    np.testing.assert_array_equal(made["water_elevation_m"], head)
    np.testing.assert_array_equal(made["water_elevation_uncorrected_m"], head)
    np.testing.assert_allclose(made["depth_to_water_m"], np.where(out, NAN, point - head), rtol=1e-12)
    np.testing.assert_allclose(made["depth_below_ground_m"], np.where(out, NAN, ground - head), rtol=1e-12)
    assert made["bound"].tolist() == ["", "<=", "<=", "<=", "", "", "", "", "<=", "<="]
    np.testing.assert_array_equal(made["bound_elevation_m"], [NAN, 90.0, 88.0, 88.0, NAN, NAN, NAN, NAN, 42.0, 42.0])
    assert made["finding"].tolist() == [
        "",
        SENSOR_OUT,
        SENSOR_OUT,
        BELOW_SCREEN,
        "",
        "",
        "open finding",
        "",
        "open finding",
        SENSOR_OUT,
    ]
    assert made["status"].tolist() == ["static"] * 5 + [module.TEST_STATUS] + ["static"] * 4
    assert set(made["event_id"]) == {-1}
    assert (set(made["quality"]), set(made["review"]), set(made["open_finding"])) == (
        {"unchecked"},
        {"provisional"},
        {""},
    )
    assert made["usable"].tolist() == (made["unusable_reason"] == "").tolist()
    assert made["usable"].tolist()[:5] == [True, False, False, False, True]
    plain = module.with_bounds(record_of(), rows_of(*ROWS).drop(columns="doubt").assign(review="approved"))
    assert plain["finding"].tolist()[6:] == ["", "", SENSOR_OUT, SENSOR_OUT]
    assert set(plain["review"]) == {"approved"}


def levels_frame(**more):
    frame = rows_of(*ROWS).drop(columns="doubt")
    count = len(frame)
    made = {
        "time_known": [True] * (count - 1) + [False],
        "uncertainty_m": 0.01 * np.arange(count),
        "round": [f"R{number}" for number in range(count)],
        "instrument": [f"L{number}" for number in range(count)],
        "notes": [f"note {number}" for number in range(count)],
    }
    return frame.assign(**made, **more)


def test_rows_carry_what_the_levels_frame_has():
    record = record_of([(1, "approved"), (2, "approved"), (3, "approved"), (4, "provisional")])
    times = ("2024-01-03T09:00", "2024-01-03T12:00", "2024-06-02", "2024-07-01")
    manual = manual_of(*({"measured_at_utc": time, "event_id": number} for number, time in enumerate(times, 1)))
    deployments = [
        heads_of([1.0], manual=manual),
        heads_of([1.0], well="V", manual=manual.iloc[:0]),
    ]
    table = module.level_rows(record, levels_frame(), deployments)
    rows = table.to_dict("list")
    assert set(rows["site"]) == {"S"}
    assert rows["measured_at"] == [
        "2024-01-03T00:30+01:00",
        "2024-01-03T10:00+01:00",
        "2024-01-03T11:00+01:00",
        "2024-01-03T12:00+01:00",
        "2024-01-03T13:00+01:00",
        "2024-06-01T02:00+02:00",
        "2024-01-03T13:00+01:00",
        "2024-03-01T00:59+01:00",
        "2024-03-01T01:00+01:00",
        "2024-02-01",
    ]
    days = ["2024-01-03"] * 5 + ["2024-06-01", "2024-01-03", "2024-03-01", "2024-03-01", "2024-02-01"]
    assert [str(day)[:10] for day in rows["day"]] == days
    assert rows["review"] == ["provisional", *["approved"] * 5, *["provisional"] * 4]
    assert rows["aquifer"] == ["upper"] * 7 + ["lower"] * 3
    assert rows["time_known"] == [True] * 9 + [False]
    for name in ("round", "instrument", "notes"):
        assert rows[name] == levels_frame()[name].tolist()
    np.testing.assert_array_equal(table["uncertainty_m"], 0.01 * np.arange(10))
    constants = {"method": "logger", "observer": "", "accuracy_from": "", "measuring_point": "", "doubt": ""}
    assert {name: set(rows[name]) for name in constants} == {name: {value} for name, value in constants.items()}
    assert table[["survey_uncertainty_m", "product_thickness_m", "sounded_depth_m"]].isna().all(axis=None)
    assert (str(table["measured_at_utc"].dtype), str(table["day"].dtype)) == ("datetime64[us, UTC]", "datetime64[us]")
    doubts = ["open"] + [""] * 9
    assert module.level_rows(record, levels_frame(doubt=doubts), deployments)["doubt"].tolist() == doubts


@pytest.mark.parametrize(
    ("states", "used", "installation", "approved"),
    [
        # readings at 01:00, 03:00 and 05:00; asked are 00:59, 01:00, 02:00, 03:00, 04:00, 05:00 and 05:01
        (("approved",) * 3, (True,) * 3, (0, 0, 0), (0, 1, 1, 1, 1, 1, 0)),
        (("approved", "approved", "provisional"), (True,) * 3, (0, 0, 0), (0, 1, 1, 1, 0, 0, 0)),
        (("provisional", "approved", "approved"), (True,) * 3, (0, 0, 0), (0, 0, 0, 1, 1, 1, 0)),
        (("approved", "on hold", "approved"), (True,) * 3, (0, 0, 0), (0, 1, 0, 0, 0, 1, 0)),
        (("approved",) * 3, (True,) * 3, (0, 0, 1), (0, 1, 1, 1, 0, 1, 0)),
        (("approved", "on hold", "approved"), (True, False, True), (0, 0, 0), (0, 1, 1, 1, 1, 1, 0)),
        (("approved",) * 3, (False, False, True), (0, 0, 0), (0,) * 7),
        (("approved",) * 3, (False, True, True), (0, 0, 0), (0, 0, 0, 1, 1, 1, 0)),
    ],
)
def test_a_head_is_approved_between_two_approved_readings_of_one_installation(states, used, installation, approved):
    manual = manual_of(
        *(
            {"measured_at_utc": f"2024-01-01T0{hour}:00", "used": keeps, "installation": number}
            for hour, keeps, number in zip((1, 3, 5), used, installation, strict=True)
        )
    )
    minutes = np.array([59, 60, 120, 180, 240, 300, 301])
    when = START + minutes * HOUR // 60
    of_event = pd.Series(dict(enumerate(states, 1)))
    found = module.is_approved_at(heads_of([1.0], manual=manual), of_event, when)
    assert found.tolist() == [bool(value) for value in approved]
