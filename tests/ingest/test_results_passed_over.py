"""What gwnet works out and writes is known again by its headings, and nothing that can be loaded is taken for it."""

import pandas as pd
import pytest

import gwnet
from gwnet import network
from gwnet.analysis.levels.table import FILE_COLUMNS, PRINTED_COLUMNS
from gwnet.analysis.thresholds.record import CROSSING_COLUMNS, STATE_COLUMNS
from gwnet.ingest.tables.raw import RawSheet, is_result, without_retired
from gwnet.reporting.annex.files import CHANGE_COLUMNS, LEVEL_COLUMNS, THRESHOLD_LEVEL_COLUMNS
from gwnet.reporting.data import COLUMNS, CONTROL_COLUMNS
from gwnet.reporting.registry import frame_columns
from gwnet.store.contract import TABLES

RESULTS = {
    "levels": PRINTED_COLUMNS,
    "levels of an annex": LEVEL_COLUMNS,
    "levels of thresholds": THRESHOLD_LEVEL_COLUMNS,
    "states": STATE_COLUMNS,
    "crossings": CROSSING_COLUMNS,
    "map": CONTROL_COLUMNS,
    "findings": COLUMNS["findings"],
    "conditions": COLUMNS["conditions"],
    "corrections": COLUMNS["corrections"],
    "changed values": CHANGE_COLUMNS,
    **{name: frame_columns()[name] for name in ("trends", "seasons", "loggers")},
}


def sheet(headings, *rows, title="x"):
    return RawSheet("x.csv", title, list(headings), [list(row) for row in rows], [*range(2, 2 + len(rows))])


@pytest.mark.parametrize("name", RESULTS)
@pytest.mark.parametrize("unit", ["m", "ft"])
def test_what_is_worked_out_is_known_by_its_headings_in_either_unit(name, unit):
    headings = [
        f"{heading.removesuffix('_m')}_{unit}" if heading.endswith("_m") else heading for heading in RESULTS[name]
    ]
    assert is_result(sheet(headings)), headings


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)
def test_no_table_that_can_be_loaded_is_taken_for_a_result(table):
    assert not is_result(sheet(table.names, title=table.name))
    assert not is_result(sheet([column.frame_name for column in table.columns], title=table.name))


def test_the_sheet_about_others_is_none_of_them():
    assert is_result(sheet(["Report", "Quarterly"], title="about"))


def test_rows_that_were_retired_are_passed_over_and_counted():
    headings = ("site", "well", "valid_from_utc", "elevation_m", "retired_at_utc")
    history = sheet(
        headings, ("S", "A", "2018-01-15", "57.6", "2026-03-09T08:00:00Z"), ("S", "A", "2018-01-15", "57.3", "")
    )
    kept = without_retired(history)
    assert (kept.rows, kept.numbers) == ([["S", "A", "2018-01-15", "57.3", ""]], [3])
    assert kept.warnings == ["1 row that is no longer on record, as retired_at_utc says, was passed over"]
    assert without_retired(kept) is kept
    assert without_retired(sheet(("site",))).rows == []


@pytest.mark.slow
def test_levels_of_the_demo_come_back_into_its_record_and_an_empty_one(demo_record, demo_store, tmp_path):
    with gwnet.open(demo_record) as net:
        levels = net.levels(as_recorded=True)
        package = net.export("datapackage", tmp_path / "package")
    levels[list(FILE_COLUMNS)].to_csv(tmp_path / "levels.csv", index=False)
    (package / "data" / "level_events.csv").unlink()
    with gwnet.open(demo_store) as net:
        (result,) = net.load([tmp_path / "levels.csv"], by="A. Keeper").files
        assert (result.added, result.corrected, result.rejected) == (0, 0, 0)
        assert result.unchanged == (levels["level_from"] == "manual reading").sum() > 800
    network.init(tmp_path / "new.sqlite")
    with gwnet.open(tmp_path / "new.sqlite") as net:
        results = net.load([package, tmp_path / "levels.csv"], by="A. Keeper").files
        assert sum(file.rejected for file in results) == 0
        again = net.levels(as_recorded=True)
    by = ["site", "well", "measured_at_utc", "sounded_depth_m", "depth_to_water_m"]
    before, after = (
        table.sort_values(by, kind="stable", ignore_index=True).drop(columns="event_id") for table in (levels, again)
    )
    pd.testing.assert_frame_equal(after, before)
