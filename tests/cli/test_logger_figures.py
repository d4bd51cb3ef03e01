"""Loggers in levels, hydrographs, the chart of coverage and maps, on the command line; the demo network's record."""

import csv
import io

import pyogrio
import pytest

from gwnet.analysis.levels.table import FILE_COLUMNS

MAP = ("map", "--aquifer", "upper", "--date", "2026-02-17", "--window", "1")


def rows_of(ran):
    assert (ran.code, len(ran.err.splitlines())) == (0, 1), ran.err
    return list(csv.DictReader(io.StringIO(ran.out)))


def levels(run, record, *options):
    return rows_of(run("levels", "--db", record, "--well", "N1-U", "--from", "2025-11-01", "--format", "csv", *options))


@pytest.mark.slow
def test_levels_have_their_own_columns_until_loggers_are_asked_for(gwnet_here, demo_record):
    (reading, newest) = levels(gwnet_here, demo_record)
    assert tuple(reading) == FILE_COLUMNS
    with_loggers = levels(gwnet_here, demo_record, "--loggers", "round")
    assert tuple(with_loggers[0]) == FILE_COLUMNS
    assert (reading["aquifer"], reading["usable"], reading["unusable_reason"]) == ("upper", "true", "")
    assert [row["level_from"] for row in with_loggers] == ["manual reading", "logger", "logger", "manual reading"]
    assert [row["method"] for row in with_loggers] == ["electric tape", "logger", "logger", "electric tape"]
    assert [row for row in with_loggers if row["method"] != "logger"] == [reading, newest]
    logged = with_loggers[1]
    assert abs(float(logged["water_elevation_m"]) - float(reading["water_elevation_m"])) < 0.01
    assert (logged["status"], logged["quality"], logged["review"]) == ("static", "unchecked", "provisional")


def test_daily_levels(gwnet_here, demo_record):
    rows = levels(gwnet_here, demo_record, "--loggers", "daily", "--to", "2025-11-10")
    assert [row["measured_at"] for row in rows] == [f"2025-11-{day:02d}" for day in range(1, 11)]
    assert {row["method"] for row in rows} == {"logger"}


def test_levels_of_loggers_as_known_before_they_were_loaded(gwnet_here, demo_record):
    rows = levels(gwnet_here, demo_record, "--loggers", "round", "--known-on", "2026-03-02T08:30Z")
    assert {row["method"] for row in rows} == {"electric tape"}


@pytest.mark.slow
def test_a_hydrograph_shows_loggers_unless_asked_not_to(gwnet_here, demo_record, tmp_path):
    sizes = {}
    for option in ("--loggers", "--no-loggers"):
        ran = gwnet_here("hydrograph", "N1-U", "--out", f"h{option}.svg", option, "--db", demo_record)
        assert ran.code == 0
        sizes[option] = (tmp_path / f"h{option}.svg").stat().st_size
    assert sizes["--loggers"] > sizes["--no-loggers"] + 5_000


@pytest.mark.slow
@pytest.mark.parametrize("options", [(), ("--loggers-only",), ("--well", "W-03", "--from", "2024-01-01")])
def test_the_chart_of_coverage(gwnet_here, demo_record, tmp_path, options):
    ran = gwnet_here("logger", "coverage", "--out", "who.png", "--db", demo_record, *options)
    assert (ran.code, ran.out.strip()) == (0, "who.png")
    assert (tmp_path / "who.png").read_bytes().startswith(b"\x89PNG")


def test_the_chart_of_coverage_refuses_a_well_that_is_not_there(gwnet_here, demo_record, tmp_path):
    ran = gwnet_here("logger", "coverage", "--out", "who.png", "--well", "W-99", "--db", demo_record)
    assert ran.code == 1
    assert "W-99" in ran.err
    assert not (tmp_path / "who.png").exists()


@pytest.mark.slow
def test_a_map_uses_loggers_marks_them_and_leaves_them_out_when_asked(gwnet_here, demo_record, tmp_path):
    (row,) = rows_of_map(gwnet_here, demo_record, "with")
    assert (row["used"], row["by_logger"]) == ("17", "W-02, W-14")
    control = pyogrio.read_dataframe(tmp_path / "with" / "map.gpkg", layer="control").set_index("well")
    assert set(control.index[control["source"] == "logger"]) == {"W-02", "W-14"}
    assert set(control.index[control["source"] == "stage"]) == {"G-1", "G-2"}
    assert control.loc["W-02", "uncertainty_m"] > 0
    (row,) = rows_of_map(gwnet_here, demo_record, "without", "--no-loggers")
    assert (row["used"], row["by_logger"]) == ("15", "")
    assert "W-02: no access" in row["exclusions"]


def rows_of_map(run, record, folder, *options):
    ran = run(*MAP, "--out", folder, "--db", record, "--format", "csv", *options)
    assert ran.code == 0
    return list(csv.DictReader(io.StringIO(ran.out)))
