"""Headings that end in a unit, as exports and printed tables have them, are the columns that they name."""

import numpy as np
import pytest

from gwnet.errors import IngestError
from gwnet.ingest.tables.parse import parse
from gwnet.ingest.tables.raw import RawSheet, recognise

TODAY = np.datetime64("2026-04-07").item()


def sheet(headings, *rows, title="table"):
    return RawSheet(
        "file.csv", title, headings.split(","), [row.split(",") for row in rows], [*range(2, 2 + len(rows))]
    )


def test_the_unit_at_the_end_of_a_heading_is_that_of_its_lengths():
    table = recognise(
        sheet("site,well,ground_elevation_m,total_depth_ft,easting,northing,longitude,latitude", title="wells")
    )
    assert table.units == {"ground_elevation": "m", "total_depth": "ft"}
    assert table.heading("ground_elevation") == "ground_elevation_m"
    assert table.warnings == []
    assert recognise(sheet("site,well,part,top_depth_m,bottom_depth_m,diameter_mm")).table.name == "construction"


def test_a_heading_that_ends_in_utc_gives_times_in_utc():
    raw = recognise(
        sheet("instrument,site,installed_at_utc", "L,S,2024-03-01T23:00", "L,S,2024-03-05", title="deployments")
    )
    moments = parse(raw, TODAY).values["installed_at"]
    assert moments.offset.tolist() == [0.0, 0.0]
    assert moments.has_time.tolist() == [True, True]
    kept = recognise(sheet("instrument,site,installed_at", "L,S,2024-03-01T23:00", title="deployments"))
    assert np.isnan(parse(kept, TODAY).values["installed_at"].offset).all()


def test_columns_that_are_worked_out_are_passed_over_and_listed_by_name():
    headings = "site,well,measured_at,measured_at_utc,depth_to_water_ft,uncertainty_ft,review,usable,odd"
    table = recognise(sheet(headings, title="level_events"))
    assert table.warnings == [
        "column 'odd' is not known and was passed over",
        "columns that gwnet works out were passed over: measured_at_utc, uncertainty_ft, review, usable",
    ]
    assert table.units == {"depth_to_water": "ft"}


def test_a_column_that_stands_there_with_and_without_its_unit_counts_once():
    table = recognise(sheet("site,well,elevation,elevation_m,valid_from", title="measuring_points"))
    assert table.units == {}
    assert any("'elevation_m' is not known" in warning for warning in table.warnings)
    with pytest.raises(IngestError, match="occurs twice"):
        recognise(sheet("site,well,elevation_ft,elevation_m,valid_from", title="measuring_points"))
