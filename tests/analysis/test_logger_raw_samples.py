"""Stored samples of any quantity, as they are in the files, at the wells where they were measured."""

import numpy as np
import pytest

from gwnet.analysis.loggers.raw_samples import SAMPLE_COLUMNS, list_samples
from gwnet.errors import NotFoundError

from .test_logger_heads import Installed


@pytest.fixture
def made(tmp_path):
    made = Installed(tmp_path / "a.sqlite", count=48)
    made.record.well("V", point=(100.0, 0.5))
    made.loggers.install("L", "W", start="2024-01-01T06:00", end="2024-01-01T12:00", depth=12.0)
    made.loggers.install("L", "V", start="2024-01-01T12:00", depth=12.0)
    made.loggers.samples("L", "conductivity", "uS/cm", made.when, 500 + np.arange(48.0))
    made.loggers.samples("L", "battery", "V", made.when[:2], np.array([3.6, 3.5]))
    yield made
    made.record.store.close()


def test_samples_come_with_the_well_of_their_time_and_in_the_unit_of_the_files(made):
    with made.loggers.snapshot() as record:
        table = list_samples(record)
        assert list(table.columns) == list(SAMPLE_COLUMNS)
        assert table.groupby("quantity")["value"].count().to_dict() == {"battery": 2, "conductivity": 48}
        one = table[table["quantity"] == "conductivity"]
        assert one["well"].tolist() == [""] * 6 + ["W"] * 6 + ["V"] * 36
        assert (one["value"].iloc[0], one["unit"].iloc[0]) == (500.0, "uS/cm")
        mine = list_samples(record, ["W"], quantities=["conductivity"])
        assert mine["value"].tolist() == [506.0, 507, 508, 509, 510, 511]
        start, end = (mine["time_utc"].iloc[place].to_pydatetime() for place in (1, 3))
        assert len(list_samples(record, ["W"], instruments=["L"], start=start, end=end)) == 2
        assert list_samples(record, ["W"], quantities=["battery"]).empty
        for asked in ({"instruments": ["X"]}, {"quantities": ["depth to water"]}):
            with pytest.raises(NotFoundError, match="is on record"):
                list_samples(record, **asked)
