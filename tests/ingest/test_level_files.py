"""Files of reduced levels load as the readings that were recorded; corrected depths are never taken for readings."""

import numpy as np
import pytest

from gwnet.analysis.levels.table import FILE_COLUMNS, PRINTED_COLUMNS
from gwnet.errors import IngestError
from gwnet.ingest.tables.level_files import has_readings, is_level_file, recognise_levels, require_readings
from gwnet.ingest.tables.parse import parse
from gwnet.ingest.tables.problems import PROBLEMS
from gwnet.ingest.tables.raw import RawSheet
from gwnet.store.contract import TABLES

ROW = {
    "site": "S",
    "well": "A",
    "measured_at": "2024-07-01T10:00+02:00",
    "status": "static",
    "depth_to_water_m": "3.8",
    "level_from": "manual reading",
    "unit_as_recorded": "ft",
    "depth_to_water_as_recorded": "12.34",
    "access": "main",
}


def sheet(*rows, columns=FILE_COLUMNS, unit="m"):
    headings = [f"{name.removesuffix('_m')}_{unit}" if name.endswith("_m") else name for name in columns]
    cells = [[{**ROW, **row}.get(name, "") for name in columns] for row in rows]
    return RawSheet("levels.csv", "levels", headings, cells, [*range(2, 2 + len(rows))])


@pytest.mark.parametrize("unit", ["m", "ft"])
def test_what_was_recorded_is_taken_and_the_rest_is_listed(unit):
    raw = recognise_levels(sheet({}, unit=unit))
    assert raw.table.name == "level_events"
    assert raw.cells("depth_to_water") == ["12.34"]
    assert raw.heading("depth_to_water") == "depth_to_water_as_recorded"
    (warning,) = raw.warnings
    assert warning.startswith("columns that gwnet works out were passed over: round, bound, depth_to_water_")
    named = warning.partition(": ")[2].split(", ")
    assert {f"water_elevation_{unit}", f"uncertainty_{unit}", "review", "aquifer", "usable"} <= set(named)
    assert not {"well", "status", "notes", "level_from"} & set(named)
    parsed = parse(raw, np.datetime64("2026-04-07").item())
    assert parsed.values["depth_to_water"].tolist() == [12.34]
    assert parsed.kept_units["depth_to_water"].tolist() == ["ft"]


def test_each_length_of_a_row_may_have_its_unit():
    raw = recognise_levels(sheet({"unit_as_recorded": "depth_to_water=ft;accuracy=m"}, {"unit_as_recorded": ""}))
    assert raw.row_units["depth_to_water"] == ["ft", "m"]
    assert raw.row_units["accuracy"] == ["m", "m"]


@pytest.mark.parametrize(
    ("cells", "words"),
    [
        ({"unit_as_recorded": "furlong"}, "unit_as_recorded is 'furlong', which is no unit of length"),
        ({"unit_as_recorded": ""}, "unit_as_recorded does not say the unit of depth_to_water_as_recorded"),
        ({"unit_as_recorded": "accuracy=ft"}, "unit_as_recorded does not say the unit of depth_to_water_as_recorded"),
        ({"level_from": "guess"}, "level_from is not 'guess' but manual reading, logger or pumping test"),
    ],
)
def test_a_row_of_an_unknown_unit_or_origin_is_refused(cells, words):
    parsed = parse(recognise_levels(sheet({}, cells)), np.datetime64("2026-04-07").item())
    assert [(problem.row, problem.table) for problem in parsed.rejections] == [(3, "level_events")]
    assert words in parsed.rejections[0].message
    assert parsed.rejections[0].problem in PROBLEMS
    assert parsed.good.tolist() == [True, False]


def test_levels_of_loggers_and_tests_never_become_manual_readings():
    raw = recognise_levels(
        sheet({"level_from": "logger"}, {}, {"level_from": "pumping test"}, {"level_from": "logger"})
    )
    assert raw.sheet.numbers == [3]
    assert raw.warnings[:2] == [
        "2 rows passed over: levels of loggers are loaded from the files of the loggers (gwnet logger load)",
        "1 row passed over: readings of pumping tests are loaded from the table pumping_readings",
    ]


def test_levels_without_their_readings_are_refused_with_what_to_use():
    old = sheet({}, columns=PRINTED_COLUMNS)
    assert is_level_file(old)
    assert not has_readings(old)
    assert has_readings(sheet({}))
    with pytest.raises(
        IngestError, match=r"missing: level_from, unit_as_recorded, round_as_recorded, .* and \d+ more"
    ) as caught:
        require_readings(old)
    assert "gwnet levels --format csv" in caught.value.fix
    one_short = sheet({}, columns=[name for name in FILE_COLUMNS if name != "chosen_reading"])
    with pytest.raises(IngestError, match="missing: chosen_reading"):
        recognise_levels(one_short)


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)
def test_no_other_table_is_taken_for_levels(table):
    assert not is_level_file(RawSheet("x.csv", table.name, list(table.names), [], []))
