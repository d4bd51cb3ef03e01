"""From which measuring point a reading that does not fit may have been read; constructed records."""

import numpy as np
import pytest

from gwnet.analysis.checks.quality import findings
from gwnet.store.snapshot import Snapshot

from .record import Record

WRONG = 13


@pytest.fixture
def record(tmp_path):
    """Give a well with two tubes whose tops lie 0.4 m apart, of which the second was renewed 0.9 m higher."""
    made = Record(tmp_path / "record.sqlite")
    made.well("A")
    made.point("A", 100.0, "2000-01-01", "2019-01-01", height_above_ground_m=0.5)
    made.point("A", 100.9, "2019-01-01", height_above_ground_m=1.4)
    made.point("A", 101.3, "2000-01-01", "2019-01-01", height_above_ground_m=1.8, access="tube 2")
    made.point("A", 101.3, "2019-01-01", height_above_ground_m=1.8, access="tube 2")
    made.point("A", 106.0, "2000-01-01", "2010-01-01", height_above_ground_m=6.5, access="old tube")
    yield made
    made.store.close()


def messages(record, off_m, wrong=WRONG):
    """Return the findings at a level that was read so far off, of 24 levels of 2018 to 2023."""
    level = 95.0 + np.random.default_rng(4).normal(0.0, 0.01, 24)
    events = []
    for number in range(24):
        point = 100.0 if number < 4 else 100.9
        depth = round(point - level[number] + (off_m if number == wrong else 0.0), 3)
        when = f"{2018 + number // 4}-{2 + 3 * (number % 4):02d}-15T10:00"
        events.append(record.event("A", when, [("depth_to_water", depth)]))
    with record.store.reading() as connection:
        found = findings(Snapshot(connection))
    return " ".join(found.loc[found["event_id"] == events[wrong], "message"])


def test_from_the_other_access_of_that_time(record):
    assert "it may have been read from another access of the well" in messages(record, 0.4)


def test_from_no_access_that_was_closed_before(record):
    assert "another access" not in messages(record, 5.1)


def test_from_the_measuring_point_before_and_after(record):
    assert "from the measuring point before that one" in messages(record, -0.9)


def test_from_the_measuring_point_after(record):
    assert "from the measuring point after that one" in messages(record, 0.9, wrong=2)


def test_an_amount_of_ten_units_is_a_slip(tmp_path):
    """As 1 and 0.1 are: a digit of the tens that is one off."""
    made = Record(tmp_path / "tens.sqlite")
    made.well("A", point=(100.0, 0.5))
    level = 75.0 + np.random.default_rng(4).normal(0.0, 0.02, 24)
    events = [
        made.event(
            "A",
            f"{2018 + n // 4}-{2 + 3 * (n % 4):02d}-15T10:00",
            [("depth_to_water", round(100.0 - level[n] + 10.0 * (n == WRONG), 3))],
        )
        for n in range(24)
    ]
    with made.store.reading() as connection:
        found = findings(Snapshot(connection)).set_index("event_id")
    assert "it would fit 10 m higher" in found.loc[events[WRONG], "message"]
    made.store.close()
