"""Which round a level belongs to, and the days that stand for rounds; constructed."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.levels.proposed_rounds import (
    choose_rounds,
    is_proposed,
    levels_by_round,
    propose_days,
    rounds_in_use,
)
from gwnet.analysis.levels.rounds import assign_rounds
from gwnet.analysis.levels.table import levels
from gwnet.analysis.maps.round_gradients import days_of_rounds
from gwnet.errors import NotFoundError
from gwnet.records import Selection
from gwnet.store.snapshot import Snapshot

from .record import Record


def rounds(*rows):
    """Return rounds as (code, first day, last day, wells)."""
    columns = ["round", "starts_on", "ends_on", "wells"]
    days = [
        (code, dt.date.fromisoformat(first), last and dt.date.fromisoformat(last), wells)
        for code, first, last, wells in rows
    ]
    return pd.DataFrame(days, columns=columns).assign(site="S")


def assigned(rows, of):
    frame = pd.DataFrame(rows, columns=["well", "day", "round"]).assign(site="S")
    return assign_rounds(frame, frame["day"].to_numpy(dtype="datetime64[D]"), of).tolist()


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        (("A", "2026-01-05", "R2"), "R2"),  # the code goes before the day
        (("A", "2026-01-04", ""), ""),
        (("A", "2026-01-05", ""), "R1"),
        (("A", "2026-01-07", ""), "R1"),
        (("A", "2026-01-08", ""), ""),
        (("A", "2026-02-01", ""), "R2"),
        (("C", "2026-02-01", ""), ""),  # a well that the round does not have
        (("A", "2026-02-02", ""), "R3"),  # of two rounds the one that starts last
        (("A", "2026-02-03", ""), ""),  # a round without a last day lasts one day
    ],
)
def test_a_level_belongs_to_a_round_by_its_code_or_by_day_and_well(row, expected):
    of = rounds(
        ("R1", "2026-01-05", "2026-01-07", []),
        ("R3", "2026-02-02", None, None),
        ("R2", "2026-02-01", "2026-02-02", ["A", "B"]),
    )
    assert assigned([row], of) == [expected]


def test_rounds_of_another_site_have_no_levels_here():
    of = rounds(("R1", "2026-01-05", None, [])).assign(site="T")
    assert assigned([("A", "2026-01-05", "")], of) == [""]


@pytest.fixture
def record(tmp_path):
    """Give a record of four wells: two days of one quarter, and one of the next."""
    made = Record(tmp_path / "record.sqlite")
    for number, well in enumerate("ABCD"):
        made.well(well, point=(100.0 + number, 0.5), easting=100.0 * number, northing=50.0 * (number % 2))
    for day, wells in {"2025-11-03": "AB", "2025-11-04": "ABCD", "2025-12-20": "ABC", "2026-02-01": "ABC"}.items():
        for well in wells:
            made.event(well, f"{day}T10:00", [("depth_to_water", 2.0)])
    return made


def seen(record, look):
    with record.store.reading() as connection:
        return look(Snapshot(connection).of_site())


@pytest.mark.slow
def test_the_day_of_each_quarter_on_which_most_wells_were_read_is_proposed(record):
    days = [(dt.date(2025, 11, 4), 4), (dt.date(2026, 2, 1), 3)]
    assert seen(record, propose_days) == days
    december = seen(record, lambda snapshot: propose_days(snapshot, dt.date(2025, 12, 1), dt.date(2025, 12, 31)))
    assert december == [(dt.date(2025, 12, 20), 3)]
    few = seen(record, lambda snapshot: propose_days(snapshot, dt.date(2025, 11, 1), dt.date(2025, 11, 3)))
    assert few == [(dt.date(2025, 11, 3), 2)]


def test_a_record_without_rounds_has_the_proposed_days_for_rounds(record):
    table = seen(record, rounds_in_use)
    assert table["round"].tolist() == ["2025-11-04", "2026-02-01"]
    assert table["purpose"].iloc[0] == "day on which most wells were read (4 wells)"
    assert table["purpose"].map(is_proposed).all()
    by_round = seen(record, levels_by_round)
    assert by_round.groupby("round").size().to_dict() == {"": 5, "2025-11-04": 4, "2026-02-01": 3}
    assert (seen(record, levels)["round"] == "").all()
    assert seen(record, lambda snapshot: days_of_rounds(snapshot, "upper")) == [
        ("2025-11-04", dt.date(2025, 11, 4)),
        ("2026-02-01", dt.date(2026, 2, 1)),
    ]


def test_a_report_takes_the_days_that_it_names_and_refuses_days_without_levels(record):
    span = (dt.date(2025, 10, 1), dt.date(2025, 12, 31))
    chosen = seen(record, lambda snapshot: choose_rounds(snapshot, *span, [dt.date(2025, 12, 20)]))
    assert chosen["purpose"].tolist() == ["day named for the report (3 wells)"]
    with pytest.raises(NotFoundError, match="2025-12-21") as caught:
        seen(record, lambda snapshot: choose_rounds(snapshot, *span, [dt.date(2025, 12, 21)]))
    assert "2025-11-04 (4 wells)" in caught.value.fix
    monthly = seen(record, lambda snapshot: choose_rounds(snapshot, dt.date(2025, 12, 1), dt.date(2025, 12, 31)))
    assert monthly["round"].tolist() == ["2025-11-04", "2025-12-20", "2026-02-01"]


def test_levels_without_a_code_join_their_round_everywhere(record):
    number = record.add("gauging_round", site_id=record.site_id, code="Q4")
    days = {"starts_on": dt.date(2025, 11, 1), "ends_on": dt.date(2025, 11, 30)}
    record.add("round_record", gauging_round_id=number, wells="[]", **days)
    assert seen(record, levels)["round"].value_counts().to_dict() == {"Q4": 6, "": 6}
    chosen = seen(record, lambda snapshot: levels(snapshot, Selection(round="Q4")))
    assert len(chosen) == 6
    assert seen(record, lambda snapshot: days_of_rounds(snapshot, "upper")) == [("Q4", dt.date(2025, 11, 4))]
    later = seen(record, lambda snapshot: choose_rounds(snapshot, dt.date(2026, 1, 1), dt.date(2026, 3, 31)))
    assert later["round"].tolist() == ["Q4", "2026-02-01"]
    assert np.array_equal(later["purpose"].map(is_proposed), [False, True])


def test_a_day_that_a_report_names_is_mapped_though_more_wells_were_read_within_its_window(record, monkeypatch):
    span = (dt.date(2025, 11, 1), dt.date(2025, 12, 31))

    def look(snapshot):
        settings = snapshot.settings.copy()
        settings["same_day_window_days"] = 7
        monkeypatch.setattr(Snapshot, "settings", settings)
        choose_rounds(snapshot, *span, [dt.date(2025, 11, 3)])
        return days_of_rounds(snapshot, "upper")

    assert seen(record, look) == [("2025-11-03", dt.date(2025, 11, 3))]
