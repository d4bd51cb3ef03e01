"""Changes between two days well by well, and their volumes of water; constructed frames, numbers by hand."""

import datetime as dt
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
import shapely

from gwnet.analysis.maps import change
from gwnet.analysis.maps.change import CHANGE_COLUMNS, ChangeResult, change_of, change_table
from gwnet.analysis.maps.features import MapFeatures
from gwnet.analysis.maps.same_day import CONTROL_COLUMNS
from gwnet.analysis.maps.site_maps import SetRule
from gwnet.errors import NotFoundError, SettingsError
from gwnet.hydro.gradients.seepage import Interval

from .frames import FrameRecord, levels, stages, wells

BEFORE, AFTER = dt.date(2025, 9, 9), dt.date(2026, 3, 10)
NO_LOGGERS = SetRule(loggers=False)


@pytest.mark.parametrize(
    ("mean", "width", "storage", "water"),
    [
        # 2000 m² by 0.5 m by the root of 0.1 times 0.4; the ends by 0.3 m and 0.1, and by 0.7 m and 0.4
        (0.5, 0.2, Interval(0.1, 0.4, ""), (200.0, 60.0, 560.0)),
        (-0.5, 0.2, Interval(0.1, 0.4, ""), (-200.0, -560.0, -60.0)),
        (0.1, 0.3, Interval(0.25, 0.25, ""), (50.0, -100.0, 200.0)),
        (0.5, np.nan, Interval(0.1, 0.4, ""), (200.0, 100.0, 400.0)),
        (0.5, np.inf, Interval(0.1, 0.4, ""), (200.0, np.nan, np.nan)),
        (0.5, 0.2, None, None),
    ],
)
def test_water_is_area_by_change_by_storage_with_its_lowest_and_highest(mean, width, storage, water):
    sums = SimpleNamespace(area_m2=2000.0, mean_m=mean, mean_half_width_m=width)
    found = ChangeResult("upper", AFTER, BEFORE, None, None, sums, storage).water_m3
    assert found == (None if water is None else pytest.approx(water, rel=1e-12, nan_ok=True))


def rows_of(*rows):
    """Return a control frame from (well, kind, easting, head, half-width, event, used, reason)."""
    names = ["well", "kind", "easting", "water_elevation_m", "uncertainty_m", "event_id", "used", "reason"]
    frame = pd.DataFrame(list(rows), columns=names).assign(site="S", northing=7.0)
    return frame.assign(measured_at=[f"at {number}" for number in frame["event_id"]])


def test_a_table_of_changes_has_every_well_of_either_day():
    before = rows_of(
        ("B", "well", 1.0, 10.0, 0.3, 1, True, ""),
        ("A", "well", 2.0, 10.0, 0.3, 2, True, ""),
        ("C", "well", 3.0, 10.0, 0.05, 3, True, ""),
        ("D", "well", np.nan, 10.0, 0.05, 4, False, "pumping"),
        ("E", "well", 5.0, 10.0, 0.05, 5, True, ""),
        ("A", "stage", 6.0, 10.0, np.nan, -1, True, ""),
        ("R", "well", 6.5, 10.0, 0.05, 6, True, ""),
        ("U", "well", 6.7, 10.0, 0.05, 7, False, "on hold in review"),
    )
    after = rows_of(
        ("B", "well", 1.0, 10.5, 0.4, 11, True, ""),
        ("A", "well", 2.0, 9.4375, 0.4, 12, True, ""),
        ("C", "well", 3.0, 10.25, 0.13, 13, True, ""),
        ("D", "well", 4.0, 15.0, 0.05, 14, True, ""),
        ("F", "well", 7.0, 15.0, 0.05, 15, False, "dry: the level is only a bound"),
        ("A", "stage", 6.0, 12.0, np.nan, -1, True, ""),
        ("R", "well", 6.5, 15.0, 0.05, 16, True, ""),
        ("U", "well", 6.7, 15.0, 0.05, 17, False, ""),
    )
    survey = pd.DataFrame({"measuring_point": "", "survey_uncertainty_m": np.nan}, index=[*range(1, 6), *range(11, 16)])
    survey.loc[[3, 13]] = ["main since 2018", 0.03]
    table = change_table(before, after, {"R": "left out by request"}, survey)
    assert tuple(table.columns) == CHANGE_COLUMNS
    assert table.index.tolist() == list(range(9))
    expected = [
        # one survey in both levels falls away: of 0.05 and 0.13 m 0.03 m each
        ("A", "well", 2.0, "at 2", "at 12", 10.0, 9.4375, -0.5625, 0.5, True, True, ""),
        ("B", "well", 1.0, "at 1", "at 11", 10.0, 10.5, 0.5, 0.5, False, True, ""),
        (
            "C",
            "well",
            3.0,
            "at 3",
            "at 13",
            10.0,
            10.25,
            0.25,
            np.sqrt(0.05**2 + 0.13**2 - 2 * 0.03**2),
            True,
            True,
            "",
        ),
        ("D", "well", 4.0, "at 4", "at 14", 10.0, 15.0, np.nan, np.nan, False, False, "pumping"),
        ("E", "well", 5.0, "at 5", "", 10.0, np.nan, np.nan, np.nan, False, False, ""),
        ("F", "well", 7.0, "", "at 15", np.nan, 15.0, np.nan, np.nan, False, False, "dry: the level is only a bound"),
        ("R", "well", 6.5, "at 6", "at 16", 10.0, 15.0, 5.0, np.hypot(0.05, 0.05), True, True, ""),
        ("U", "well", 6.7, "at 7", "at 17", 10.0, 15.0, np.nan, np.nan, False, False, "on hold in review"),
        # the accuracy of a survey is taken for what is not known of a stage
        ("A", "stage", 6.0, "at -1", "at -1", 10.0, 12.0, 2.0, np.hypot(0.03, 0.03), True, True, ""),
    ]
    for row, (name, kind, easting, *words, reason) in zip(table.to_dict("records"), expected, strict=True):
        assert (row["site"], row["well"], row["kind"], row["northing"]) == ("S", name, kind, 7.0)
        names = CHANGE_COLUMNS[5:13]
        assert row["easting"] == easting
        assert [row[column] for column in names[:2]] == words[:2]
        numbers = [float(row[column]) for column in names[2:6]]
        assert numbers == pytest.approx(words[2:6], rel=1e-9, nan_ok=True), name
        assert [row[column] for column in names[6:]] == words[6:], name
        assert row["reason"] == reason


PLACES = {"A": (0, 0), "B": (400, 30), "C": (50, 300), "D": (420, 310), "E": (200, 170), "F": (150, 60)}


def day_of(day, heads, first, **more):
    """Return rows of a day from (well, head, other columns)."""
    return [
        (well, f"{day}T10:00", head, {"event_id": first + k, **more, **given})
        for k, (well, head, given) in enumerate(heads)
    ]


@pytest.fixture
def record(monkeypatch):
    """Levels fall by 1 m and by 0.001 times easting; some wells are left out on one day or on both."""
    monkeypatch.setattr(change, "find_tape_doubts", lambda _: {})
    site = wells(
        *[(name, 500_000.0 + x, 5_400_000.0 + y, {}) for name, (x, y) in PLACES.items()],
        *[(name, 500_600.0 + 10 * k, 5_400_100.0, {}) for k, name in enumerate("PQUV")],
        ("L", 500_010.0, 5_400_700.0, {"aquifer": "lower"}),
        ("M", 500_020.0, 5_400_700.0, {"aquifer": "lower"}),
    )
    first = [(name, 40.0, {}) for name in PLACES]
    first += [("P", 40.0, {"unusable_reason": "pumping"}), ("Q", 40.0, {"unusable_reason": "dry"})]
    first += [("L", 30.0, {}), ("U", 40.0, {})]
    second = [
        (name, 39.0 - 0.001 * x, {"uncertainty_m": np.nan} if name == "B" else {}) for name, (x, _) in PLACES.items()
    ]
    second += [
        ("P", 39.0, {}),
        ("Q", 39.0, {"unusable_reason": "dry"}),
        ("M", 30.0, {}),
        ("V", 39.0, {"uncertainty_m": np.nan}),
    ]
    rows = [*day_of(BEFORE, first, 1), *day_of(AFTER, second, 101)]
    table = levels(*rows).assign(measuring_point="main since 2018", survey_uncertainty_m=0.01, finding="", method="")
    table["aquifer"] = np.where(table["well"].isin(["L", "M"]), "lower", "upper")
    river = stages(
        ("G", f"{BEFORE}T09:00Z", 39.0, 500_500.0, 5_400_200.0, "upper"),
        ("G", f"{AFTER}T09:00Z", 38.5, 500_500.0, 5_400_200.0, "upper"),
    )
    return FrameRecord(table, site, stages=river)


def test_a_well_that_is_missing_on_one_day_is_left_out_with_the_day(record):
    found = change_of(
        record, "upper", AFTER, BEFORE, SetRule(exclude=("F",), loggers=False), method="spline", grid_lines=21
    )
    assert (found.aquifer, found.date, found.since, found.storage, found.tapes) == ("upper", AFTER, BEFORE, None, ())
    rows = found.wells.set_index("well")
    assert rows["reason"].to_dict() == {
        **dict.fromkeys("ABCDEG", ""),
        "F": "left out by request",
        "L": "taps another aquifer: lower",
        "M": "taps another aquifer: lower",
        "P": "on 2025-09-09: pumping",
        "Q": "dry: the level is only a bound",
        "U": "on 2026-03-10: no measurement on the date",
        "V": "on 2025-09-09: no measurement on the date",
    }
    expected = {name: -1.0 - 0.001 * x for name, (x, _) in PLACES.items() if name != "F"} | {"G": -0.5}
    assert rows.loc[list(expected), "change_m"].to_dict() == pytest.approx(expected, rel=1e-9)
    # 0.02 m each with the same survey of 0.01 m in them; without an uncertainty 0.03 m was taken
    assert rows.loc["A", "uncertainty_m"] == pytest.approx(np.sqrt(2 * (0.02**2 - 0.01**2)), rel=1e-9)
    drawn = found.surface_map
    assert tuple(drawn.control.columns) == CONTROL_COLUMNS
    control = drawn.control.set_index("well")
    assert control.loc[list(expected), "water_elevation_m"].to_dict() == pytest.approx(expected, rel=1e-9)
    assert control.loc["A", "uncertainty_m"] == rows.loc["A", "uncertainty_m"]
    assert drawn.used["well"].tolist() == [*"ABCDEG"]
    assert drawn.cautions[0] == "No uncertainty is on record for levels of B, G; ± 0.03 m was taken for each."
    assert found.sums.area_m2 == pytest.approx(shapely.Polygon(drawn.boundary).area, rel=1e-9)


def test_a_day_that_is_not_before_the_other_and_a_name_of_neither_day_are_refused(record):
    for since in (AFTER, dt.date(2026, 4, 1)):
        with pytest.raises(SettingsError, match="from an earlier to a later day"):
            change_of(record, "upper", AFTER, since, NO_LOGGERS)
    with pytest.raises(NotFoundError, match="cannot be left out: Z"):
        change_of(record, "upper", AFTER, BEFORE, SetRule(exclude=("Z",), loggers=False))


def test_a_change_is_summed_within_a_boundary_alone(record):
    limit = shapely.box(500_100.0, 5_400_100.0, 500_300.0, 5_400_200.0)
    found = change_of(
        record,
        "upper",
        AFTER,
        BEFORE,
        NO_LOGGERS,
        features=MapFeatures(boundary=limit),
        method="spline",
        grid_lines=21,
        unit="ft",
    )
    assert found.sums.area_m2 == pytest.approx(200.0 * 100.0, rel=0.02)
    assert found.surface_map.cautions[0].startswith(
        "No uncertainty is on record for levels of B, G; ± 0.10 ft was taken"
    )


def test_another_well_of_a_place_may_stand_for_it_on_both_days(record, monkeypatch):
    """W stands 10 cm beside A and is read on the second day alone: A is the well of the place on both."""
    site = pd.concat([record.wells, wells(("W", 500_000.1, 5_400_000.0, {"screen_top_m": 11.0}))], ignore_index=True)
    extra = levels(("W", f"{AFTER}T10:00", 39.0, {"event_id": 500, "uncertainty_m": 0.001}))
    extra = extra.assign(measuring_point="main since 2018", survey_uncertainty_m=0.0, finding="", method="")
    table = pd.concat([record.table, extra], ignore_index=True)
    found = change_of(
        FrameRecord(table, site.drop(columns=["longitude", "latitude"])), "upper", AFTER, BEFORE, NO_LOGGERS
    )
    rows = found.wells.set_index("well")
    assert rows.loc["A", "used"]
    assert rows.loc["W", "reason"] == "on 2025-09-09: no measurement on the date"
