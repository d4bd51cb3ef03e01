"""Samples of loggers: what is added, what is there already, what differs; and the record of any moment."""

import datetime as dt
import hashlib

import numpy as np
import pytest
from sqlalchemy import func, select, text

from gwnet.errors import IngestError, NotFoundError, SettingsError, ShapeError, StoreError, UnitError
from gwnet.store.fetch import read_samples
from gwnet.store.fetch import samples as fetch_samples
from gwnet.store.fetch.sample_runs import runs_of
from gwnet.store.fetch.sources import source_bytes, write_source
from gwnet.store.models.loggers import LoggerSeries, Sample, SampleConflict, SamplePack, SampleRun
from gwnet.store.models.sources import SourceFile, SourcePiece
from gwnet.store.save import samples as save_samples
from gwnet.store.save.bulk import insert_columns, retire
from gwnet.store.save.downloads import Counts, add_download, complete_download
from gwnet.store.save.segments import OtherSegment, convert_values, segment_for
from gwnet.store.save.sources import PIECE, KeptSource

from ..helpers import follow, owners_of
from .conftest import MONDAY, SUNDAY, add

PRESSURE = "water pressure"


def days(number):
    return MONDAY + dt.timedelta(days=number)


def ints(*values):
    return np.array(values, np.int64)


def floats(*values):
    return np.array(values, np.float64)


@pytest.fixture
def instrument(store):
    with store.writing("add", "Ana", now_utc=follow(store, SUNDAY)) as connection:
        insert_columns(connection, "instrument", {"id": [1], "code": ["L1"]}, 1)
    add(store, "instrument_record", instrument_id=1, kind="vented pressure logger")
    return 1


class Loads:
    """Adds downloads of one instrument and looks at what is on record."""

    def __init__(self, store, instrument):
        self.store, self.instrument = store, instrument

    def add(self, when, time_ms, value, *, quantity=PRESSURE, unit="kPa", chunk=None, row=None):
        """Add one download, perhaps in chunks; return its number, series and what became of its samples."""
        time_ms, value = np.asarray(time_ms, np.int64), np.asarray(value, np.float64)
        size = chunk or max(time_ms.size, 1)
        with self.store.writing("add", "Ana", now_utc=when) as connection:
            series, others = segment_for(connection, self.instrument, quantity, unit)
            number = add_download(connection, series, layout="plain", zone="UTC", by="Ana")
            appending = save_samples.Appending(connection, series, number, others)
            done = [
                appending.add(
                    time_ms[at : at + size], value[at : at + size], None if row is None else row[at : at + size]
                )
                for at in range(0, time_ms.size, size)
            ]
            appending.finish()
        return number, series, done

    def withdraw(self, number, when):
        """Withdraw a download."""
        with self.store.writing("withdraw", "Ben", now_utc=when) as connection:
            retire(connection, "download", [number], by="Ben", reason="wrong zone")

    def samples(self, series=1, known_on=None, **span):
        """Return samples as a dict, read from packs, and the same from the rows themselves."""
        with self.store.reading() as connection:
            assert read_samples.is_packed(connection, series, known_on)
            packed = read_samples.read_packs(connection, series, known_on=known_on, **span)
            times, values = fetch_samples.samples(connection, series, known_on=known_on, **span)
            runs = runs_of(connection, series, known_on)
            every, held = read_samples.read_rows(connection, series, **span)
        keep = runs.owned_on_record(every)
        for one, other in ((times, every[keep]), (values, held[keep]), (packed[0], times), (packed[1], values)):
            np.testing.assert_array_equal(one, other)
        assert times.dtype == np.int64
        assert values.dtype == np.float64
        return dict(zip(times.tolist(), values.tolist(), strict=True))

    def everything(self, known_on=None):
        """Return the samples of all takes together; no time stands in two of them."""
        with self.store.reading() as connection:
            numbers = fetch_samples.series(connection, known_on)["series_id"].tolist()
        found = {}
        for number in numbers:
            part = self.samples(number, known_on)
            assert not found.keys() & part.keys()
            found |= part
        return found


@pytest.fixture
def loads(store, instrument):
    return Loads(store, instrument)


def test_overlapping_downloads_add_only_what_is_new(loads):
    loads.add(days(0), range(0, 100, 10), np.arange(10.0))
    _, _, [done] = loads.add(days(1), range(50, 150, 10), np.arange(5.0, 15.0))
    assert (done.added, done.same, done.repeated, done.conflicts.time_ms.size) == (5, 5, 0, 0)
    assert loads.samples() == {10 * step: float(step) for step in range(15)}


def test_a_conflicting_value_is_kept_beside_the_one_on_record(store, loads):
    first, _, _ = loads.add(days(0), [0, 10], [1.0, 2.0])
    second, _, [done] = loads.add(days(1), [10, 20], [2.5, 3.0], row=ints(7, 8))
    assert (done.added, done.same) == (1, 0)
    assert loads.samples() == {0: 1.0, 10: 2.0, 20: 3.0}
    found = done.conflicts
    assert [a.tolist() for a in (found.time_ms, found.stored, found.given, found.row)] == [[10], [2.0], [2.5], [7]]
    with store.reading() as connection:
        table = fetch_samples.conflicts(connection)
        assert table[["instrument", "quantity", "stored", "given", "unit", "row"]].to_numpy().tolist() == [
            ["L1", PRESSURE, 2.0, 2.5, "kPa", 7.0]
        ]
        assert table["time_utc"].iloc[0] == dt.datetime(1970, 1, 1, tzinfo=dt.UTC) + dt.timedelta(milliseconds=10)
        assert fetch_samples.conflicts(connection, days(0)).empty
    for number in (first, second):
        loads.withdraw(number, days(2))
        with store.reading() as connection:
            assert fetch_samples.conflicts(connection).empty, "neither of a value nor beside one that was withdrawn"


def test_what_a_file_says_twice_is_counted_once(loads):
    _, _, [done] = loads.add(days(0), [10, 0, 10, 10, 0], [1.0, 5.0, 1.0, 2.0, 5.0])
    assert (done.added, done.same, done.repeated) == (2, 0, 2)
    assert done.conflicts.given.tolist() == [2.0]
    assert loads.samples() == {0: 5.0, 10: 1.0}
    _, _, done = loads.add(days(1), [20, 30, 20, 10, 30], [1.0, 2.0, 1.0, 1.0, 9.0], chunk=2)
    assert [part.added for part in done] == [2, 0, 0]
    assert [part.repeated for part in done] == [0, 1, 0]
    assert [part.same for part in done] == [0, 1, 0]
    assert done[2].conflicts.given.tolist() == [9.0]


@pytest.mark.parametrize("chunk", [1, 3, 100])
def test_any_order_gives_the_same_record(loads, chunk):
    random = np.random.default_rng(3)
    order = random.permutation(40)
    loads.add(days(0), 10 * order, order.astype(float), chunk=chunk)
    assert loads.samples() == {10 * step: float(step) for step in range(40)}


def test_a_file_in_order_is_one_run_however_many_chunks(store, loads):
    loads.add(days(0), range(0, 100, 10), np.arange(10.0), chunk=3)
    loads.add(days(1), range(290, 190, -10), np.arange(10.0), chunk=4)
    with store.reading() as connection:
        runs = connection.execute(select(SampleRun.first_ms, SampleRun.last_ms, SampleRun.sample_count)).all()
    assert sorted(tuple(row) for row in runs) == [(0, 90, 10), (200, 290, 10)]


def test_every_sample_leads_to_its_download(store, loads):
    first, series, _ = loads.add(days(0), [0, 10, 40], [1, 1, 1])
    second, _, _ = loads.add(days(1), [20, 5, 40, 50], [2, 2, 1, 2], chunk=2)
    third, _, _ = loads.add(days(2), [7, 30, 45], [3, 3, 3])
    with store.reading() as connection:
        times, _ = fetch_samples.samples(connection, series)
        owners = owners_of(runs_of(connection, series), times)
    assert dict(zip(times.tolist(), owners, strict=True)) == {
        **dict.fromkeys((0, 10, 40), first),
        **dict.fromkeys((5, 20, 50), second),
        **dict.fromkeys((7, 30, 45), third),
    }


@pytest.mark.slow
def test_the_record_of_any_moment(loads):
    first, _, _ = loads.add(days(0), [0, 20, 40], [1, 1, 1])
    loads.add(days(1), [10, 30], [2, 2])
    loads.withdraw(first, days(2))
    assert loads.samples(known_on=days(-1)) == {}
    assert loads.samples(known_on=days(0)) == {0: 1.0, 20: 1.0, 40: 1.0}
    assert loads.samples(known_on=days(1)) == {0: 1.0, 10: 2.0, 20: 1.0, 30: 2.0, 40: 1.0}
    assert loads.samples() == loads.samples(known_on=days(2)) == {10: 2.0, 30: 2.0}


def test_after_a_withdrawal_the_next_take_begins(store, loads):
    first, series, _ = loads.add(days(0), [0, 10, 20], [1, 1, 1])
    loads.add(days(1), [20, 30], [1, 4])
    loads.withdraw(first, days(2))
    _, segment, [done] = loads.add(days(3), [0, 10, 30], [7, 8, 9])
    assert segment != series
    assert (done.added, done.conflicts.stored.tolist(), done.conflicts.series_id.tolist()) == (2, [4.0], [series])
    assert loads.everything() == {0: 7.0, 10: 8.0, 30: 4.0}
    assert loads.everything(days(1)) == {0: 1.0, 10: 1.0, 20: 1.0, 30: 4.0}
    with store.reading() as connection:
        table = fetch_samples.series(connection)
        assert table[["segment", "sample_count"]].to_numpy().tolist() == [[1, 1], [2, 2]]
        assert fetch_samples.conflicts(connection)[["stored", "given"]].to_numpy().tolist() == [[4.0, 9.0]]


def test_another_unit_is_compared_within_its_last_decimals(loads):
    loads.add(days(0), [0, 10, 20], [98.12, 99.07, 99.50])
    psi = [14.231, 14.369, 14.400, 14.5]
    _, segment, [done] = loads.add(days(1), [0, 10, 20, 30], psi, unit="psi")
    assert segment == 2
    assert (done.added, done.same) == (1, 2)
    assert done.conflicts.time_ms.tolist() == [20]
    assert done.conflicts.stored[0] == pytest.approx(99.50 / 6.894757, rel=1e-6)
    _, again, [done] = loads.add(days(2), [20, 30, 40], [99.50, 99.97, 100.0])
    assert (again, done.added, done.same, done.conflicts.time_ms.tolist()) == (1, 1, 2, [])


def test_units_of_another_kind_are_refused(loads):
    loads.add(days(0), [0], [98.12])
    with pytest.raises(UnitError, match="cannot be compared"):
        loads.add(days(1), [0], [3.0], unit="m")
    assert convert_values(floats(32.0, 212.0), "degF", "degC").tolist() == pytest.approx([0.0, 100.0])
    assert convert_values(floats(1.0), "ft", "m").tolist() == pytest.approx([0.3048])
    assert convert_values(floats(7.0), "uS/cm", "uS/cm").tolist() == [7.0]


def test_a_span_is_half_open(loads):
    loads.add(days(0), range(0, 50, 10), np.arange(5.0), chunk=2)
    assert list(loads.samples(start_ms=10, end_ms=30)) == [10, 20]
    assert list(loads.samples(start_ms=11)) == [20, 30, 40]
    assert list(loads.samples(end_ms=10)) == [0]
    assert list(loads.samples(start_ms=41, end_ms=90)) == []


def test_uneven_times_come_back_as_they_went_in(loads):
    times = [0, 10, 25, 1_720_000_000_123, 1_720_000_000_124]
    values = [0.1, -1e-300, 1e300, 98.765432109876, -0.0]
    loads.add(days(0), times, values)
    assert loads.samples() == dict(zip(times, values, strict=True))


def test_without_its_packs_a_series_is_read_from_its_rows(store, loads):
    first, series, _ = loads.add(days(0), range(0, 100, 10), np.arange(10.0))
    loads.add(days(1), range(5, 100, 10), np.arange(10.0))
    loads.withdraw(first, days(2))
    whole, at_first = loads.samples(), loads.samples(known_on=days(0))
    with store.altering() as connection:
        connection.execute(text("DELETE FROM sample_pack WHERE first_ms = 0"))
    with store.reading() as connection:
        assert not read_samples.is_packed(connection, series, days(0))
        for expected, moment in ((whole, None), (at_first, days(0))):
            times, values = fetch_samples.samples(connection, series, known_on=moment)
            assert dict(zip(times.tolist(), values.tolist(), strict=True)) == expected


def test_even_steps_are_packed_without_their_times(store, loads):
    loads.add(days(0), range(0, 1000, 10), np.arange(100.0))
    loads.add(days(1), [5, 6, 9], [1, 2, 3])
    with store.reading() as connection:
        packs = connection.execute(select(SamplePack.step_ms, SamplePack.content).order_by(SamplePack.first_ms)).all()
    assert [(step, len(content)) for step, content in packs] == [(10, 800), (None, 48)]


def test_the_latest_sample_of_each_series(store, loads):
    first, one, _ = loads.add(days(0), [0, 10, 20], [1, 2, 3])
    second, _, _ = loads.add(days(1), [15, 30], [4, 5])
    _, other, _ = loads.add(days(1), [7], [9.5], quantity="water temperature", unit="degC")

    def latest(known_on=None, ids=None):
        with store.reading() as connection:
            table = fetch_samples.latest(connection, ids, known_on)
        return [tuple(row) for row in table.itertuples(index=False)]

    assert latest() == [(one, 30, 5.0), (other, 7, 9.5)]
    assert latest(ids=[other, 77]) == [(other, 7, 9.5)]
    assert latest(days(0)) == [(one, 20, 3.0)]
    assert latest(days(-1)) == []
    loads.withdraw(second, days(2))
    assert latest() == [(one, 20, 3.0), (other, 7, 9.5)]
    loads.withdraw(first, days(3))
    assert latest() == [(other, 7, 9.5)]
    assert latest(days(1) + dt.timedelta(seconds=1)) == [(one, 30, 5.0), (other, 7, 9.5)]


def test_many_samples_on_record_are_looked_at_in_parts(store, loads, monkeypatch):
    monkeypatch.setattr(read_samples, "MOST_AT_ONCE", 7)
    loads.add(days(0), range(0, 1000, 10), np.arange(100.0))
    times = np.arange(0, 1000, 5)
    _, series, [done] = loads.add(days(1), times, times / 10.0)
    assert (done.added, done.same) == (100, 100)
    assert loads.samples() == {int(time): time / 10.0 for time in times}
    with store.reading() as connection:
        parts = list(read_samples.read_windows(connection, series, 10, 200, 7))
        other = OtherSegment(series, "kPa", "kPa")
        found, stored, agrees = other.beside(connection, times + 0, np.where(times % 10, 0.0, times / 10.0))
    assert [part.size for part, _ in parts] == [7, 7, 7, 7, 7, 4]
    assert np.concatenate([part for part, _ in parts]).tolist() == list(range(10, 201, 5))
    assert found.all()
    assert stored.tolist() == (times / 10.0).tolist()
    assert agrees.tolist() == (times % 10 == 0).tolist()


def test_sizes_around_a_statement(loads):
    for count in (1, 99, 100, 101, 250):
        quantity = f"quantity {count}"
        _, series, [done] = loads.add(days(0), range(count), np.arange(float(count)), quantity=quantity)
        assert done.added == count
        assert list(loads.samples(series).values()) == [float(step) for step in range(count)]


@pytest.mark.slow
def test_samples_without_value_or_of_unequal_number_are_refused(store, loads):
    with pytest.raises(ShapeError, match="without a value"):
        loads.add(days(0), [0, 10], [1.0, np.nan])
    with (
        pytest.raises(ShapeError, match="differ in number"),
        store.writing("add", "Ana", now_utc=days(3)) as connection,
    ):
        save_samples.Appending(connection, _series(connection), 1).add(ints(1, 2), floats(1.0))
    with (
        pytest.raises(StoreError, match="no logger series 99"),
        store.writing("add", "Ana", now_utc=days(3)) as connection,
    ):
        save_samples.Appending(connection, 99, 1)
    with store.reading() as connection:
        assert connection.execute(select(func.count()).select_from(Sample)).scalar_one() == 0


def _series(connection):
    return segment_for(connection, 1, PRESSURE, "kPa")[0]


def test_nothing_of_a_download_stays_when_it_is_interrupted(store, loads):
    loads.add(days(0), [0, 10], [1.0, 2.0])

    def interrupted():
        with store.writing("add", "Ana", now_utc=days(3)) as connection:
            series, _ = segment_for(connection, 1, PRESSURE, "kPa")
            number = add_download(connection, series, layout="plain", zone="UTC", by="Ana")
            save_samples.Appending(connection, series, number).add(ints(10, 20), floats(9.0, 3.0))
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        interrupted()
    assert loads.samples() == {0: 1.0, 10: 2.0}
    with store.reading() as connection:
        assert connection.execute(select(func.count()).select_from(SampleConflict)).scalar_one() == 0
        assert len(fetch_samples.downloads(connection)) == 1


def test_downloads_say_what_became_of_their_rows(store, loads):
    loads.add(days(0), [0, 3_600_000], [1.0, 2.0])
    counts = Counts(
        rows=7, added=2, same=1, repeated=1, conflicts=1, missing=2, events=3, first_ms=0, last_ms=3_600_000
    )
    with store.writing("add", "Ana", now_utc=days(3)) as connection:
        # a download is completed in the unit of work that records it, and never later
        number = add_download(connection, _series(connection), layout="plain", zone="UTC", by="Ana")
        complete_download(connection, number, counts, None)
    with pytest.raises(StoreError, match="never altered"), store.writing("add", "Ana", now_utc=days(4)) as connection:
        complete_download(connection, number, counts, None)
    with store.reading() as connection:
        _, row = fetch_samples.downloads(connection).to_dict("records")
        assert fetch_samples.downloads(connection, sha256="none").empty
        assert fetch_samples.downloads(connection, days(-1)).empty
    names = ("rows", "added", "same", "repeated", "conflicts", "missing", "events")
    assert [row[name] for name in names] == [7, 2, 1, 1, 1, 2, 3]
    assert (row["instrument"], row["quantity"], row["unit"], row["zone"]) == ("L1", PRESSURE, "kPa", "UTC")
    assert row["last_utc"] == dt.datetime(1970, 1, 1, 1, tzinfo=dt.UTC)


def test_deployments_tell_what_hung_where(store, instrument, well_id):
    with store.writing("add", "Ana", now_utc=follow(store, SUNDAY)) as connection:
        insert_columns(connection, "instrument", {"id": [2], "code": ["B1"]}, 1)
    hung = {"site_id": 1, "valid_from_utc": MONDAY}
    add(store, "deployment", instrument_id=1, well_id=well_id, hanging_depth_m=12.5, barometer_id=2, **hung)
    add(store, "deployment", instrument_id=2, valid_until_utc=days(3), **hung)
    with store.reading() as connection:
        table = fetch_samples.deployments(connection)
    columns = ["site", "well", "access", "instrument", "kind", "barometer"]
    assert table[columns].to_numpy().tolist() == [
        ["S", "", "", "B1", "", ""],
        ["S", "MW-1", "main", "L1", "vented pressure logger", "B1"],
    ]
    assert table["removed_at_utc"].isna().tolist() == [False, True]
    assert table["hanging_depth_m"].tolist()[1] == 12.5


def test_corrections_are_recorded_and_taken_back(store, loads):
    _, series, _ = loads.add(days(0), [0], [1.0])
    with store.writing("correct", "Ana", now_utc=days(1)) as connection:
        parameters = {"method": "linear", "leave_out": [3, 4]}
        number = save_samples.correct(
            connection, series, "anchoring", parameters, days(0), None, "Ana", "two visits were wrong"
        )
    with store.reading() as connection:
        [row] = fetch_samples.corrections(connection).to_dict("records")
        assert fetch_samples.corrections(connection, days(0)).empty
    assert (row["correction_id"], row["kind"], row["parameters"]) == (number, "anchoring", parameters)
    assert (row["start_utc"], row["reason"], row["instrument"]) == (days(0), "two visits were wrong", "L1")
    with store.writing("correct", "Ben", now_utc=days(2)) as connection:
        save_samples.take_back(connection, number, "Ben", "they were right")
    with store.reading() as connection:
        assert fetch_samples.corrections(connection).empty
        assert len(fetch_samples.corrections(connection, days(1))) == 1
    with (
        pytest.raises(NotFoundError, match="taken back already"),
        store.writing("add", "Ana", now_utc=days(3)) as connection,
    ):
        save_samples.take_back(connection, number, "Ben", "again")


def test_a_correction_without_reason_series_or_forward_span_is_refused(store, loads):
    _, series, _ = loads.add(days(0), [0], [1.0])
    with store.writing("add", "Ana", now_utc=days(3)) as connection:
        with pytest.raises(SettingsError, match="needs its reason"):
            save_samples.correct(connection, series, "step", {}, None, None, "Ana", " ")
        with pytest.raises(SettingsError, match=r"ends .* before it starts"):
            save_samples.correct(connection, series, "step", {}, days(1), days(0), "Ana", "why")
        with pytest.raises(NotFoundError, match="no logger series 99"):
            save_samples.correct(connection, 99, "step", {}, None, None, "Ana", "why")
        with pytest.raises(SettingsError, match="take a correction back needs"):
            save_samples.take_back(connection, 1, "", "why")


@pytest.mark.parametrize("size", [0, 1000, PIECE + 1, 3 * PIECE])
def test_a_kept_file_comes_back_byte_for_byte(store, tmp_path, size):
    path = tmp_path / "download.csv"
    path.write_bytes(np.random.default_rng(1).bytes(size))
    digest = save_source(store, path)
    with store.reading() as connection:
        assert b"".join(source_bytes(connection, 1)) == path.read_bytes()
        other = tmp_path / "other"
        other.mkdir()
        assert write_source(connection, 1, other).read_bytes() == path.read_bytes()
        row = connection.execute(select(SourceFile)).one()
        assert (row.sha256, row.size_bytes, row.loaded_at_utc) == (digest, size, MONDAY)
        pieces = connection.execute(select(func.count()).select_from(SourcePiece)).scalar_one()
        assert (pieces > 0) == (size > PIECE)
        with pytest.raises(NotFoundError, match="no source file 9"):
            list(source_bytes(connection, 9))
    assert save_source(store, path) == digest, "the same bytes are kept once"


def save_source(store, path):
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    with KeptSource(path) as packing, store.writing("add", "Ana", now_utc=MONDAY) as connection:
        number = packing.keep(connection, sha256=digest, layout="plain", row_count=3, by="Ana")
    assert number == 1
    return digest


def test_a_file_that_changed_while_it_was_read_is_refused(store, tmp_path):
    path = tmp_path / "download.csv"
    path.write_text("one\n")
    with (
        pytest.raises(IngestError, match="changed while it was read"),
        KeptSource(path) as packing,
        store.writing("add", "Ana", now_utc=days(3)) as connection,
    ):
        packing.keep(connection, sha256="0" * 64, layout="plain", row_count=3, by="Ana")


@pytest.mark.slow
def test_one_series_for_each_quantity_and_take(store, loads):
    loads.add(days(0), [0], [1.0])
    loads.add(days(0), [0], [1.0], quantity="battery", unit="V")
    with store.reading() as connection:
        kept = connection.execute(select(LoggerSeries.quantity, LoggerSeries.segment).order_by(LoggerSeries.id)).all()
    assert [tuple(row) for row in kept] == [(PRESSURE, 1), ("battery", 1)]
