"""Sets, gradients and maps of a site by their rule, on a record made of frames; planes worked out with numpy."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.maps import site_maps
from gwnet.analysis.maps.site_maps import (
    SetRule,
    check_wells,
    control_of,
    controls_of,
    departure_of,
    gradient_between,
    impossible_text,
    known_departure,
    map_of,
    review_text,
    unit_of_coordinates,
)
from gwnet.errors import NotFoundError, TooFewLevelsError
from gwnet.hydro.surfaces.variogram import Covariance

from .frames import FrameRecord, levels, stages, wells

DAY, EARLY, FEW = dt.date(2026, 3, 17), dt.date(2026, 2, 10), dt.date(2025, 12, 10)
PLACES = {"A": (0, 0), "B": (400, 30), "C": (50, 300), "D": (420, 310), "E": (200, 170)}
HEADS = {"A": 40.0, "B": 39.21, "C": 40.33, "D": 39.46, "E": 39.92}
SITE = wells(
    *[(name, *map(float, place), {}) for name, place in PLACES.items()],
    ("L", 210.0, 200.0, {"aquifer": "lower"}),
    ("M", 300.0, 210.0, {"aquifer": "lower"}),
    ("N", 310.0, 260.0, {"aquifer": ""}),
)
RIVER = stages(("A", "2026-03-17T09:00Z", 38.7, 500.0, 100.0, "upper"))
NO_LOGGERS = SetRule(loggers=False)
#: Maps of which the surface does not matter.
QUICK = {"method": "spline", "grid_lines": 11}


def read(day, names, **more):
    return [(name, f"{day}T1{k}:00", HEADS.get(name, 35.0), {"round": "", **more}) for k, name in enumerate(names)]


def table_of(*rows):
    frame = levels(*rows)
    own = {name: SITE.set_index("well")["aquifer"].get(name) for name in frame["well"]}
    return frame.assign(aquifer=frame["well"].map(own), finding="", method="", review="provisional")


@pytest.fixture
def record():
    """Five levels on one day, four on another, three on a third; on more wells none that can be used, or deeper."""
    rows = [*read(DAY, "ABCDE"), *read(EARLY, "BCDE"), *read(FEW, "ABC")]
    rows += read("2025-10-01", "ABCDEN", unusable_reason="on hold")
    rows += read("2025-11-01", "LMNABC", aquifer="lower")
    return FrameRecord(table_of(*rows), SITE, stages=RIVER)


def misfit(names):
    """Return the root of the squares of what heads are off their plane over n - 3."""
    x, y = np.array([PLACES[name] for name in names], dtype=float).T
    heads = np.array([HEADS[name] for name in names])
    design = np.column_stack([np.ones_like(x), x, y])
    off = heads - design @ np.linalg.lstsq(design, heads, rcond=None)[0]
    return np.sqrt(off @ off / (len(heads) - 3))


def test_the_plane_of_three_wells_borrows_the_misfit_of_the_day_s_set(record):
    gradient, named = gradient_between(record, ["B", "C", "D"], EARLY, NO_LOGGERS)
    assert named["well"].tolist() == ["B", "C", "D"]
    assert (gradient.n, gradient.basis, gradient.degrees) == (3, "borrowed", 1.0)
    assert "taken from the 4 levels of 2026-02-10" in gradient.note
    own = departure_of(record, control_of(record, "upper", EARLY, NO_LOGGERS), "that day")
    assert (own.degrees, own.source) == (1, "the 4 levels of that day")
    assert own.sd_m == pytest.approx(misfit("BCDE"), rel=1e-9)


def test_three_wells_of_a_day_with_no_more_borrow_from_the_day_with_most_levels(record):
    """A gauge that has the name of a well is no well; levels that cannot be used, or of another aquifer, make no day."""
    gradient, named = gradient_between(record, ["A", "B", "C"], FEW, NO_LOGGERS)
    assert "taken from the 6 levels of 2026-03-17" in gradient.note  # five wells and the gauge
    assert gradient.degrees == 3.0
    assert named["kind"].tolist() == ["well"] * 3
    today, named = gradient_between(record, ["A", "B", "C"], DAY, NO_LOGGERS)
    assert (today.n, today.basis, named["kind"].tolist()) == (3, "borrowed", ["well"] * 3)
    assert departure_of(record, control_of(record, "upper", FEW, NO_LOGGERS), "x") is None
    assert known_departure(record, "upper", NO_LOGGERS).source == "the 6 levels of 2026-03-17"
    assert known_departure(record, "upper", NO_LOGGERS, date=EARLY).source == "the 4 levels of 2026-02-10"
    assert known_departure(record, "lower", NO_LOGGERS) is None
    four, _ = gradient_between(record, ["A", "B", "C", "D"], DAY, NO_LOGGERS)
    assert four.basis == "residuals"


def test_a_well_without_a_level_that_can_be_used_is_named(record):
    with pytest.raises(NotFoundError) as caught:
        gradient_between(record, ["A", "B", "D", "E"], FEW, NO_LOGGERS)
    assert caught.value.message == (
        "Not every well has a level of 2025-12-10 that can be used: D: no measurement on the date; E: no measurement on "
        "the date."
    )
    with pytest.raises(TooFewLevelsError, match="2 can be used"):
        gradient_between(record, ["A", "B"], DAY, NO_LOGGERS)


@pytest.mark.parametrize(
    ("named", "aquifer", "message"),
    [
        (["A", "Z", "Y"], None, "Z, Y: no such well at site 'S'."),
        (["A", "L"], "upper", "L: no such well of aquifer 'upper' at site 'S'."),
        (["A", "L", "N"], None, "The wells tap more than one aquifer (none, lower, upper); a gradient is of one."),
        (["A", "L"], None, "The wells tap more than one aquifer (lower, upper); a gradient is of one."),
        (["N"], None, "The wells tap more than one aquifer (none); a gradient is of one."),
    ],
)
def test_named_wells_that_make_no_plane_are_refused(record, named, aquifer, message):
    with pytest.raises(NotFoundError) as caught:
        check_wells(record, named, aquifer)
    assert caught.value.message == message
    assert check_wells(record, ["L", "M"]) == check_wells(record, ["L"], "lower") == "lower"


def test_a_rule_has_the_window_asked_for_else_that_of_the_site_else_the_date_alone():
    site = pd.Series({"same_day_window_days": 2.0})
    rule = SetRule(exclude=("B", "A", "B"), wells=("D", "C", "D")).for_site(site)
    assert rule == SetRule(2.0, ("A", "B"), loggers=True, wells=("C", "D"))
    assert SetRule(0.0).for_site(site).window_days == 0.0
    assert SetRule().for_site(pd.Series({"same_day_window_days": np.nan})).window_days == 0.0


def used(control):
    return control.loc[control["used"], "well"].tolist()


def test_levels_of_the_window_enter_and_those_beside_it_do_not():
    far = FrameRecord(table_of(*read("2026-02-05", "A"), *read(DAY, "B")), SITE)
    assert used(control_of(far, "upper", DAY, SetRule(40.0, loggers=False))) == ["A", "B"]
    assert used(control_of(far, "upper", DAY, SetRule(39.0, loggers=False))) == ["B"]
    rows = [*read("2026-03-16", "A"), *read(DAY, "B"), *read("2026-03-18", "C"), *read("2026-03-19", "D")]
    for window, names in ((None, ["B"]), (1.0, ["A", "B", "C"]), (2.0, ["A", "B", "C", "D"])):
        settings = {} if window is None else {"same_day_window_days": window}
        plain = FrameRecord(table_of(*rows), SITE, **settings)
        assert used(control_of(plain, "upper", DAY, NO_LOGGERS)) == names
        (given,) = controls_of(plain, "upper", [DAY], NO_LOGGERS, plain.table)
        assert used(given) == names
    assert used(control_of(plain, "upper", DAY, SetRule(0.0, loggers=False, wells=("A", "B")))) == ["B"]


def test_a_name_may_be_left_out_that_is_in_the_set_of_one_of_the_days(record):
    sets = controls_of(record, "upper", [DAY, FEW], SetRule(exclude=("E",), loggers=False))
    assert [used(control) for control in sets] == [["A", "B", "C", "D", "A"], ["A", "B", "C"]]
    assert sets[0].set_index("well").loc["E", "reason"] == "left out by request"
    with pytest.raises(NotFoundError, match="Q"):
        controls_of(record, "upper", [DAY, FEW], SetRule(exclude=("Q",), loggers=False))


def test_loggers_are_looked_up_for_the_wells_without_a_usable_reading_alone(monkeypatch):
    """The window runs from midnight at the site, an hour before that in UTC, a day and a half to either side."""
    asked = []

    def levels_for_sets(_, requests):
        asked.extend(requests)
        when = pd.Timestamp("2026-03-17T10:30", tz="UTC").as_unit("us")
        row = {"well": "D", "measured_at": "2026-03-17T11:30+01:00", "measured_at_utc": when, "bound": ""}
        row |= {"water_elevation_m": 39.5, "uncertainty_m": 0.04, "usable": True, "unusable_reason": ""}
        return [pd.DataFrame([row]) for _ in requests]

    monkeypatch.setattr(site_maps, "levels_for_sets", levels_for_sets)
    rows = [*read(DAY, "ABL"), ("C", f"{DAY}T12:30", 40.0, {"unusable_reason": "pumping", "status": "pumping"})]
    plain = FrameRecord(table_of(*rows), SITE, stages=RIVER.assign(gauge="G", measured_at_utc=pd.NaT).iloc[:0])
    rule = SetRule(1.5)
    assert used(control_of(plain, "upper", DAY, rule)) == ["A", "B", "D"]
    (request,) = asked
    assert request.wells == ("C", "D", "E")
    assert request.moment == pd.Timestamp("2026-03-17T09:30Z")
    assert (request.first, request.last) == (pd.Timestamp("2026-03-15T11:00Z"), pd.Timestamp("2026-03-19T11:00Z"))
    control_of(plain, "upper", DAY, SetRule(1.5, exclude=("A",)))
    assert len(asked) == 1, "looked up once"
    assert used(control_of(plain, "upper", DAY, SetRule(1.5, loggers=False))) == ["A", "B"]


def test_a_map_of_three_levels_borrows_and_one_of_more_does_not(record):
    few = map_of(record, "upper", FEW, NO_LOGGERS, **QUICK)
    assert few.gradient.basis == "borrowed"
    assert "taken from the 6 levels of 2026-03-17" in few.gradient.note
    assert few.set_text.startswith("One level a well on 2025-12-10, local time")
    assert map_of(record, "upper", EARLY, NO_LOGGERS, **QUICK).gradient.basis == "residuals"
    wide = map_of(record, "upper", EARLY, SetRule(2.0, loggers=False), table=record.table, **QUICK)
    assert wide.set_text.startswith("One level a well within 2 days of 2026-02-10, local time")
    assert "Review: 0 of 4 levels approved, 4 provisional." in wide.cautions


def test_a_map_marks_heads_above_the_ground_and_takes_ranges_in_metres_in_a_system_in_feet():
    """One US survey foot is 1200/3937 m (EPSG dataset, unit 9003)."""
    foot = 1200.0 / 3937.0
    assert unit_of_coordinates("EPSG:2263") == pytest.approx(foot, rel=1e-12)
    assert unit_of_coordinates("EPSG:25832") == 1.0
    feet = SITE.assign(easting=SITE["easting"] / foot, northing=SITE["northing"] / foot, ground_elevation_m=39.6)
    plain = FrameRecord(table_of(*read(DAY, "ABCDE")), feet, crs="EPSG:2263")
    made = map_of(plain, "upper", DAY, NO_LOGGERS, covariance=Covariance("exponential", 0.1, 900.0), grid_lines=21)
    assert dict(made.parameters)["range"] == "900 m"
    assert made.surface.covariance.range_m == pytest.approx(900.0 / foot, rel=1e-12)
    assert made.above_ground is not None
    metres = FrameRecord(table_of(*read(DAY, "ABCDE")), SITE)
    assert made.gradient.magnitude == pytest.approx(
        map_of(metres, "upper", DAY, NO_LOGGERS, **QUICK).gradient.magnitude, rel=1e-9
    )


def test_levels_thirty_days_beside_the_date_tell_how_fast_a_well_moves():
    """Noon of the 17th in UTC less 30 days is noon of 15 February: 20 m in 30 days."""
    rows = [*read(DAY, "ABCD"), ("E", "2026-03-17T13:00", 40.0, {}), ("E", "2026-02-15T13:00", 20.0, {})]
    late = [*rows[:-1], ("E", "2026-02-15T12:59", 20.0, {})]
    maps = [map_of(FrameRecord(table_of(*each), SITE), "upper", DAY, NO_LOGGERS, **QUICK) for each in (rows, late)]
    warned = [[text[:51] for text in made.cautions if text.startswith("Levels moved")] for made in maps]
    assert warned == [["Levels moved too fast for a set that took 3 hours: "], []]
    assert "E by up to 0.67 m a day" in " ".join(maps[0].cautions)


def test_levels_that_review_approved_out_of_bounds_are_named_only_where_a_well_uses_them():
    control = pd.DataFrame({"well": ["A", "B", "G"], "kind": ["well", "well", "stage"], "used": [True, False, True]})
    control = control.assign(event_id=[1, 2, 3])
    found = "above the measuring point, not flowing"
    table = pd.DataFrame(
        {"event_id": [1, 2, 3, 4], "well": ["A", "B", "G", "D"], "finding": [None, found, found, found]}
    )
    assert impossible_text(table, control) == ""
    named = impossible_text(table.assign(finding=found), control)
    assert named == f"Approved in review and used although out of the bounds of the well: A ({found})."


def test_the_review_of_a_map_counts_manual_readings_that_are_used():
    control = pd.DataFrame(
        {
            "event_id": [1, 2, 3, 4, -1, 6],
            "kind": ["well", "well", "well", "well", "well", "stage"],
            "source": ["manual", "manual", "manual", "manual", "logger", "stage"],
            "used": [True, True, True, False, True, True],
        }
    )
    states = pd.DataFrame(
        {"event_id": [1, 2, 4, -1, 6], "state": ["approved", "on hold", *["approved"] * 3], "site": "S"}
    )
    plain = FrameRecord(table_of(*read(DAY, "A")), SITE, reviews=states)
    assert review_text(plain, control) == "Review: 1 of 3 levels approved, 2 provisional."
    assert review_text(plain, control.iloc[:1]) == "Review: 1 of 1 levels approved."
    assert review_text(plain, control.drop(columns="source")) == "Review: 2 of 4 levels approved, 2 provisional."
