"""Every open logger file, byte for byte as published, through the command line or the facade into a record.

- Meadow wells and barometers near Chester, California, 2019 to 2020: Cal Poly San Luis Obispo study (MIT licence).
- Land Berlin, groundwater station 1 (dl-de/by-2-0); Land Nordrhein-Westfalen, two wells (dl-de/zero-2-0).
- 2-minute absolute logger with its barometer, 2016: R package hydrorecipes 0.0.3 (Kennel, 2020).

Counts are those of ``raw/inventory.csv``, water columns and slopes those of ``reference_results.csv`` beside the data,
found there with other code; overlaps are counted here from the lines of the files.
"""

import contextlib
import csv
import io
import re

import numpy as np
import pandas as pd
import pytest

from gwnet.cli import main
from gwnet.network import Network, init
from gwnet.units import pascals_per

pytestmark = pytest.mark.shared

#: The reference took 0.70307 m of water to 1 psi: 1000 kg/m3 under this gravity.
REFERENCE_GRAVITY = pascals_per("psi") / (1000.0 * 0.70307)

SITES = """site,name,crs,vertical_datum,length_unit,time_zone
M,Meadow,EPSG:32610,local,m,UTC-07:00
D,Daily,EPSG:25833,NHN,m,Europe/Berlin
"""
WELLS = """site,well,latitude,longitude
M,CM0W,40.3,-121.2
M,CM3W,40.3,-121.2
M,CM4W,40.3,-121.2
M,W2,45,-111
D,S1,52.5,13.4
D,N1,51.5,7
D,N2,51.5,7
"""
POINTS = """site,well,valid_from,elevation
D,N1,2020-01-01,52.29
D,N2,2020-01-01,48.35
"""
#: The serial numbers are those that stand in the files.
INSTRUMENTS = """instrument,kind,serial
BARO,barometer,20214178
CREEK,barometer,10672171
CM0W-1,absolute pressure logger,20214128
CM0W-2,absolute pressure logger,20844450
CM3W-1,absolute pressure logger,10766796
CM4W-1,vented pressure logger,020034814
CM4W-2,absolute pressure logger,10960657
L2,absolute pressure logger,
B2,barometer,
S1,other,
N1,other,
N2,other,
"""
DEPLOYMENTS = """site,well,instrument,installed_at,removed_at,barometer
M,,BARO,2019-04-01T00:00,,
M,,CREEK,2020-07-10T00:00,,
M,CM0W,CM0W-1,2019-04-01T00:00,2020-08-18T09:00,BARO
M,CM0W,CM0W-2,2020-08-18T09:00,,BARO
M,CM3W,CM3W-1,2019-12-01T00:00,,BARO
M,CM4W,CM4W-1,2019-05-01T00:00,2020-04-26T09:00,
M,CM4W,CM4W-2,2020-04-26T09:00,,BARO
M,,B2,2016-08-01T00:00,,
M,W2,L2,2016-08-01T00:00,,B2
D,S1,S1,2020-01-01T00:00,,
D,N1,N1,2020-01-01T00:00,,
D,N2,N2,2020-01-01T00:00,,
"""


def command(record, *words, code=0):
    """Run a command on the record and return what it printed; it ends with this code."""
    said = io.StringIO()
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
        ended = main([*map(str, words), "--db", str(record), "--by", "Ana"])
    assert ended == code, said.getvalue()
    return said.getvalue()


@pytest.fixture(scope="module")
def record(open_data, tmp_path_factory):
    """Give a database with every open logger file, loaded by the command line as a user would."""
    folder, raw = tmp_path_factory.mktemp("record"), open_data / "raw"
    tables = {"sites": SITES, "wells": WELLS, "measuring_points": POINTS, "instruments": INSTRUMENTS}
    (folder / "tables").mkdir()
    for name, text in {**tables, "deployments": DEPLOYMENTS}.items():
        (folder / "tables" / f"{name}.csv").write_text(text, encoding="utf-8")
    path = folder / "a.sqlite"
    init(path)
    command(path, "load", folder / "tables")
    meadow = raw / "control_meadow"
    command(path, "logger", "load", *sorted(meadow.glob("*_download_*.csv")))
    gauge = sorted(meadow.glob("*.txt"))
    said = command(path, "logger", "load", *gauge)
    # neither stands in the file: the kind of the instrument tells what the pressure is of, the site its fixed zone
    assert "in UTC-07:00; water pressure" in said
    assert "The zone is that of the site." in said
    two_minutes = open_data / "absolute_logger_with_baro_2min.csv"
    command(path, "logger", "load", two_minutes, "--instrument", "L2", "--series", "absolute pressure")
    command(path, "logger", "load", two_minutes, "--instrument", "B2", "--series", "air pressure")
    zone = ("--zone", "UTC+01:00")
    command(path, "logger", "load", raw / "berlin_station_1.csv", "--instrument", "S1", *zone)
    wells = raw / "nrw_two_wells_sample.csv"
    command(path, "logger", "load", wells, "--instrument", "N1", "--only", "279576511", *zone)
    command(path, "logger", "load", wells, "--instrument", "N2", "--only", "070167217", *zone)
    with Network(path) as net:
        yield net


def lines_of(path):
    """Return the readings of a file of the meadow as pairs of time and number, both as they stand in it."""
    with path.open(encoding="utf-8-sig", newline="") as file:
        rows = [row for row in csv.reader(file) if len(row) > 2 and row[0].isdigit()]
    return {(row[1], row[2]) for row in rows if row[2]}


@pytest.mark.slow
def test_rows_events_and_overlaps_of_the_meadow_are_counted_as_in_its_inventory(record, open_data):
    with (open_data / "raw" / "inventory.csv").open() as file:
        inventory = {row["file"].rpartition("/")[2]: row for row in csv.DictReader(file)}
    table = record.loggers.downloads()
    table = table[table["quantity"].str.endswith("pressure") & table["file"].str.contains("_download_")]
    assert len(table) == 15
    seen: dict[str, set] = {}
    for row in table.itertuples():
        known = inventory[row.file]
        events = int(float(known["rows_without_value"]))
        assert (row.events, row.rows) == (events, int(float(known["data_rows"])) - events), row.file
        own = lines_of(open_data / "raw" / "control_meadow" / row.file)
        before = seen.setdefault(row.instrument, set())
        assert (row.same, row.added) == (len(own & before), len(own - before)), row.file
        assert (row.conflicts, row.missing, row.repeated) == (0, 0, 0)
        before |= own
    assert table.loc[table["same"] > 0, "same"].tolist() == [3467, 5468, 2]


@pytest.mark.slow
@pytest.mark.parametrize(("well", "instrument"), [("CM0W", "CM0W-2"), ("CM3W", "CM3W-1")])
def test_water_columns_of_the_meadow_are_those_of_the_reference(record, open_data, well, instrument):
    record.loggers.correct(
        instrument, "density", kg_m3=1000.0, gravity_m_s2=REFERENCE_GRAVITY, reason="reference", by="Ana"
    )
    reference = pd.read_csv(open_data / "reference_results.csv")
    reference = reference[reference["series"] == well].set_index("statistic")["value"].astype(float)
    heads = record.loggers.heads([well], excluded=True)
    heads = heads[(heads["instrument"] == instrument) & heads["sensor_level_m"].notna()]
    column = heads.set_index("measured_at_utc")["sensor_level_m"]
    moments = [name for name in reference.index if name.startswith("water column at ")]
    assert len(moments) == 5
    for name in moments:
        local = pd.Timestamp(re.search(r"at (\S+ \S+) logger time", name)[1], tz="Etc/GMT+7")
        assert column[local] == pytest.approx(reference[name], abs=1e-9)
    for found, name in ((column.mean(), "mean"), (column.min(), "min"), (column.max(), "max")):
        assert found == pytest.approx(reference[f"water column above sensor {name}"], abs=1e-4)


def test_the_flat_spans_and_the_jump_are_found_and_no_clock_is_blamed(record):
    table = record.loggers.findings(["CM3W", "CM4W"])
    assert "clock" not in set(table["rule"])
    flat = table[(table["instrument"] == "CM4W-1") & (table["rule"] == "bottomed out")]
    assert flat["end_utc"].max() == pd.Timestamp("2020-04-26T15:30Z")
    jump = table[(table["instrument"] == "CM3W-1") & (table["rule"] == "spike")]
    assert jump["start_utc"].tolist() == [pd.Timestamp("2020-04-26T18:00Z")]


def test_response_of_the_two_minute_logger_to_the_air_is_that_of_the_reference(record, open_data):
    """The absolute pressure follows the air with 1 less the barometric efficiency."""
    reference = pd.read_csv(open_data / "reference_results.csv")
    reference = reference[
        (reference["series"] == "2-minute absolute logger") & reference["definition"].str.contains("hourly")
    ]
    reference = reference.set_index("statistic")["value"].astype(float)
    (row,) = record.loggers.efficiencies(["W2"]).itertuples()
    slopes = reference[reference.index.str.startswith("slope")]
    assert 1 - row.regression_of_changes == pytest.approx(slopes.filter(like="d(level)").iloc[0], abs=1e-6)
    assert 1 - row.regression_of_levels == pytest.approx(slopes.filter(like="as they are").iloc[0], abs=1e-6)


def test_daily_files_of_two_states_give_their_own_elevations(record, open_data):
    berlin = record.loggers.heads(["S1"])
    assert (len(berlin), berlin["water_elevation_m"].min(), berlin["water_elevation_m"].max()) == (43, 33.41, 33.5)
    given = pd.read_csv(open_data / "raw" / "nrw_two_wells_sample.csv", sep=";", decimal=",", dtype={1: str})
    for well, code in (("N1", "279576511"), ("N2", "070167217")):
        own = given[given["messstelle_id"] == code]
        heads = record.loggers.heads([well])["water_elevation_m"].to_numpy()
        told = own["wasserstd_m"].notna().to_numpy()
        np.testing.assert_allclose(heads[told], own["wasserstd_m"][told], rtol=0, atol=1e-9)
