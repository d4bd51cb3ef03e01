"""Times of logger files that are written as the time elapsed since a start."""

import pytest

from gwnet.errors import FileRejectedError, LayoutError
from gwnet.ingest.loggers.layout import parse_layout

from .test_logger_rows import read

ABOVE = "Test of the meadow\nStarted: {start}\n\n"

LAYOUT = """
[text]
delimiter = ";"
decimal = ","
[table]
heading_pattern = "^Elapsed"
[time]
column = 1
formats = ["{form}"]
{start}
[[columns]]
quantity = "water column"
column = "Level"
unit = "m"
"""

PATTERN = 'start_pattern = \'Started: (.*)\'\nstart_formats = ["%d.%m.%Y %H:%M"]\nzone = "Europe/Vienna"'


def layout(form, start=PATTERN):
    return parse_layout(LAYOUT.format(form=form, start=start))


def content(cells, start="26.10.2025 01:30"):
    rows = "".join(f"{cell};1,{n}\n" for n, cell in enumerate(cells))
    return f"{ABOVE.format(start=start)}Elapsed;Level\n{rows}"


@pytest.mark.parametrize(
    ("form", "cells"),
    [
        ("elapsed s", "0 3600 7200 10800"),
        ("elapsed min", "0,0 60,0 120,0 180,0"),
        ("elapsed h", "0 1 2 3"),
        ("elapsed d", "0 0,0416666667 0,0833333333 0,125"),
        ("elapsed ms", "0 3600000 7200000 10800000"),
        ("elapsed H:M:S", "0:00:00 1:00:00 2:00:00 3:00:00"),
    ],
)
def test_elapsed_time_runs_on_over_the_hour_that_was_twice(path, form, cells):
    _, samples = read(path, content(cells.split()), layout(form))
    assert [time for time, _, _ in samples] == [
        f"2025-10-{day}" for day in ("25T23:30", "26T00:30", "26T01:30", "26T02:30")
    ]
    assert [values for _, values, _ in samples] == [(1.0,), (1.1,), (1.2,), (1.3,)]


def test_the_start_may_stand_in_the_layout_with_its_offset(path):
    file, samples = read(path, content(["60"]), layout("elapsed min", 'start = "2025-10-26T01:30+02:00"'))
    assert [time for time, _, _ in samples] == ["2025-10-26T00:30"]
    assert file.zone == "in each stamp"


@pytest.mark.parametrize(
    ("start", "message"),
    [
        ("", "counts from a start"),
        (f'{PATTERN}\nstart = "2025-01-01"', "exactly one way"),
        (PATTERN.replace("%d.%m.%Y ", ""), "start_formats must each name a day"),
    ],
)
def test_a_start_is_said_in_one_way(start, message):
    with pytest.raises(LayoutError, match=message):
        layout("elapsed s", start)
    with pytest.raises(LayoutError, match="has a start, and no format that counts from it"):
        layout("iso", PATTERN)


@pytest.mark.parametrize(
    ("start", "message"),
    [
        ("26.10.2025 02:30", "twice, or never was, in Europe/Vienna"),
        ("", "Nothing above the table matches"),
        ("tomorrow", "cannot be read: 'tomorrow' is not a time written"),
    ],
)
def test_a_start_that_cannot_be_known_refuses_the_file(path, start, message):
    with pytest.raises(LayoutError, match=message):
        read(path, content(["0"], start), layout("elapsed s"))


def test_without_a_zone_the_start_is_not_guessed(path):
    with pytest.raises(LayoutError, match="in which zone"):
        read(path, content(["0"]), layout("elapsed s", PATTERN.replace('zone = "Europe/Vienna"', "")))


def test_a_count_that_is_none_is_a_bad_row(path):
    file, _ = read(path, content(["0", "-5", "10"]), layout("elapsed s"))
    with pytest.raises(FileRejectedError, match="row 6: column 'Elapsed': '-5' is not a time written elapsed s"):
        file.require_good()
