"""Effects of corrections: which levels moved between two states of the record, how far and why."""

import datetime as dt

import numpy as np
import pytest

from gwnet.analysis.review.effects import EFFECT_COLUMNS
from gwnet.errors import NotFoundError, SettingsError
from gwnet.network import Network
from gwnet.store.save.bulk import insert_columns

from .record import RECORDED_ON, Record

WATER = "depth_to_water"
FIRST = RECORDED_ON
SECOND = RECORDED_ON + dt.timedelta(days=1)
THIRD = RECORDED_ON + dt.timedelta(days=2)
PARTS = ["by_survey_m", "by_tape_m", "by_reading_m", "by_other_m"]


class Corrected:
    """Two wells; what is recorded first on Monday, what is corrected later."""

    def __init__(self, url):
        self.record = Record(url)
        self.record.tape("T1")
        for code in ("MW-1", "MW-2"):
            self.record.well(code, total_depth_m=30.0)
        self.point = self.record.point("MW-1", 101.0, height_above_ground_m=0.8)
        self.record.point("MW-2", 99.0, height_above_ground_m=0.5)
        self.events = [
            self.record.event("MW-1", "2024-03-12T09:40", [(WATER, 3.0)], instrument_id=self.record.instruments["T1"]),
            self.record.event("MW-1", "2024-06-12T09:40", [(WATER, 4.0)]),
            self.record.event("MW-2", "2024-03-12T10:40", [(WATER, 2.0)]),
        ]
        self.net = Network(url)

    def survey(self, elevation, when, reason="levelled again"):
        """Replace the survey of MW-1."""
        with self.record.act(when):
            self.record.retire("measuring_point", self.point)
            self.point = self.record.point(
                "MW-1", elevation, height_above_ground_m=0.8, recorded_by="Ben", reason=reason
            )

    def correct(self, event, depth, when, **columns):
        """Replace what was recorded of an event, or withdraw it where there is no depth."""
        with self.net.store.reading() as connection:
            query = f"SELECT id FROM level_record WHERE level_event_id = {event} AND retired_at_utc IS NULL"
            old = connection.exec_driver_sql(query).scalar_one()
        told = {"status": "static", "local_offset_minutes": 60, "reason": "misread", **columns}
        with self.record.act(when) as connection:
            self.record.retire("level_record", old)
            new = self.record.add("level_record", level_event_id=event, **told)
            if depth is not None:
                row = {"level_record_id": new, "quantity": WATER, "ordinal": 1, "value": depth}
                insert_columns(connection, "level_reading", {**row, "unit": "m", "written": "x"}, 1)

    def close(self):
        self.net.close()
        self.record.store.close()


@pytest.fixture
def corrected(store_url):
    made = Corrected(store_url)
    yield made
    made.close()


def test_nothing_moved_where_nothing_was_corrected(corrected):
    table = corrected.net.levels.effects()
    assert table.empty
    assert tuple(table.columns) == EFFECT_COLUMNS
    assert corrected.net.levels.effects(since=FIRST, until=SECOND).empty


@pytest.mark.slow
def test_a_survey_moves_every_level_that_rests_on_it(corrected):
    corrected.survey(100.88, SECOND)
    table = corrected.net.levels.effects(since=FIRST, until=SECOND)
    assert table["event_id"].tolist() == corrected.events[:2]
    assert table["water_elevation_before_m"].tolist() == pytest.approx([98.0, 97.0])
    assert table["water_elevation_after_m"].tolist() == pytest.approx([97.88, 96.88])
    assert table["difference_m"].tolist() == pytest.approx([-0.12, -0.12])
    assert table[PARTS].to_numpy() == pytest.approx(np.array([[-0.12, 0, 0, 0]] * 2))
    assert set(table["cause"]) == {"survey"}
    assert set(table["reason"]) == {"levelled again (Ben, 2026-04-07); corrected (Ben, 2026-04-07)"}
    newest = corrected.net.levels.effects()
    assert newest.equals(table)


def test_a_later_tape_check_moves_the_levels_read_with_that_tape(corrected):
    corrected.record.add(
        "tape_check",
        instrument_id=corrected.record.instruments["T1"],
        checked_on=dt.date(2024, 3, 1),
        tape_reading_m=3.0,
        reference_reading_m=3.004,
        recorded_at_utc=SECOND,
        recorded_by="Ben",
        reason="found in the drawer",
    )
    table = corrected.net.levels.effects(since=FIRST, until=SECOND)
    assert table["event_id"].tolist() == corrected.events[:1]
    assert table[PARTS].to_numpy() == pytest.approx(np.array([[0, -0.004, 0, 0]]))
    assert table[["cause", "reason"]].to_numpy().tolist() == [["tape check", "found in the drawer (Ben, 2026-04-07)"]]


def test_a_corrected_reading_and_a_survey_are_kept_apart(corrected):
    corrected.survey(100.88, SECOND)
    corrected.correct(corrected.events[0], 3.1, THIRD)
    table = corrected.net.levels.effects(["MW-1"], since=FIRST)
    row = table.iloc[0]
    assert row["difference_m"] == pytest.approx(-0.22)
    assert row[PARTS].tolist() == pytest.approx([-0.12, 0, -0.1, 0])
    assert row["cause"] == "survey; reading"
    assert "misread (Ana, 2026-04-08)" in row["reason"]
    assert table["difference_m"].iloc[1] == pytest.approx(-0.12)
    only = corrected.net.levels.effects(since=SECOND)
    assert only["event_id"].tolist() == corrected.events[:1]
    assert only["difference_m"].tolist() == pytest.approx([-0.1])


@pytest.mark.slow
def test_the_way_there_and_back_moves_nothing(corrected):
    corrected.survey(100.88, SECOND)
    corrected.survey(101.0, THIRD)
    assert corrected.net.levels.effects(since=FIRST).empty
    assert corrected.net.levels.effects(since=SECOND)["difference_m"].tolist() == pytest.approx([0.12, 0.12])


def test_a_level_that_became_dry_is_listed_with_its_bound(corrected):
    corrected.correct(corrected.events[2], None, SECOND, status="dry")
    table = corrected.net.levels.effects(since=FIRST)
    row = table.iloc[0]
    assert (row["status_before"], row["status_after"]) == ("static", "dry")
    assert (row["bound_before"], row["bound_after"]) == ("", "<=")
    assert row["water_elevation_after_m"] == pytest.approx(99.0 - 0.5 - 30.0)
    assert row["difference_m"] == pytest.approx(68.5 - 97.0)
    assert row["cause"] == "reading"


def test_a_withdrawn_level_is_listed_and_a_new_one_is_not(corrected):
    with corrected.net.store.reading() as connection:
        query = f"SELECT id FROM level_record WHERE level_event_id = {corrected.events[2]}"
        old = connection.exec_driver_sql(query).scalar_one()
    corrected.record.retire("level_record", old, SECOND)
    corrected.record.event("MW-2", "2024-09-12T10:40", [(WATER, 2.0)])
    table = corrected.net.levels.effects(since=FIRST)
    assert table["event_id"].tolist() == [corrected.events[2]]
    row = table.iloc[0]
    assert (row["status_after"], row["cause"], row["reason"]) == (
        "withdrawn",
        "withdrawn",
        "corrected (Ben, 2026-04-07)",
    )
    assert np.isnan(row["water_elevation_after_m"])
    assert np.isnan(row["difference_m"])


def test_a_new_ground_elevation_moves_the_levels_given_below_ground(store_url):
    record = Record(store_url)
    well = record.add("well", site_id=record.site_id, code="MW-1")
    record.wells["MW-1"] = well
    old = record.add("well_record", well_id=well, aquifer_id=record.aquifer_id, ground_elevation_m=50.0)
    record.event("MW-1", "2024-03-12T09:40", [("depth_below_ground", 2.0)])
    told = {"recorded_by": "Ben", "reason": "new ground survey"}
    with record.act(SECOND):
        record.retire("well_record", old)
        record.add("well_record", well_id=well, aquifer_id=record.aquifer_id, ground_elevation_m=50.3, **told)
    record.store.close()
    with Network(store_url) as net:
        table = net.levels.effects(since=FIRST)
    assert table[PARTS].to_numpy() == pytest.approx(np.array([[0, 0, 0, 0.3]]))
    assert table["cause"].tolist() == ["other"]
    assert "new ground survey (Ben, 2026-04-07)" in table["reason"].iloc[0]


def test_the_parts_add_up_to_the_difference(corrected):
    corrected.survey(100.5, SECOND)
    corrected.correct(corrected.events[0], 3.25, SECOND, instrument_id=None)
    corrected.record.check("T1", "2024-03-01", 3.0, 3.01)
    table = corrected.net.levels.effects(since=FIRST)
    assert table[PARTS].sum(axis=1).to_numpy() == pytest.approx(table["difference_m"].to_numpy())


def test_times_the_wrong_way_round_and_unknown_wells_are_refused(corrected):
    with pytest.raises(SettingsError, match="lies before"):
        corrected.net.levels.effects(since=SECOND, until=FIRST)
    with pytest.raises(NotFoundError, match="MW-9"):
        corrected.net.levels.effects(["MW-9"])
