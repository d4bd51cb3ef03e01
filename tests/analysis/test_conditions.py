"""Conditions of wells: each planted in a small record, and gone where the record says so."""

import datetime as dt

import pytest

from gwnet.analysis.fieldwork.conditions import (
    CONFINED,
    KINDS,
    NO_BASELINE,
    OBSTRUCTED,
    OVERDUE_CHECK,
    OVERDUE_SURVEY,
    PRESSURE,
    PRODUCT,
    SHORT,
    conditions_of,
    describe_condition,
)
from gwnet.analysis.fieldwork.field_sheet import CAUTIONS
from gwnet.analysis.fieldwork.planning import Programme
from gwnet.products.field_sheets import gather
from gwnet.store.snapshot import Snapshot

from ..products.field_record import LOADED, field_network

DAY = dt.date(2026, 5, 12)

MORE = {
    "measuring_points": "site,well,access,valid_from,elevation,height_above_ground,description,surveyed_on\n"
    "F,NEW,main,2026-03-20,99.9,-0.1,Notch,2026-03-20\n",
    "thresholds": "site,well,threshold,kind,water_elevation,valid_from\n"
    "F,A2,low,lower,95,2019-06-01\nF,A3,low,lower,95,2023-01-01\nF,A5,low,lower,95,2026-01-01\n",
    "level_events": "site,well,date,time,status,depth_to_water,sounded_depth,instrument\n"
    "F,A2,2026-02-12,09:00,obstructed,,,T1\nF,A2,2026-03-12,09:00,static,3.40,,T1\n"
    "F,A3,2026-02-12,09:00,obstructed,,,T1\nF,A3,2026-03-12,09:00,static,3.90,12.60,T1\n"
    "F,A4,2026-03-12,09:00,flowing,,,T1\nF,A4,2026-03-13,09:00,static,3.90,9.30,T1\n",
}


@pytest.fixture(scope="module")
def network(tmp_path_factory):
    folder = tmp_path_factory.mktemp("conditions")
    with field_network(folder) as net:
        more = folder / "more"
        more.mkdir()
        for name, text in MORE.items():
            (more / f"{name}.csv").write_text(text, encoding="utf-8")
        net.load([more], by="Keeper", now_utc=LOADED + dt.timedelta(hours=1))
        yield net


@pytest.fixture(scope="module")
def found(network):
    with network.store.reading() as connection:
        table = conditions_of(Programme(Snapshot(connection).of_site(), DAY))
    return {kind: rows.to_dict("records") for kind, rows in table.groupby("kind", sort=False)}


def words(rows):
    return {row["well"]: describe_condition(row, lambda metres: f"{metres:.2f} m") for row in rows}


def test_each_condition_names_its_wells_and_what_it_rests_on(found):
    assert list(found) == list(KINDS)
    assert words(found[CONFINED]) == {"NEW": "measuring point 0.10 m below ground"}
    assert words(found[PRESSURE]) == {"A4": "last flowing on 2026-03-12"}
    assert words(found[PRODUCT]) == {"A4": "0.20 m thick when last met on 2023-11-12"}
    # A3 was sounded with the reading after its obstruction
    assert words(found[OBSTRUCTED]) == {"A2": "obstructed on 2026-02-12, read since on 2026-03-12"}
    # sounded at 9.30 + 0.10 m and 11.60 + 0.10 m below the point, which is 0.8 m above ground; built to 12 m
    assert words(found[SHORT]) == {
        "A4": "3.40 m short of the bottom as built on 2026-03-13",
        "A5": "1.10 m short of the bottom as built on 2025-11-12",
    }


def test_a_threshold_needs_a_year_of_levels_before_it(found):
    assert words(found[NO_BASELINE]) == {
        "A2": "low in force since 2019-06-01, levels begin on 2019-02-12",
        "A5": "low in force since 2026-01-01, levels begin on 2025-11-12",
    }


def test_surveys_and_checks_are_overdue_by_the_intervals_of_the_plan(found):
    late = words(found[OVERDUE_SURVEY])
    assert "NEW" not in late
    assert late["A3"] == "last surveyed on 2018-06-01"
    assert words(found[OVERDUE_CHECK]) == {"": "tape T2 last checked on 2024-11-01"}


def test_the_field_sheet_says_them_and_the_cautions_cover_them(network):
    network.rounds.plan("2026-Q2", starts_on=DAY, by="Keeper", now_utc=LOADED + dt.timedelta(days=1))
    with network.store.reading() as connection:
        wells = gather(Snapshot(connection).of_site(), "2026-Q2").wells.set_index("well")
    assert wells.loc["NEW", "hazards"] == "confined space: measuring point 0.10 m below ground"
    assert "artesian pressure: last flowing on 2026-03-12" in wells.loc["A4", "hazards"]
    assert "sound bottom (obstructed on 2026-02-12, read since on 2026-03-12)" in wells.loc["A2", "due"]
    assert "sound bottom again (3.40 m short" in wells.loc["A4", "due"]
    assert "threshold set before a baseline: low in force since 2026-01-01" in wells.loc["A5", "notes"]
    text = " ".join(CAUTIONS)
    assert all(word in text for word in ("permit", "gas test", "attendant", "Flowing", "Obstructed", "Contamination"))
