"""Levels with what was recorded of them: values in the unit in which they were read, loggers and tests named."""

import pandas as pd
import pytest

import gwnet
from gwnet import network
from gwnet.analysis.levels.as_recorded import add_recorded
from gwnet.analysis.levels.table import levels
from gwnet.store.as_recorded import HEADINGS
from gwnet.store.snapshot import Snapshot

FILES = {
    "sites": "site,crs,vertical_datum,length_unit,time_zone\nF,EPSG:25832,local,ft,Europe/Berlin\n",
    "wells": "site,well,easting,northing,ground_elevation\nF,A,371000,6051000,310.5\n",
    "measuring_points": "site,well,valid_from,elevation\nF,A,2019-05-02,312.25\n",
    "level_events": (
        "site,well,measured_at,depth_to_water,depth_to_water_2,accuracy [m]\n"
        "F,A,2024-07-01T10:00,12.34,12.35,0.01\n"
        "F,A,2024-07-02,12.3,,\n"
    ),
}


@pytest.fixture(scope="module")
def record(tmp_path_factory):
    folder = tmp_path_factory.mktemp("feet")
    for name, text in FILES.items():
        (folder / f"{name}.csv").write_text(text)
    network.init(folder / "feet.sqlite")
    with gwnet.open(folder / "feet.sqlite") as net:
        net.load([folder / f"{name}.csv" for name in FILES], by="A")
        with net._store.reading() as connection:
            yield Snapshot(connection)


def test_readings_are_in_the_unit_in_which_they_were_read(record):
    table = add_recorded(record, levels(record))
    assert table["depth_to_water_as_recorded"].tolist() == [12.34, 12.3]
    assert table["depth_to_water_2_as_recorded"].tolist()[0] == 12.35
    assert table["accuracy_as_recorded"].tolist()[0] == 0.01
    assert pd.isna(table["accuracy_as_recorded"][1])
    # lengths of the first row are in two units
    pairs = [set(unit.split(";")) for unit in table["unit_as_recorded"]]
    assert pairs == [{"depth_to_water=ft", "depth_to_water_2=ft", "accuracy=m"}, {"ft"}]
    # quality unchecked is worked out, none was recorded
    assert (table["quality"][0], table["quality_as_recorded"][0]) == ("unchecked", "")
    assert tuple(table.columns[-len(HEADINGS) :]) == HEADINGS


def test_rows_that_are_no_readings_say_what_they_are(record):
    table = levels(record)
    others = table.assign(event_id=-1, status=["static", "pumping test"], method=["logger", ""])
    added = add_recorded(record, pd.concat([table, others], ignore_index=True))
    assert added["level_from"].tolist() == ["manual reading", "manual reading", "logger", "pumping test"]
    assert added.loc[2:, "depth_to_water_as_recorded"].isna().all()
    assert added.loc[2:, "unit_as_recorded"].tolist() == ["", ""]
    nothing = add_recorded(record, table.iloc[:0])
    assert (len(nothing), list(nothing.columns)) == (0, list(added.columns))
