"""Clocks of instruments that are put forward and back elsewhere than the rule of their zone says."""

import datetime as dt

import numpy as np
import pytest

from gwnet.errors import FileRejectedError
from gwnet.ingest.loggers.clock_changes import Change, changes_between, is_near_a_change, settle_around

from .test_logger_rows import layout, read

HOUR = 3_600_000
DENVER = "America/Denver"
#: The clocks of that zone went back at 8:00 UTC, from 2:00 to 1:00.
AUTUMN = dt.datetime(2024, 11, 3, 9, 0, tzinfo=dt.UTC)
SPRING = dt.datetime(2024, 3, 10, 10, 0, tzinfo=dt.UTC)


def rows(change, *, minutes=15, forward=False, hours=(-30, 30), lacking=()):
    """Return UTC, local time and number of the rows of an instrument whose clock is changed an hour late."""
    count = int((hours[1] - hours[0]) * 60 / minutes)
    utc = [change + dt.timedelta(hours=hours[0], minutes=minutes * n) for n in range(count)]
    winter, summer = dt.timedelta(hours=-7), dt.timedelta(hours=-6)
    before, after = (winter, summer) if forward else (summer, winter)
    local = [moment + (before if moment < change else after) for moment in utc]
    return [row for n, row in enumerate(zip(utc, local, range(count), strict=True)) if n not in lacking]


def content(table, heading, cells):
    lines = [f"{local:%Y-%m-%d %H:%M},{n / 100:.2f}{cells(n)}" for _, local, n in table]
    return "\n".join([f"time,level{heading}", *lines, ""])


def stored(file_path, text):
    file, samples = read(file_path, text, layout(zone=DENVER))
    file.require_good()
    return file, [time for time, _, _ in samples]


def expected(table):
    return [f"{utc:%Y-%m-%dT%H:%M}" for utc, _, _ in table]


def test_a_clock_that_repeats_another_hour_than_its_zone_is_settled_by_the_steady_interval(path):
    table = rows(AUTUMN)
    file, times = stored(path, content(table, "", lambda n: ""))
    assert times == expected(table)
    assert not file.odd()
    note = file.notes()[-1]
    assert "the clock of the instrument was changed after 2024-11-03 02:45:00" in note
    assert "steady interval" in note


@pytest.mark.parametrize("heading", ["Elapsed (s)", "#", "Record"])
@pytest.mark.parametrize("lacking", [(), tuple(range(118, 124))])
def test_elapsed_seconds_and_record_numbers_settle_the_hour(path, heading, lacking):
    table = rows(AUTUMN, lacking=lacking)
    numbers = {n: place for place, (_, _, n) in enumerate(table)}
    cells = (lambda n: f",{n * 900}") if heading.startswith("Elapsed") else (lambda n: f",{numbers[n]}")
    text = content(table, f",{heading}", cells)
    if not lacking or heading.startswith("Elapsed"):
        file, times = stored(path, text)
        assert times == expected(table)
        assert repr(heading) in file.notes()[-1]
        return
    # record numbers do not say how long it was that nothing was recorded
    with pytest.raises(FileRejectedError, match="nothing tells which of the two") as why:
        stored(path, text)
    assert "--repeated-hour" in why.value.fix


def test_a_clock_put_forward_an_hour_late_refuses_no_row(path):
    table = rows(SPRING, forward=True)
    assert stored(path, content(table, "", lambda n: ""))[1] == expected(table)


def test_rows_sorted_by_local_time_come_back_into_their_order_by_their_number(path):
    table = sorted(rows(AUTUMN - dt.timedelta(hours=1)), key=lambda row: (row[1], row[2]))
    times = stored(path, content(table, ",Elapsed (s)", lambda n: f",{900 * n}"))[1]
    assert times == expected(table)


def test_elapsed_time_shows_that_one_of_the_two_hours_was_not_recorded(path):
    # the first of the two hours is lacking, so that no row turns back
    table = rows(AUTUMN - dt.timedelta(hours=1), lacking=range(116, 120))
    assert stored(path, content(table, ",Elapsed (s)", lambda n: f",{900 * n}"))[1] == expected(table)
    with pytest.raises(FileRejectedError, match="4 rows cannot be read") as why:
        stored(path, content(table, "", lambda n: ""))
    assert "keeps one offset all year" in why.value.fix


@pytest.mark.parametrize("falling", [False, True])
def test_blocks_that_end_anywhere_and_newest_rows_first_give_the_same(path, monkeypatch, falling):
    monkeypatch.setattr("gwnet.ingest.loggers.rows._BLOCK_ROWS", 7)
    table = rows(AUTUMN, hours=(-200, 200))[:: -1 if falling else 1]
    assert stored(path, content(table, "", lambda n: ""))[1] == expected(table)


def test_a_daily_clock_shows_the_change_by_its_step_of_23_hours(path):
    table = rows(dt.datetime(2024, 11, 3, 8, 0, tzinfo=dt.UTC), minutes=1440, hours=(-96.5, 96.5))
    assert stored(path, content(table, "", lambda n: ""))[1] == expected(table)


def test_the_changes_of_a_zone_and_what_lies_near_them():
    first, last = (round(dt.datetime(year, 1, 1, tzinfo=dt.UTC).timestamp() * 1000) for year in (2024, 2025))
    spring, autumn = changes_between(DENVER, first, last)
    assert (spring.shift_ms, autumn.shift_ms) == (HOUR, -HOUR)
    assert dt.datetime.fromtimestamp(autumn.moment_ms / 1000, dt.UTC) == dt.datetime(2024, 11, 3, 8, tzinfo=dt.UTC)
    assert is_near_a_change(DENVER, autumn.moment_ms)
    assert not is_near_a_change(DENVER, autumn.moment_ms + 200 * HOUR)


def test_rows_that_show_two_places_are_left_to_the_rule_of_the_zone():
    change = Change(0, 0, -HOUR)
    local = np.array([-2, -1, 0, -1 + 1, 1, 0 + 1, 2, 3], dtype=np.int64) * HOUR
    doubtful = np.ones(local.shape, dtype=bool)
    assert settle_around(change, local, local, doubtful, None) is None
