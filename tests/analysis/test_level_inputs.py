"""What the reduction is given and how its numbers are shown; constructed, each answer worked out by hand."""

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.levels.display_unit import in_unit
from gwnet.analysis.levels.inputs import gather, local_times
from gwnet.analysis.levels.reduce import FINDINGS, reduce_levels, take_values
from gwnet.errors import SettingsError
from gwnet.records import Selection
from gwnet.store.snapshot import Snapshot

from .record import Record


@pytest.fixture
def record(tmp_path):
    """Give a well that was read twice in one visit, in feet and in metres."""
    made = Record(tmp_path / "record.sqlite")
    made.well("A", point=(100.0, 0.5))
    made.event("A", "2024-02-15T23:30", [("depth_to_water", 10.0, "ft"), ("depth_to_water", 3.05)])
    return made


def test_readings_become_metres_and_times_local(record):
    with record.store.reading() as connection:
        inputs = gather(Snapshot(connection))
        assert gather(Snapshot(connection), Selection(wells=["B"])).records.empty
    assert inputs.depth_to_water_m[0].tolist() == pytest.approx([3.048, 3.05, np.nan], nan_ok=True)
    assert str(local_times(inputs.records)[0]) == "2024-02-16T00:30:00.000000"
    assert inputs.of_well("screen_bottom_m").tolist() == pytest.approx([np.nan], nan_ok=True)


def test_a_selection_of_everything_is_gathered_once(record):
    with record.store.reading() as connection:
        snapshot = Snapshot(connection)
        assert gather(snapshot, Selection()) is gather(snapshot)
        assert gather(snapshot, Selection(wells=["A"])) is not gather(snapshot)


def test_the_reduction_answers_every_finding_that_it_documents(record):
    with record.store.reading() as connection:
        reduced = reduce_levels(gather(Snapshot(connection)))
    assert set(reduced.findings) == set(FINDINGS)
    assert reduced.water_elevation_m[0] == pytest.approx(100.0 - (3.048 + 3.05) / 2)


def test_values_at_no_place_are_unknown():
    assert take_values(np.array([1.0, 2.0]), np.array([1, -1, 0])).tolist() == pytest.approx(
        [2.0, np.nan, 1.0], nan_ok=True
    )


def test_lengths_slopes_and_velocities_are_shown_in_feet():
    table = pd.DataFrame({"well": ["A"], "level_m": [3.048], "slope_m_per_year": [0.3048], "n": [4]})
    assert in_unit(table, "m") is table
    shown = in_unit(table, "ft")
    assert shown.columns.tolist() == ["well", "level_ft", "slope_ft_per_year", "n"]
    assert shown.iloc[0].tolist() == ["A", pytest.approx(10.0), pytest.approx(1.0), 4]
    with pytest.raises(SettingsError, match="in m or ft, not in 'yd'"):
        in_unit(table, "yd")
