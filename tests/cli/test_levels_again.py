"""What ``gwnet levels --format csv`` prints loads as the readings that it was worked out from."""

import csv
import io

import pandas as pd
import pytest

import gwnet
from gwnet import network
from gwnet.analysis.levels.table import PRINTED_COLUMNS
from gwnet.errors import FileRejectedError, IngestError

FILES = {
    "sites": "site,crs,vertical_datum,length_unit,time_zone\nF,EPSG:25832,local,ft,Europe/Berlin\n",
    "wells": "site,well,easting,northing,ground_elevation\nF,A,371000,6051000,310.5\nF,B,371100,6051000,310.5\n",
    "measuring_points": "site,well,valid_from,elevation\nF,A,2019-05-02,312.25\nF,B,2019-05-02,312.5\n",
    "instruments": "instrument,kind,length_unit\nT,steel tape,ft\n",
    "tape_checks": "instrument,checked_on,tape_reading,reference_reading\nT,2024-01-02,100,100.12\n",
    "rounds": "site,round,starts_on,ends_on\nF,2024-Q3,2024-07-01,2024-07-05\n",
}
EVENTS = (
    "site,well,measured_at,round,status,depth_to_water,depth_to_water_2,tape_at_mark [m],tape_at_water [m],"
    "water_elevation [ftUS],sounded_depth,accuracy [m],instrument,access,event,quality,notes\n"
    "F,A,2024-07-01T10:00:30,,static,12.34,12.3512345678,,,,60.5,0.01,T,main,,good,=wet\n"
    "F,A,2024-07-01T10:00:30,,static,12.34,,,,,,,T,main,7,,-0.3 below the mark\n"
    "F,A,2024-07-02,2024-Q3,dry,,,,,,45.25,,,,,,\n"
    "F,B,2024-10-27T02:30+01:00,,static,,,5.123456789,1.2,,,,,,,suspect,'=typed so\n"
    "F,B,2024-08-01,,flowing,,,,,313.7,,,,,,,\n"
)


@pytest.fixture(scope="module")
def record(tmp_path_factory):
    """A record in feet, with readings in three units, repeats, seconds, dates without a time and a summer's end."""
    folder = tmp_path_factory.mktemp("levels")
    for name, text in {**FILES, "level_events": EVENTS}.items():
        (folder / f"{name}.csv").write_text(text)
    for name in ("full", "empty"):
        network.init(folder / f"{name}.sqlite")
    with gwnet.open(folder / "full.sqlite") as net:
        result = net.load([folder / f"{name}.csv" for name in (*FILES, "level_events")], by="A")
        assert sum(file.rejected for file in result.files) == 0
    with gwnet.open(folder / "empty.sqlite") as net:
        net.load([folder / f"{name}.csv" for name in FILES], by="A")
    return folder


@pytest.mark.parametrize("unit", ["m", "ft"])
def test_levels_come_back_into_their_record_and_an_empty_one(unit, record, gwnet_here, tmp_path):
    printed = gwnet_here("levels", "--db", record / "full.sqlite", "--format", "csv", "--unit", unit)
    (tmp_path / "levels.csv").write_text(printed.out)
    rows = list(csv.DictReader(io.StringIO(printed.out)))
    assert {row["notes"] for row in rows} == {"", "'=wet", "'-0.3 below the mark", "'=typed so"}
    with gwnet.open(record / "full.sqlite") as net:
        (result,) = net.load([tmp_path / "levels.csv"], by="A").files
        assert (result.added, result.unchanged, result.corrected, result.rejected) == (0, 5, 0, 0)
        levels = net.levels(as_recorded=True)
    copy = tmp_path / "copy.sqlite"
    copy.write_bytes((record / "empty.sqlite").read_bytes())
    with gwnet.open(copy) as net:
        (result,) = net.load([tmp_path / "levels.csv"], by="A").files
        assert (result.table, result.added, result.rejected) == ("level_events", 5, 0)
        again = net.levels(as_recorded=True)
    key = ["well", "measured_at_utc", "event"]
    pd.testing.assert_frame_equal(
        *(table.drop(columns="event_id").sort_values(key, ignore_index=True) for table in (again, levels))
    )


def test_a_reading_that_differs_is_refused(record, gwnet_here, tmp_path):
    printed = gwnet_here("levels", "--db", record / "full.sqlite", "--format", "csv").out
    (tmp_path / "levels.csv").write_text(printed.replace("12.3512345678", "12.36"))
    with gwnet.open(record / "full.sqlite") as net, pytest.raises(FileRejectedError) as caught:
        net.load([tmp_path / "levels.csv"], by="A")
    (problem,) = caught.value.rejections
    assert problem.problem == "already-recorded"
    assert "depth to water 2: 12.3512 on record, 12.36 here" in problem.message


def test_levels_beside_their_readings_are_passed_over(record, tmp_path):
    with gwnet.open(record / "full.sqlite") as net:
        net.levels()[list(PRINTED_COLUMNS)].to_csv(tmp_path / "levels.csv", index=False)
        with pytest.raises(IngestError, match="corrected depths are no readings"):
            net.load([tmp_path / "levels.csv"], by="A")
        (tmp_path / "level_events.csv").write_text(EVENTS + "\n")
        results = net.load([tmp_path], by="A").files
        assert {(file.file, file.note) for file in results if file.note} == {
            ("levels.csv", "worked out by gwnet and not read in the field; passed over")
        }
        results = net.load([tmp_path], by="A").files  # the readings are on record by now
        assert sum(file.added for file in results) == 0
