"""Loading logger files: what lands, what is counted, what is refused, and what a withdrawal leaves."""

import datetime as dt
import hashlib
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from sqlalchemy import func, select

from gwnet.errors import IngestError, LayoutError, NotFoundError, SettingsError
from gwnet.ingest.loggers import load as logger_load
from gwnet.ingest.loggers.layout import load_layout
from gwnet.ingest.loggers.rows import open_logger_file
from gwnet.ingest.loggers.serials import OTHER_SERIAL_COLUMNS, find_other_serials
from gwnet.ingest.loggers.tally import DeploymentTally, RhythmTally
from gwnet.network import Network, init
from gwnet.store.fetch import samples as fetch_samples
from gwnet.store.fetch.sources import source_bytes
from gwnet.store.models.loggers import Sample
from gwnet.store.save import samples as save_samples

NOW = dt.datetime(2026, 4, 6, 8, 0, tzinfo=dt.UTC)
SOON = NOW + dt.timedelta(seconds=1)
LATER = NOW + dt.timedelta(days=1)
LATEST = NOW + dt.timedelta(days=2)

LAYOUT = """
[table]
heading_pattern = "^Time"
[time]
column = "Time"
formats = ["%Y-%m-%d %H:%M"]
zone = "UTC+01:00"
[[columns]]
quantity = "water pressure"
column = "Pressure"
unit = "kPa"
[[columns]]
quantity = "water temperature"
column = "Temperature"
unit = "degC"
[events]
rows = "Battery|Logger"
[serial]
pattern = 'Serial: (\\w+)'
"""

#: One quantity alone.
PLAIN = LAYOUT.replace('[[columns]]\nquantity = "water temperature"\ncolumn = "Temperature"\nunit = "degC"\n', "")

TABLES = {
    "sites": "site,crs,vertical_datum,length_unit,time_zone\nS,EPSG:25832,local,m,UTC+01:00\n",
    "wells": "site,well,easting,northing\nS,MW-1,1,2\n",
    "instruments": "instrument,kind,serial\nL1,vented pressure logger,77\nL2,vented pressure logger,78\nB1,barometer,\n",
    "deployments": "site,well,instrument,installed_at,removed_at\nS,MW-1,L1,2024-01-01 02:30,2024-01-02 00:00\n",
}

#: First hour of the files, in local time.
START = np.datetime64("2024-01-01T02:00")


class Loggers:
    """A record with three instruments and a folder of logger files."""

    def __init__(self, url, folder):
        init(url)
        self.net, self.folder = Network(url), folder
        for name, text in TABLES.items():
            (folder / f"{name}.csv").write_text(text)
        self.net.load([folder / f"{name}.csv" for name in TABLES], by="Ana", now_utc=NOW)
        self.layout = self.write("layout.toml", LAYOUT)
        self.plain = self.write("plain.toml", PLAIN)

    def write(self, name, text):
        """Write a file and return its path."""
        path = self.folder / name
        path.write_text(text)
        return path

    def file(self, name, values, start=0, serial="77", extra=()):
        """Write a file of hours from a start, each with pressure and temperature; rows may also be given as text."""
        rows = [
            row if isinstance(row, str) else f"{_hour(start + place)},{row},{10 + place / 10:.1f}"
            for place, row in enumerate(values)
        ]
        head = [f"Serial: {serial}"] if serial else ["Plain file"]
        return self.write(name, "\n".join([*head, "Time,Pressure,Temperature", *rows, *extra]) + "\n")

    def load(self, *paths, layout=None, now=NOW, **options):
        """Load files; the first result."""
        chosen = {"layout": layout or self.plain, "by": "Ana", "now_utc": now, **options}
        return self.net.loggers.load(paths, **chosen)

    def one(self, path, **options):
        """Load one file and return what happened to it; raise what stopped it."""
        [made] = self.load(path, **options).files
        if made.error is not None:
            raise made.error
        return made

    def samples(self, quantity="water pressure", instrument="L1", known_on=None):
        """Return the samples on record by hour from the start, of all takes."""
        found = {}
        with self.net.store.reading() as connection:
            series = fetch_samples.series(connection, known_on)
            for row in series[(series["instrument"] == instrument) & (series["quantity"] == quantity)].itertuples():
                times, values = fetch_samples.samples(connection, row.series_id, known_on=known_on)
                hours = (times - 1_704_070_800_000) / 3_600_000
                assert not found.keys() & set(hours.tolist())
                found |= dict(zip(hours.tolist(), values.tolist(), strict=True))
        return found

    def count(self):
        """Return how many samples there are at all."""
        with self.net.store.reading() as connection:
            return connection.execute(select(func.count()).select_from(Sample)).scalar_one()


def _hour(number):
    return str(START + np.timedelta64(number, "h")).replace("T", " ")


@pytest.fixture
def loggers(store_url, tmp_path):
    folder = tmp_path / "files"
    folder.mkdir()
    made = Loggers(store_url, folder)
    yield made
    made.net.close()


@pytest.fixture
def on_sqlite(tmp_path):
    made = Loggers(tmp_path / "record.sqlite", tmp_path)
    yield made
    made.net.close()


def counts(made, place=0):
    one = made.series[place].counts
    return one.rows, one.added, one.same, one.repeated, one.conflicts, one.missing


def test_a_file_lands_whole_with_its_bytes(loggers):
    path = loggers.file("a.csv", [1.5, 1.6, 1.7], extra=["Battery low"])
    made = loggers.one(path, layout=loggers.layout)
    assert (made.instrument, made.layout, made.zone, made.events) == ("L1", "layout", "UTC+01:00", 1)
    assert [(one.quantity, one.unit, one.segment) for one in made.series] == [
        ("water pressure", "kPa", 1),
        ("water temperature", "degC", 1),
    ]
    assert counts(made) == (3, 3, 0, 0, 0, 0)
    assert loggers.samples() == {0: 1.5, 1: 1.6, 2: 1.7}
    assert loggers.samples("water temperature") == {0: 10.0, 1: 10.1, 2: 10.2}
    table = loggers.net.loggers.downloads()
    assert table["sha256"].tolist() == [hashlib.sha256(path.read_bytes()).hexdigest()] * 2
    assert table[["added", "events", "zone", "recorded_by"]].to_numpy().tolist() == [[3, 1, "UTC+01:00", "Ana"]] * 2
    assert table["first_utc"].iloc[0] == dt.datetime(2024, 1, 1, 1, tzinfo=dt.UTC)
    assert 'column = "Pressure"' in table["layout_text"].iloc[0]
    with loggers.net.store.reading() as connection:
        kept = b"".join(source_bytes(connection, int(table["source_file_id"].iloc[0])))
    assert kept == path.read_bytes()


@pytest.mark.slow
def test_overlapping_downloads_add_only_what_is_new(loggers):
    loggers.one(loggers.file("a.csv", [1.0, 1.1, 1.2, 1.3]))
    made = loggers.one(loggers.file("b.csv", [1.2, 1.3, 1.4], start=2), now=LATER)
    assert counts(made) == (3, 1, 2, 0, 0, 0)
    made = loggers.one(loggers.file("c.csv", [0.8, 0.9, 1.0], start=-2), now=LATEST)
    assert counts(made) == (3, 2, 1, 0, 0, 0)
    assert loggers.samples() == {-2: 0.8, -1: 0.9, 0: 1.0, 1: 1.1, 2: 1.2, 3: 1.3, 4: 1.4}
    assert loggers.samples(known_on=SOON) == {0: 1.0, 1: 1.1, 2: 1.2, 3: 1.3}
    assert len(loggers.samples(known_on=LATER)) == 5


def test_the_same_bytes_again_change_nothing(on_sqlite):
    path = on_sqlite.file("a.csv", [1.0, 1.1])
    on_sqlite.one(path)
    again = on_sqlite.file("renamed.csv", [1.0, 1.1])
    result = on_sqlite.load(again, now=LATER)
    assert result.files[0].notes == ("already loaded on 2026-04-06 09:00 UTC+01:00 as a.csv; nothing changed",)
    assert not result.has_findings
    assert not result.files[0].landed
    other = on_sqlite.load(path, layout=on_sqlite.write("other.toml", PLAIN.replace("+01:00", "+02:00"))).files[0]
    assert "with layout 'plain'; nothing changed; to load it with another layout, withdraw it first" in other.notes[0]
    assert len(on_sqlite.net.loggers.downloads()) == 1


def test_a_quantity_that_was_left_out_can_be_loaded_later(on_sqlite):
    path = on_sqlite.file("a.csv", [1.0, 1.1])
    made = on_sqlite.one(path, layout=on_sqlite.layout, quantity="water pressure")
    assert [one.quantity for one in made.series] == ["water pressure"]
    made = on_sqlite.one(path, layout=on_sqlite.layout, now=LATER)
    assert [one.quantity for one in made.series] == ["water temperature"]
    assert len(on_sqlite.net.loggers.downloads()) == 2


def test_a_lone_column_can_be_said_to_be_something_else(on_sqlite):
    made = on_sqlite.one(on_sqlite.file("a.csv", [101.0]), quantity="air pressure", instrument="B1")
    assert [(one.quantity, one.unit) for one in made.series] == [("air pressure", "kPa")]
    assert on_sqlite.samples("air pressure", "B1") == {0: 101.0}


def test_out_of_order_and_a_clock_set_back(on_sqlite):
    rows = [f"{_hour(hour)},{hour / 10},9" for hour in (3, 4, 5, 0, 1, 2, 5)]
    made = on_sqlite.one(on_sqlite.file("a.csv", rows))
    assert counts(made) == (7, 6, 0, 1, 0, 0)
    assert made.rhythm.backward == 1
    assert (made.rhythm.interval_s, made.rhythm.gaps, made.rhythm.longest_gap_s) == (3600.0, 1, 3 * 3600.0)
    assert on_sqlite.samples() == {float(hour): hour / 10 for hour in range(6)}


def test_conflicts_are_reported_and_the_value_on_record_stays(loggers):
    loggers.one(loggers.file("a.csv", [1.0, 1.1]))
    path = loggers.file("b.csv", [1.0, 1.5, 1.2, f"{_hour(2)},1.3,9"])
    result = loggers.load(path, now=LATER)
    [made] = result.files
    assert counts(made) == (4, 1, 1, 0, 2, 0)
    assert [(one.row, one.stored, one.given) for one in made.conflicts] == [(4, 1.1, 1.5), (6, 1.2, 1.3)]
    assert result.has_findings
    assert loggers.samples() == {0: 1.0, 1: 1.1, 2: 1.2}
    table = loggers.net.loggers.conflicts()
    assert table[["file", "row", "stored", "given"]].to_numpy().tolist() == [
        ["b.csv", 4.0, 1.1, 1.5],
        ["b.csv", 6.0, 1.2, 1.3],
    ]
    assert loggers.net.loggers.conflicts("L2").empty


def test_rows_without_a_number_are_counted_and_not_stored(on_sqlite):
    made = on_sqlite.one(on_sqlite.file("a.csv", [1.0, "", f"{_hour(1)},,9.5", 1.2]), layout=on_sqlite.layout)
    assert counts(made) == (3, 2, 0, 0, 0, 1)
    assert counts(made, 1) == (3, 3, 0, 0, 0, 0)
    assert on_sqlite.samples() == {0: 1.0, 3: 1.2}
    [later] = on_sqlite.load(on_sqlite.file("b.csv", [1.0, 1.1]), now=LATER).files
    assert counts(later) == (2, 1, 1, 0, 0, 0), "a number for a time without one is new, not a conflict"


@pytest.mark.parametrize("at", [1, 70_000])
def test_a_row_that_cannot_be_read_refuses_the_whole_file(loggers, at):
    loggers.one(loggers.file("a.csv", [5.0], start=200_000))
    rows = ["2024-01-01 02:00,1.0,9"] * at
    path = loggers.write("b.csv", "\n".join(["Serial: 77", "Time,Pressure,Temperature", *rows, f"{_hour(9)},x,9"]))
    with pytest.raises(IngestError, match=f"row {at + 3}: .*'x'"):
        loggers.one(path, now=LATER)
    assert (loggers.count(), len(loggers.net.loggers.downloads()), len(loggers.net.loggers.conflicts())) == (1, 1, 0)


def test_each_of_several_files_stands_by_itself(loggers):
    good, later = loggers.file("a.csv", [1.0]), loggers.file("c.csv", [1.2], start=2)
    bad = loggers.file("b.csv", ["nonsense"])
    missing = loggers.folder / "missing.csv"
    result = loggers.load(good, bad, missing, later)
    assert [one.landed for one in result.files] == [True, False, False, True]
    assert [one.file for one in result.refused] == ["b.csv", "missing.csv"]
    assert result.has_findings
    assert loggers.samples() == {0: 1.0, 2: 1.2}
    table = result.frame()
    assert table["file"].tolist() == ["a.csv", "b.csv", "missing.csv", "c.csv"]
    assert table["added"].tolist() == [1, 0, 0, 1]
    assert "missing.csv" in table["note"].iloc[2]


def test_the_instrument_is_found_by_its_serial_number(on_sqlite):
    assert on_sqlite.one(on_sqlite.file("a.csv", [1.0], serial="78")).instrument == "L2"
    with pytest.raises(IngestError, match=r"serial number 99 of the file.*L1 \(vented pressure logger, serial 77\)"):
        on_sqlite.one(on_sqlite.file("b.csv", [1.0], serial="99"))
    bare = on_sqlite.file("c.csv", [1.0], serial="")
    with pytest.raises(IngestError, match=r"gives no serial number.*--instrument"):
        on_sqlite.one(bare)
    assert on_sqlite.one(bare, instrument="L1").instrument == "L1"
    with pytest.raises(NotFoundError, match=r"no instrument 'L3'.*Did you mean L[12]"):
        on_sqlite.one(bare, instrument="L3")
    assert len(on_sqlite.samples(instrument="L2")) == 1


def test_a_file_of_another_serial_number_is_a_finding(on_sqlite):
    result = on_sqlite.load(on_sqlite.file("a.csv", [1.0], serial="78"), instrument="L1")
    assert result.files[0].findings == ("the file is of serial number 78, L1 on record has 77",)
    assert result.has_findings
    assert on_sqlite.one(on_sqlite.file("b.csv", [2.0], serial="78"), instrument="B1").findings == ()


@pytest.mark.slow
def test_a_file_of_another_serial_number_stays_a_finding_until_it_is_withdrawn(on_sqlite):
    wrong = on_sqlite.file("a.csv", [1.0, 1.1], serial="78")
    on_sqlite.load(wrong, instrument="L1")
    on_sqlite.load(on_sqlite.file("b.csv", [1.2], start=5, serial="77"), instrument="L1")
    with on_sqlite.net.store.reading() as connection:
        found = find_other_serials(connection)
    assert tuple(found.columns) == OTHER_SERIAL_COLUMNS
    (row,) = found.itertuples()
    assert (row.instrument, row.file, row.given, row.recorded) == ("L1", "a.csv", "78", "77")
    assert row.first_utc < row.last_utc
    listed = on_sqlite.net.loggers.findings()
    (message,) = listed.loc[listed["rule"] == "serial number", "message"]
    assert message.startswith("a.csv is of serial number 78; L1 on record has 77.")
    assert "serial number" in on_sqlite.net.loggers.status().iloc[0]["warnings"]
    on_sqlite.net.loggers.withdraw(wrong, reason="of another instrument", by="Ana", now_utc=LATER)
    assert "serial number" not in set(on_sqlite.net.loggers.findings()["rule"])


def test_two_instruments_of_one_serial_number_are_refused(on_sqlite):
    path = on_sqlite.write("instruments.csv", "instrument,kind,serial\nL9,vented pressure logger,77\n")
    on_sqlite.net.load([path], by="Ana", now_utc=NOW)
    with pytest.raises(IngestError, match="Several instruments have the serial number 77: L1, L9"):
        on_sqlite.one(on_sqlite.file("a.csv", [1.0]))


def test_rows_outside_every_deployment_are_counted(on_sqlite):
    made = on_sqlite.one(on_sqlite.file("a.csv", [1.0] * 24))
    assert (made.deployed, made.outside) == (True, 3), "one hour before it was hung, two after it was removed"
    made = on_sqlite.one(on_sqlite.file("b.csv", [1.0], serial="78"))
    assert (made.deployed, made.outside) == (False, 1)


def test_a_download_is_withdrawn_and_loaded_with_another_layout(loggers):
    path = loggers.file("a.csv", [1.0, 1.1, 1.2])
    loggers.one(path)
    done = loggers.net.loggers.withdraw(path, reason="wrong zone", by="Ben", now_utc=LATER)
    assert done.downloads["file"].tolist() == ["a.csv"]
    assert (done.stored_again, done.notes) == ((), ())
    assert loggers.samples() == {}
    moved = loggers.write("moved.toml", PLAIN.replace("+01:00", "+00:00"))
    made = loggers.one(path, layout=moved, now=LATEST)
    assert (counts(made), made.series[0].segment) == ((3, 3, 0, 0, 0, 0), 2)
    assert loggers.samples() == {1: 1.0, 2: 1.1, 3: 1.2}
    assert loggers.samples(known_on=SOON) == {0: 1.0, 1: 1.1, 2: 1.2}
    assert loggers.count() == 6, "nothing is ever deleted"
    made = loggers.one(loggers.file("b.csv", [1.2, 1.3], start=2), layout=moved, now=LATEST)
    assert counts(made) == (2, 1, 1, 0, 0, 0)


def test_what_others_gave_at_the_same_instants_counts_after_a_withdrawal(loggers):
    first = loggers.file("a.csv", [1.0, 1.1, 1.2])
    loggers.one(first, layout=loggers.layout)
    loggers.one(loggers.file("b.csv", [1.1, 1.25, 1.3], start=1), layout=loggers.layout, now=LATER)
    done = loggers.net.loggers.withdraw("a.csv", reason="not ours", by="Ben", now_utc=LATEST)
    assert len(done.downloads) == 2
    assert [(one.file, counts(one)) for one in done.stored_again] == [
        ("b.csv", (3, 2, 1, 0, 0, 0)),
        ("b.csv", (3, 2, 1, 0, 0, 0)),
    ]
    assert loggers.samples() == {1: 1.1, 2: 1.25, 3: 1.3}
    assert loggers.samples("water temperature") == {1: 10.0, 2: 10.1, 3: 10.2}
    assert loggers.samples(known_on=LATER) == {0: 1.0, 1: 1.1, 2: 1.2, 3: 1.3}
    assert loggers.net.loggers.conflicts().empty
    assert len(loggers.net.loggers.conflicts(known_on=LATER)) == 3
    again = loggers.one(first, now=LATEST)
    assert counts(again) == (3, 1, 1, 0, 1, 0)


def test_a_withdrawal_names_its_file_without_doubt(on_sqlite):
    one, other = on_sqlite.file("a.csv", [1.0]), on_sqlite.file("b.csv", [1.1], start=1)
    on_sqlite.one(one)
    on_sqlite.one(other)
    other.rename(on_sqlite.folder / "c.csv")
    net, given = on_sqlite.net, {"reason": "wrong", "by": "Ben", "now_utc": LATER}
    for named in ("missing.csv", "abc", "zzzzzzz"):
        with pytest.raises(NotFoundError, match="No download of"):
            net.loggers.withdraw(named, **given)
    with pytest.raises(NotFoundError):
        net.loggers.withdraw("a.csv", instrument="L2", **given)
    with pytest.raises(SettingsError, match="needs its reason"):
        net.loggers.withdraw("a.csv", reason=" ", by="Ben")
    sha256 = net.loggers.downloads()["sha256"].iloc[1]
    assert net.loggers.withdraw(sha256[:8].upper(), **given).downloads["file"].tolist() == ["b.csv"]
    assert net.loggers.withdraw(one, **given).downloads["file"].tolist() == ["a.csv"]
    assert net.loggers.downloads().empty
    assert len(net.loggers.downloads("L1", known_on=SOON)) == 2
    on_sqlite.one(on_sqlite.file("d.csv", [2.0]), now=LATEST)
    on_sqlite.one(on_sqlite.file("d.csv", [2.1], start=1), now=LATEST)
    (on_sqlite.folder / "d.csv").unlink()
    with pytest.raises(IngestError, match=r"2 files are on record as 'd\.csv'"):
        net.loggers.withdraw("d.csv", **{**given, "now_utc": LATEST})


def test_what_was_given_beside_the_layout_goes_on_record_with_it(on_sqlite):
    layout = on_sqlite.write("zoneless.toml", PLAIN.replace('zone = "UTC+01:00"\n', ""))
    path = on_sqlite.file("a.csv", [1.0, 1.1])
    with pytest.raises(LayoutError, match=r"(?i)zone"):
        on_sqlite.one(path, layout=layout)
    assert on_sqlite.one(path, layout=layout, zone="UTC+01:00").zone == "UTC+01:00"
    on_sqlite.one(on_sqlite.file("b.csv", [1.1, 1.2], start=1), layout=layout, zone="UTC+01:00", now=LATER)
    on_sqlite.net.loggers.withdraw("a.csv", reason="wrong", by="Ben", now_utc=LATEST)
    assert on_sqlite.samples() == {1: 1.1, 2: 1.2}


def test_the_layout_that_looking_proposes(on_sqlite):
    rows = "".join(f"2024-01-01T{hour:02d}:00:00Z,{100 + hour / 10:.1f}\n" for hour in range(1, 6))
    path = on_sqlite.write("a.csv", f"Serial number: 77\nTime,Absolute pressure [kPa]\n{rows}")
    said = []
    made = on_sqlite.one(path, layout="auto", say=said.append)
    assert counts(made) == (5, 5, 0, 0, 0, 0)
    what = "times %Y-%m-%dT%H:%M:%S%z with their offsets; absolute pressure [kPa]"
    assert said == [f"a.csv: looking at it gives {what}. 'gwnet logger try' says why."]
    doubtful = on_sqlite.write("b.csv", "Time,Value\n01.02.24 03:00,1\n02.02.24 03:00,2\n")
    with pytest.raises(LayoutError):
        on_sqlite.one(doubtful, layout="auto", instrument="L1")
    with pytest.raises(LayoutError, match="no layout 'nowhere'"):
        on_sqlite.load(path, layout="nowhere")


def test_who_records_is_said(on_sqlite):
    with pytest.raises(SettingsError, match="who records"):
        on_sqlite.load(on_sqlite.file("a.csv", [1.0]), by=" ")


def test_progress_counts_the_lines_of_all_files(on_sqlite, monkeypatch):
    monkeypatch.setattr(logger_load, "_ROWS_AT_ONCE", 2)
    seen = []
    paths = [on_sqlite.file("a.csv", [1.0] * 3), on_sqlite.file("b.csv", [1.0] * 2, start=3)]
    on_sqlite.load(*paths, progress=lambda done, total: seen.append((done, total)))
    assert {total for _, total in seen} == {9}
    assert [done for done, _ in seen] == sorted(done for done, _ in seen)
    assert (seen[0][0] < 5, seen[-1]) == (True, (9, 9))


def test_a_file_without_samples_is_refused(on_sqlite):
    path = on_sqlite.file("a.csv", ["Battery low", "Logger stopped"])
    with pytest.raises(IngestError):
        on_sqlite.one(path)
    assert on_sqlite.net.loggers.downloads().empty


def test_two_columns_of_one_quantity_are_refused(on_sqlite):
    file = open_logger_file(on_sqlite.file("a.csv", [1.0]), load_layout(on_sqlite.layout))
    file.plan = replace(file.plan, columns=tuple(replace(one, quantity="battery") for one in file.columns))
    told = logger_load.LoggerInstruction("Ana", "L1", now_utc=NOW)
    [made] = logger_load.load_logger_files(on_sqlite.net.store, [file.path], lambda _: file, told).files
    assert "Several columns give battery: 'Pressure', 'Temperature'." in str(made.error)
    assert on_sqlite.count() == 0


@pytest.mark.slow
def test_downloads_and_corrections_stand_in_the_history_of_their_well(loggers):
    loggers.one(loggers.file("a.csv", [1.0, 1.1, 1.2]))
    loggers.one(loggers.file("other.csv", [1.0], serial="78"))
    with loggers.net.store.writing("correct", "Cy", now_utc=LATER) as connection:
        parameters = {"amount_m": 0.12}
        number = save_samples.correct(connection, 1, "step", parameters, None, None, "Cy", "slipped")
    with loggers.net.store.writing("correct", "Di", now_utc=LATEST) as connection:
        save_samples.take_back(connection, number, "Di", "it had not")
    loggers.net.loggers.withdraw("a.csv", reason="wrong zone", by="Ben", now_utc=LATEST)
    table = loggers.net.wells.history("MW-1")
    told = table[table["subject"].isin(["download", "correction"])]
    columns = ["subject", "act", "item", "now", "recorded_by", "reason", "source"]
    span = "2024-01-01 02:00+01:00 to 2024-01-01 04:00+01:00"
    assert told[columns].to_numpy().tolist() == [
        ["download", "loaded", "L1 water pressure", f"3 added, {span}, layout plain", "Ana", "", "a.csv"],
        ["correction", "recorded", "L1 water pressure, step", "amount m 0.12, all through", "Cy", "slipped", ""],
        ["correction", "withdrawn", "L1 water pressure, step", "", "Di", "it had not", ""],
        ["download", "withdrawn", "L1 water pressure", "", "Ben", "wrong zone", "a.csv"],
    ]
    early = loggers.net.wells.history("MW-1", known_on=SOON)
    assert early["subject"].tolist().count("download") == 1
    assert "correction" not in early["subject"].tolist()


def test_rhythm_over_chunks():
    tally = RhythmTally()
    for part in ([0, 60_000, 120_000], [], [180_000], [600_000, 660_000, 600_000, 660_000]):
        tally.add(np.array(part, np.int64))
    made = tally.result()
    assert (made.interval_s, made.gaps, made.longest_gap_s, made.backward) == (60.0, 1, 420.0, 1)
    assert RhythmTally().result().interval_s is None


def test_an_interval_that_was_changed_is_no_row_of_gaps():
    tally = RhythmTally()
    tally.add(np.arange(10) * 60_000)
    tally.add(540_000 + 3_600_000 * np.arange(1, 11))
    assert (tally.result().interval_s, tally.result().gaps) == (60.0, 0)


def test_deployments_are_half_open():
    tally = DeploymentTally([(0.0, 10.0), (20.0, float("inf"))])
    tally.add(np.array([-1, 0, 9, 10, 19, 20, 10**13]))
    assert tally.outside == 3


def test_the_frame_of_a_load_has_one_row_a_series(on_sqlite):
    result = on_sqlite.load(on_sqlite.file("a.csv", [1.0, 1.1]), layout=on_sqlite.layout)
    table = result.frame()
    assert table["quantity"].tolist() == ["water pressure", "water temperature"]
    assert table["first_utc"].tolist() == [pd.Timestamp("2024-01-01T01:00Z")] * 2
    assert table["interval_s"].tolist() == [3600.0, 3600.0]
