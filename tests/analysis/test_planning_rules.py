"""What is due, which wells are in use and what the stops say, each rule at its limit; constructed frames."""

import datetime as dt
import math

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.fieldwork import planning
from gwnet.errors import NotFoundError, SettingsError

from .programme_frames import ON, day, level, programme

NEXT = ON + dt.timedelta(days=1)

#: Intervals as they are documented: every quarter, three to five years, twelve months, a year, and every quarter [d].
QUARTERLY = "every 91 d (project default: quarterly)"
RESURVEY = "every 1826 d (USGS TM 1-A1 p. 23: three to five years)"
CHECKS = "every 365 d (USGS TM 1-A1 p. 8, 35: twelve months)"
SOUNDINGS = "every 365 d (USGS OFR 95-398: yearly)"
VISITS = "every 90 d (project default)"


def due_rows(made, *what):
    """Return what is due, as tuples: well, access, instrument, last, due, days overdue, rule."""
    table = made.due[made.due["what"].isin(what)] if what else made.due
    assert tuple(table.columns) == planning.DUE_COLUMNS
    assert set(table["site"]) <= {"F"}
    names = ("what", "well", "access", "instrument", "last_on", "due_on", "overdue_days", "rule")
    columns = [[None if value is pd.NA else value for value in table[name]] for name in names]
    return list(zip(*columns, strict=True))


def test_everything_that_is_due_with_its_interval_and_its_source(monkeypatch):
    """By kind, then the day, what was never done first; the tube of B was levelled by itself."""
    made = programme(
        monkeypatch,
        wells={"A": {}, "B": {}},
        levels=[
            level("A", "2026-02-10T09:00", instrument="T1", sounded_depth_m=12.0),
            level("A", "2026-03-10T09:00", status="no access"),
            level("A", "2025-05-11T09:00", sounded_depth_m=12.5),
        ],
        points=[{"well": "A"}, {"well": "B", "access": "tube", "surveyed_on": day("2022-04-01")}, {"well": "B"}],
        tapes=[("T1", "electric tape"), ("T2", "steel tape"), ("L", "vented pressure logger")],
        checks=[("T1", "2024-05-01"), ("T2", "2025-06-01"), ("T1", "2026-05-13")],
        visits=[
            {
                "well": "B",
                "instrument": "L",
                "installed_at_utc": pd.Timestamp("2026-01-31T23:30", tz="UTC"),
                "last_sample_utc": pd.NaT,
            }
        ],
    )
    assert due_rows(made) == [
        ("gauge well", "B", "", "", None, None, None, f"no level on record; {QUARTERLY}"),
        ("gauge well", "A", "", "", day("2026-02-10"), day("2026-05-12"), 0, QUARTERLY),
        ("survey measuring point", "A", "main", "", day("2018-06-01"), day("2023-06-01"), 1076, RESURVEY),
        ("survey measuring point", "B", "main", "", day("2018-06-01"), day("2023-06-01"), 1076, RESURVEY),
        ("survey measuring point", "B", "tube", "", day("2022-04-01"), day("2027-04-01"), -324, RESURVEY),
        ("check tape", "", "", "T1", day("2024-05-01"), day("2025-05-01"), 376, CHECKS),
        ("check tape", "", "", "T2", day("2025-06-01"), day("2026-06-01"), -20, CHECKS),
        ("sound bottom", "B", "", "", None, None, None, f"never sounded; {SOUNDINGS}"),
        ("sound bottom", "A", "", "", day("2026-02-10"), day("2027-02-10"), -274, SOUNDINGS),
        # half past midnight in Vienna
        ("visit logger", "B", "", "L", day("2026-02-01"), day("2026-05-02"), 10, VISITS),
    ]
    assert planning.due_by(made.due, ON)["overdue_days"].fillna(0).ge(0).all()
    kept = planning.due_by(made.due, day("2026-05-11"))
    assert kept["due_on"].tolist() == [
        None,
        day("2023-06-01"),
        day("2023-06-01"),
        day("2025-05-01"),
        None,
        day("2026-05-02"),
    ]
    assert kept.index.tolist() == list(range(6))
    assert len(planning.due_by(made.due, day("2026-05-12"))) == 7
    assert planning.due_by(made.due.iloc[:0], ON).empty


@pytest.mark.parametrize(
    ("own", "due", "words"),
    [
        (30, "2026-03-12", "every 30 d (the site's own interval)"),
        (30.5, "2026-03-13", "every 30.5 d (the site's own interval)"),
        (None, "2026-05-12", QUARTERLY),
        (np.nan, "2026-05-12", QUARTERLY),
    ],
)
def test_the_interval_of_the_site_goes_before_the_default_and_half_a_day_counts_as_one(monkeypatch, own, due, words):
    levels = [level("A", "2026-02-10T09:00")]
    made = programme(monkeypatch, wells={"A": {}}, levels=levels, gauging_interval_days=own)
    assert due_rows(made, planning.GAUGE) == [
        ("gauge well", "A", "", "", day("2026-02-10"), day(due), (ON - day(due)).days, words)
    ]


@pytest.mark.parametrize(
    ("status", "counts"),
    [
        *dict.fromkeys(("static", "dry", "flowing", "pumping", "recovering", "nearby pumping"), True).items(),
        ("affected by surface water", True),
        ("obstructed", False),
        ("no access", False),
    ],
)
def test_visits_that_show_something_of_the_head_count_as_gauging(monkeypatch, status, counts):
    made = programme(monkeypatch, wells={"A": {}}, levels=[level("A", "2026-02-10T09:00", status=status)])
    ((_, _, _, _, last, *_),) = due_rows(made, planning.GAUGE)
    assert last == (day("2026-02-10") if counts else None)


def test_points_levels_and_checks_count_from_and_until_noon_of_the_day(monkeypatch):
    """Noon in Vienna in summer is 10:00 UTC."""
    points = [
        {"well": "A", "access": "past", "valid_until_utc": "2026-05-12T10:00:00"},
        {"well": "A", "access": "still", "valid_until_utc": "2026-05-12T10:00:01"},
        {"well": "A", "access": "from", "valid_from_utc": "2026-05-12T10:00:00"},
        {"well": "A", "access": "later", "valid_from_utc": "2026-05-12T10:00:01"},
    ]
    levels = [level("A", "2026-05-12T21:59"), level("A", "2026-05-12T22:00"), level("A", "2026-05-11T22:00")]
    tapes = [("T1", "interface probe"), ("T2", "electric tape"), ("REF", "reference tape")]
    checks = [("T1", "2026-05-12"), ("T2", "2026-05-13")]
    made = programme(monkeypatch, wells={"A": {}}, points=points, levels=levels, tapes=tapes, checks=checks)
    assert made.noon == pd.Timestamp("2026-05-12T10:00", tz="UTC")
    assert made.points["access"].tolist() == ["still", "from"]
    assert made.levels["day"].tolist() == [ON, ON]
    assert made.tapes["instrument"].tolist() == ["T1", "T2"]
    assert planning.tapes_in_service(made) == ["T1"]


@pytest.mark.parametrize(
    ("checked", "used", "in_service"),
    [
        ("2024-05-12", None, True),
        ("2024-05-11", None, False),
        (None, "2024-05-12T09:00", True),
        (None, "2024-05-11T09:00", False),
        ("2020-01-01", "2024-05-12T09:00", True),
        ("2024-05-12", "2020-01-01T09:00", True),
        (None, None, False),
    ],
)
def test_a_tape_is_in_service_for_two_intervals_after_it_was_used_or_checked(monkeypatch, checked, used, in_service):
    """Two times 365 days before 2026-05-12 is 2024-05-12."""
    made = programme(
        monkeypatch,
        wells={"A": {}},
        tapes=[("T", "electric tape")],
        checks=[("T", checked)] if checked else [],
        levels=[level("A", used, instrument="T")] if used else [],
    )
    assert planning.tapes_in_service(made) == (["T"] if in_service else [])
    rows = due_rows(made, planning.CHECK)
    last = day(checked) if checked else None
    assert [row[4] for row in rows] == ([last] if in_service else [])
    if in_service and not checked:
        assert rows[0][-1] == f"never checked; {CHECKS}"


def test_a_well_without_a_point_in_force_was_never_surveyed(monkeypatch):
    made = programme(monkeypatch, wells={"A": {}}, points=[{"well": "A", "valid_from_utc": "2030-01-01"}])
    assert due_rows(made, planning.SURVEY) == [
        ("survey measuring point", "A", "", "", None, None, None, f"no measuring point in force; {RESURVEY}")
    ]


@pytest.mark.parametrize(
    ("sample", "gauged", "last"),
    [
        (None, None, "2026-01-05"),
        ("2026-02-28T23:30", None, "2026-03-01"),
        ("2025-12-28T23:30", None, "2026-01-05"),
        ("2033-01-01T00:00", None, "2026-05-12"),
        ("2026-03-01T00:00", "2026-04-07T09:00", "2026-04-07"),
        ("2026-03-01T00:00", "2026-02-07T09:00", "2026-03-01"),
    ],
)
def test_a_logger_was_visited_when_it_was_installed_read_out_or_its_well_gauged(monkeypatch, sample, gauged, last):
    visit = {
        "well": "A",
        "instrument": "L",
        "installed_at_utc": pd.Timestamp("2026-01-04T23:30", tz="UTC"),
        "last_sample_utc": pd.NaT if sample is None else pd.Timestamp(sample, tz="UTC"),
    }
    levels = [level("A", gauged, status="no access")] if gauged else []
    made = programme(monkeypatch, wells={"A": {}}, visits=[visit], levels=levels)
    assert [row[4] for row in due_rows(made, planning.VISIT)] == [day(last)]


@pytest.mark.parametrize(
    ("facts", "statuses", "why"),
    [
        ({}, [], None),
        ({"drilled_on": ON}, [], None),
        ({"drilled_on": NEXT}, [], "drilled only on 2026-05-13"),
        ({"decommissioned_on": NEXT}, [], None),
        ({"decommissioned_on": ON}, [], "decommissioned on 2026-05-12"),
        ({"drilled_on": NEXT, "decommissioned_on": ON}, ["destroyed"], "drilled only on 2026-05-13"),
        ({}, ["static", "destroyed"], "found destroyed at the last visit"),
        ({}, ["destroyed", "static"], None),
        ({"drilled_on": ON, "decommissioned_on": NEXT}, ["destroyed"], "found destroyed at the last visit"),
    ],
)
def test_wells_that_cannot_be_gauged_say_why(monkeypatch, facts, statuses, why):
    levels = [level("A", f"2026-01-0{number}", status=status) for number, status in enumerate(statuses, 1)]
    made = programme(monkeypatch, wells={"B": {}, "A": facts}, levels=levels[::-1])
    assert made.wells_left_out == ({"A": why} if why else {})
    assert made.wells_in_use == (["B"] if why else ["B", "A"])
    if why:
        with pytest.raises(SettingsError) as refused:
            planning.planned_wells(made, ["B"], last=["A"])
        assert refused.value.args[0] == f"Well A cannot be gauged on 2026-05-12: {why}."


@pytest.mark.parametrize(
    ("hazards", "thickness", "rank"),
    [
        ("", None, 0),
        ("Gas", 0.0, 2),
        ("CONTAMINATED soil", None, 1),
        ("contamination; Free Product", None, 2),
        ("floating product", None, 2),
    ],
)
def test_contamination_goes_by_the_hazards_and_by_product_that_was_ever_met(monkeypatch, hazards, thickness, rank):
    levels = [] if thickness is None else [level("A", "2026-01-01", product_thickness_m=thickness)]
    made = programme(monkeypatch, wells={"A": {"hazards": hazards}, "B": {}}, levels=levels)
    assert made.contamination == {"A": rank, "B": 0}
    said = planning.stops(made, ["A"], ON)["contamination"].tolist()
    assert said == [("none on record", "in the hazards", "floating product")[rank]]


def test_wells_are_chosen_once_each_and_unknown_ones_refused(monkeypatch):
    wells = {f"W{number}": {"easting": float(number), "northing": 0.0} for number in range(9)}
    made = programme(monkeypatch, wells=wells)
    assert planning.planned_wells(made, ["W3", "W1", "W3", "W2"]) == ["W1", "W2", "W3"]
    assert planning.planned_wells(made, None, start="W8", last=["W0"]) == [
        "W8",
        "W7",
        "W6",
        "W5",
        "W4",
        "W3",
        "W2",
        "W1",
        "W0",
    ]
    for asked in ({"wanted": ["X"]}, {"wanted": None, "start": "X"}, {"wanted": None, "last": ["X"]}):
        with pytest.raises(NotFoundError) as refused:
            planning.planned_wells(made, **asked)
        assert refused.value.args[0] == "There is no well 'X' at site F."
        assert refused.value.fix == "On record: W0, W1, W2, W3, W4, W5, W6, W7 …"
    gone = programme(monkeypatch, wells={"A": {"decommissioned_on": ON}})
    with pytest.raises(SettingsError, match="No well of site F is in use on 2026-05-12"):
        planning.planned_wells(gone, None)


@pytest.mark.parametrize(("crs", "metres"), [("EPSG:25832", 1.0), ("EPSG:2263", 1200 / 3937)])
def test_stops_tell_the_way_in_metres_and_what_is_due_until_the_end_of_the_round(monkeypatch, crs, metres):
    """EPSG:2263 is in US survey feet, of which one is 1200/3937 m (National Bureau of Standards, 1959)."""
    wells = {
        "A": {"easting": 700.0, "northing": 200.0, "hazards": "Dog", "access_notes": "Key"},
        "B": {"easting": 1000.0, "northing": 650.0},
        "C": {},
    }
    levels = [level("A", "2026-02-12T09:00", sounded_depth_m=3.0), level("B", "2026-02-11T09:00", sounded_depth_m=3.0)]
    points = [{"well": well, "valid_from_utc": "2022-01-01"} for well in "AB"]
    made = programme(monkeypatch, wells=wells, levels=levels, points=points, crs=crs)
    table = planning.stops(made, ["B", "A", "C"], NEXT)
    assert tuple(table.columns) == planning.STOP_COLUMNS
    assert table["place"].tolist() == [1, 2, 3]
    assert table["well"].tolist() == ["B", "A", "C"]
    walk = table["walk_m"].tolist()
    assert walk[1] == round(math.sqrt(300.0**2 + 450.0**2) * metres, 1)
    assert math.isnan(walk[0])
    assert math.isnan(walk[2])
    assert table["due"].tolist()[:2] == ["gauge well (due 2026-05-13)", ""]
    assert table["due"].tolist()[2].startswith("gauge well (never done); survey measuring point (never done)")
    assert (table["hazards"].tolist()[1], table["access_notes"].tolist()[1]) == ("Dog", "Key")


@pytest.mark.parametrize(
    ("what", "access", "instrument", "due", "words"),
    [
        (planning.SURVEY, "main", "", None, "survey measuring point (never done)"),
        (planning.SURVEY, "", "", day("2026-01-02"), "survey measuring point (due 2026-01-02)"),
        (planning.SURVEY, "tube", "", day("2026-01-02"), "survey measuring point tube (due 2026-01-02)"),
        (planning.SOUND, "tube", "", day("2026-01-02"), "sound bottom (due 2026-01-02)"),
        (planning.VISIT, "main", "L1", None, "visit logger L1 (never done)"),
        (planning.GAUGE, "main", "L1", None, "gauge well (never done)"),
    ],
)
def test_what_is_due_in_words(what, access, instrument, due, words):
    row = {"what": what, "access": access, "instrument": instrument, "due_on": due}
    assert planning.due_text(pd.DataFrame([row])) == words
    assert planning.due_text(pd.DataFrame([row, row])) == f"{words}; {words}"
