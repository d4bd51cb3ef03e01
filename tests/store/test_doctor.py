"""The examination of a record: what something else changed is found and named, a clean record is clean."""

import datetime as dt
import hashlib
import json
import sqlite3
import zlib

import numpy as np
import pytest
from sqlalchemy import Integer, text

from gwnet.errors import SettingsError
from gwnet.store import revision
from gwnet.store.fetch import read_samples
from gwnet.store.fetch.states import states
from gwnet.store.integrity import chain, chained, copies, database, digests, examine, finding, guards, stored
from gwnet.store.models.schema import METADATA
from gwnet.store.models.states import State, StatePart
from gwnet.store.save import samples as save_samples
from gwnet.store.save.bulk import insert_columns, reserve_ids, retire
from gwnet.store.save.downloads import add_download
from gwnet.store.save.packs import renew_packs
from gwnet.store.save.segments import segment_for
from gwnet.store.session import open_store
from gwnet.store.work import accept_clock, newest_recording

from .conftest import filled_record
from .released.rows import CORRECTED

LATER = CORRECTED + dt.timedelta(days=90)


def add_site(store, code, when):
    with store.writing("load", "Ana", now_utc=when) as connection:
        insert_columns(connection, "site", {"id": reserve_ids(connection, "site", 1), "code": [code]}, 1)


@pytest.fixture
def record(filled):
    """Give a record from before states to which an import and four acts were added: a site, a retired row, samples, another site."""
    add_site(filled, "NEW-1", LATER)
    content = b"site,well\nS,MW-1\n"
    with filled.writing("load", "Ana", now_utc=LATER + dt.timedelta(minutes=1)) as connection:
        columns = {"name": "real.csv", "sha256": hashlib.sha256(content).hexdigest(), "size_bytes": len(content)}
        columns |= {"content": [zlib.compress(content)], "layout": "wells", "row_count": 1, "loaded_by": "Ana"}
        insert_columns(connection, "source_file", columns, 1)
    with filled.writing("correct", "Ben", now_utc=LATER + dt.timedelta(hours=1)) as connection:
        query = "SELECT min(id) FROM well_record WHERE retired_at_utc IS NULL"
        retire(connection, "well_record", [connection.execute(text(query)).scalar_one()], by="Ben", reason="test")
    with filled.writing("logger load", "Ana", now_utc=LATER + dt.timedelta(hours=2)) as connection:
        series, others = segment_for(connection, 1, "water temperature", "degC")
        number = add_download(connection, series, layout="plain", zone="UTC", by="Ana")
        appending = save_samples.Appending(connection, series, number, others)
        appending.add(np.arange(0, 3_600_000, 60_000), np.round(np.sin(np.arange(60)), 3))
        appending.add(np.array([4_000_000, 4_000_500, 4_200_000]), np.array([1.0, 2.0, 3.0]))
        appending.finish()
    add_site(filled, "NEW-2", LATER + dt.timedelta(hours=3))
    return filled


def tamper(store, *statements):
    """Change a database as somebody would who takes its guards off."""
    with store.altering() as connection:
        if not store.is_sqlite:
            connection.execute(text("SET session_replication_role = replica"))
        else:
            made = connection.execute(text("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")).all()
            for name, _ in made:
                connection.execute(text(f"DROP TRIGGER {name}"))
        for statement in statements:
            connection.execute(text(statement))
        if not store.is_sqlite:
            connection.execute(text("SET session_replication_role = DEFAULT"))
        else:
            for _, statement in made:
                connection.exec_driver_sql(statement)


def findings(store):
    """Return what is found; the kept file of the released record never had the bytes of its hash."""
    return tuple(one for one in examine.examine(store).findings if (one.table, one.row) != ("source_file", 1))


@pytest.mark.slow
def test_a_record_that_only_the_program_wrote_is_clean(record):
    assert [found.message for found in findings(record)] == []
    done = examine.examine(record)
    not_checked = [check.check for check in done.checks if check.outcome.startswith("not checked")]
    assert not_checked == ([] if record.is_sqlite else not_checked[:1])
    described = [name for name, table in METADATA.tables.items() if digests.is_described(table)]
    assert {f"rows of {name}" for name in described} <= {check.check for check in done.checks}


@pytest.mark.slow
@pytest.mark.parametrize(
    ("change", "state", "table", "words"),
    [
        ("UPDATE site SET code = 'OTHER' WHERE code = 'NEW-1'", 3, "site", "not as it was recorded"),
        ("UPDATE measuring_point SET elevation_m = elevation_m + 0.5 WHERE id = 1", 1, "measuring_point", "Row 1 "),
        ("UPDATE well_record SET hazards = 'none' WHERE id = 1", 1, "well_record", "not as it was recorded"),
        ("UPDATE well_record SET retired_by = 'Eve' WHERE retired_reason = 'test'", 5, "well_record", "otherwise"),
        (
            "UPDATE well_record SET retired_at_utc = NULL, retired_by = NULL, retired_reason = NULL"
            " WHERE retired_reason = 'test'",
            5,
            "well_record",
            "on record again",
        ),
        ("UPDATE download SET row_count = 7 WHERE id = (SELECT max(id) FROM download)", 6, "download", "not as it"),
        ("UPDATE sample SET value = value + 0.5 WHERE time_ms = 120000", 6, "sample", "00:02:00.000 UTC"),
        ("DELETE FROM sample WHERE time_ms = 4000500", 6, "sample", "first at 1970-01-01 01:06:40.500 UTC"),
        ("UPDATE sample SET flag = 3 WHERE time_ms = 0", None, "sample", "other flags"),
        ("UPDATE sample SET flag = NULL", None, "sample", "lost their flags"),
        ("DELETE FROM level_reading WHERE level_record_id = 1", 1, "level_reading", "is missing"),
        ("UPDATE source_file SET name = 'x' WHERE name = 'real.csv'", 4, "source_file", "not as it was"),
        ("UPDATE state SET recorded_by = 'Eve' WHERE serial = 3", 3, "state", "its digest is not"),
        ("UPDATE state SET recorded_at_utc = '2020-01-01 00:00:00+00' WHERE serial = 3", 3, "state", "is not after"),
        ("UPDATE state SET previous_digest = digest WHERE serial = 3", 3, "state", "digest of the state before"),
        ("DELETE FROM state_part WHERE state_serial = 5", 5, "state", "its digest is not"),
    ],
)
def test_a_change_behind_the_program_is_found_with_its_state(record, change, state, table, words):
    if record.is_sqlite:
        change = change.replace("+00'", ".000000'")
    tamper(record, change)
    found = findings(record)
    assert any((one.state, one.table) == (state, table) and words in one.message for one in found), found
    assert all(one.fix for one in found)


def test_a_row_that_no_state_added_is_found(record):
    recorded = "'2024-07-01 00:00:00.000000'"
    tamper(
        record,
        "INSERT INTO review (level_event_id, state, recorded_at_utc, recorded_by)"
        f" VALUES ((SELECT max(id) FROM level_event), 'approved', {recorded}, 'Eve')",
    )
    assert "added by no state" in findings(record)[0].message
    tamper(record, "INSERT INTO sample (series_id, time_ms, value) VALUES (1, 77, 1.0)")
    assert any("the states of the record added" in one.message for one in findings(record))


def test_a_state_that_is_missing_is_found(record):
    tamper(record, "DELETE FROM state_part WHERE state_serial = 3", "DELETE FROM state WHERE serial = 3")
    words = [one.message for one in findings(record) if one.table == "state"]
    assert words[0].startswith("State 4 (load by Ana) does not fit: it follows state 2;")


def test_a_garbled_pack_is_found(record):
    column = "zeroblob(length(content))" if record.is_sqlite else "decode(repeat('00', length(content)), 'hex')"
    tamper(record, f"UPDATE sample_pack SET content = {column} WHERE first_ms = 0 AND download_id > 1")
    found = findings(record)
    assert {(one.check, one.table) for one in found} == {("sample packs against samples", "sample_pack")}
    assert all("gwnet doctor --renew" in one.fix for one in found)
    with record.altering() as connection:
        assert renew_packs(connection) == tuple(sorted({one.row for one in found}))
    assert findings(record) == ()


@pytest.mark.parametrize(
    "change",
    [
        "DELETE FROM sample_pack WHERE first_ms = 0 AND download_id > 1",
        "DELETE FROM sample_pack",
        "UPDATE sample_pack SET download_id = 1 WHERE download_id > 1",
    ],
)
def test_samples_that_no_pack_of_their_download_covers_are_found_and_packed_anew(record, change):
    with record.reading() as connection:
        every = [tuple(row) for row in connection.execute(text("SELECT id FROM logger_series"))]
        before = [read_samples.read_packs(connection, number) for (number,) in every]
    tamper(record, change)
    found = findings(record)
    assert {(one.check, one.table) for one in found} == {("sample packs against samples", "sample_pack")}
    assert any("Packs hold " in one.message and " that download " in one.message for one in found)
    with record.altering() as connection:
        assert renew_packs(connection) == tuple(sorted({one.row for one in found}))
        assert renew_packs(connection) == ()
        for (number,), (times, values) in zip(every, before, strict=True):
            again = read_samples.read_packs(connection, number)
            np.testing.assert_array_equal(again[0], times)
            np.testing.assert_array_equal(again[1], values)
    assert findings(record) == ()


def test_packs_are_left_where_the_samples_are_not_as_they_were_recorded(record):
    """Somebody may still need what the pack holds and the samples have lost."""
    tamper(record, "UPDATE sample SET value = value + 0.5 WHERE time_ms = 120000")
    with record.altering() as connection:
        assert renew_packs(connection) == ()
    assert {one.table for one in findings(record)} == {"sample", "sample_pack"}


def test_kept_files_are_compared_with_their_hashes(record):
    column = "zeroblob(9)" if record.is_sqlite else "decode('00', 'hex')"
    tamper(record, f"UPDATE source_file SET content = {column} WHERE name = 'real.csv'")
    assert [one.table for one in findings(record)] == ["source_file"]


def test_a_trigger_that_is_missing_is_found_and_made_anew(record):
    on_table = "" if record.is_sqlite else " ON well"
    with record.altering() as connection:
        connection.execute(text(f"DROP TRIGGER guard_well_update{on_table}"))
    assert [one.message for one in findings(record)] == ["The trigger guard_well_update is missing."]
    with record.altering() as connection:
        guards.renew_guards(connection)
    assert findings(record) == ()


@pytest.mark.postgres
def test_a_trigger_that_is_switched_off_or_calls_something_else_is_found(postgres_url):
    with filled_record(postgres_url) as store:
        with store.altering() as connection:
            connection.execute(text("ALTER TABLE well DISABLE TRIGGER guard_well_update"))
            body = "BEGIN RETURN NEW; END"
            connection.execute(
                text(f"CREATE OR REPLACE FUNCTION gwnet_refuse() RETURNS trigger LANGUAGE plpgsql AS $${body}$$")
            )
        words = [one.message for one in findings(store)]
    assert "The trigger guard_well_update is changed." in words
    assert "The function gwnet_refuse of the triggers is missing or changed." in words


def test_two_revisions_are_found(record):
    tamper(record, "INSERT INTO alembic_version VALUES ('0001')")
    [one] = findings(record)
    assert one.table == "alembic_version"
    assert "0001" in one.message


def test_an_index_that_is_missing_is_found(record):
    tamper(record, "DROP INDEX uq_well_site_code")
    assert [one.table for one in findings(record)] == ["uq_well_site_code"]


def test_a_file_that_is_no_database_is_one_finding_a_check(tmp_path):
    path = tmp_path / "notes.sqlite"
    path.write_text("not a database, only a long enough text to have a header " * 20)
    store = open_store(path)
    found = findings(store)
    store.close()
    assert found
    assert all("not a gwnet database" in one.message for one in found)


def test_states_ahead_of_the_clock_are_found_until_an_act_says_so(store):
    future = dt.datetime(2900, 1, 1, tzinfo=dt.UTC)
    add_site(store, "A", future)
    [one] = findings(store)
    assert (one.check, one.state) == ("clock", 1)
    accept_clock(store, by="Ana", reason="The clock was at 2900")
    assert findings(store) == ()
    add_site(store, "B", None)
    with store.reading() as connection:
        table = states(connection)
    assert table["recorded_at_utc"].tolist()[1:] == [future + dt.timedelta(microseconds=n) for n in (1, 2)]
    assert table["act"].tolist() == ["load", "accept clock", "load"]
    with pytest.raises(SettingsError, match="nothing to accept"):
        accept_clock(store, by="Ana", reason="again")
    with pytest.raises(SettingsError, match="not said"):
        accept_clock(store, by="Ana", reason=" ")


def test_digests_are_the_same_on_both_databases(tmp_path, postgres_url):
    told = []
    for url in (str(tmp_path / "record.sqlite"), postgres_url):
        with filled_record(url) as store, store.reading() as connection:
            told.append([part.covered for part in stored.parts_of_record(connection)])
            assert newest_recording(connection) == states(connection)["recorded_at_utc"].iloc[-1]
    assert told[0] == told[1]


def test_rows_of_every_table_are_found_again_by_a_whole_number():
    for table in METADATA.tables.values():
        if digests.is_described(table):
            assert isinstance(table.c[digests.key_of(table)].type, Integer), table.name


def test_a_negative_zero_is_what_it_is_read_as(store):
    with store.writing("load", "Ana") as connection:
        insert_columns(connection, "instrument", {"id": [1], "code": ["L1"]}, 1)
        series, others = segment_for(connection, 1, "water pressure", "kPa")
        number = add_download(connection, series, layout="plain", zone="UTC", by="Ana")
        appending = save_samples.Appending(connection, series, number, others)
        appending.add(np.array([0, 60_000]), np.array([-0.0, 1.0]))
        appending.finish()
        columns = {"instrument_id": 1, "checked_on": [dt.date(2024, 1, 1)], "recorded_by": "Ana"}
        insert_columns(connection, "tape_check", {**columns, "tape_reading_m": [-0.0], "reference_reading_m": [0.5]}, 1)
    assert findings(store) == ()


@pytest.mark.parametrize("form", [digests.FIRST_FORM, digests.FORM])
def test_rows_are_hashed_alike_as_arrays_and_as_lists(form):
    """What the doctor reads again as lists was described from arrays."""
    words = ["Ä", "Ä", None, "x" * 70, "\ud800"]
    numbers = np.array([1.5, -0.0, np.nan, 2.0, 1.5])
    arrays = digests.hash_rows([np.arange(5), np.array([True, False, True, True, False]), numbers, words], 5, form)
    lists = digests.hash_rows([[0, 1, 2, 3, 4], [1, 0, 1, 1, 0], [1.5, 0.0, None, 2.0, 1.5], words], 5, form)
    np.testing.assert_array_equal(arrays, lists)


def of_texts(words, form):
    return digests.hash_rows([words], len(words), form).view("<u8")[:, 1].tolist()


def test_texts_are_covered_as_they_are_where_they_are_short_and_by_their_hash_otherwise():
    words = ["", "a", "ab", "1234567", "a\0", "Ä", "12345678", "ÄÄÄÄ", "x" * 5_000]
    alone = [of_texts([word], digests.FORM)[0] for word in words]
    assert of_texts(words, digests.FORM) == alone
    assert of_texts(words[:5], digests.FORM) == alone[:5]  # all of ASCII: packed at once
    assert len(set(alone)) == len(words)
    assert alone[2] == int.from_bytes(b"ab\0\0\0\0\0\2", "little")
    hashed = [int.from_bytes(hashlib.sha256(word.encode()).digest()[:8], "little") for word in words]
    assert alone[6:] == [number | 1 << 63 for number in hashed[6:]]
    assert of_texts(words, digests.FIRST_FORM) == hashed


def test_rows_of_one_key_are_ordered_by_their_hashes():
    random = np.random.default_rng(5)
    for most in (1, 3, 40):
        keys = np.sort(random.integers(0, 90 // most, 90))
        hashes = random.integers(0, 256, (90, 8), dtype=np.uint8)
        order = digests.order_of(keys, hashes)
        np.testing.assert_array_equal(order, np.lexsort((hashes.view("<u8").ravel(), keys)))


def test_parts_of_the_first_form_stay_valid(store, monkeypatch):
    columns = {"instrument_id": [1, 1], "checked_on": [dt.date(2024, 1, 1)] * 2, "recorded_by": "Ana"}
    columns |= {"tape_reading_m": [0.5, 1.5], "reference_reading_m": [0.5, 0.5], "notes": ["dry", "much longer"]}
    with store.writing("load", "Ana") as connection:
        insert_columns(connection, "instrument", {"code": ["L1", "L2"]}, 2)
        monkeypatch.setattr(digests, "FORM", digests.FIRST_FORM)
        insert_columns(connection, "tape_check", columns, 2)
    monkeypatch.undo()
    assert findings(store) == ()
    tamper(store, "UPDATE tape_check SET notes = 'wet' WHERE id = 1")
    assert [(one.table, one.row) for one in findings(store)] == [("tape_check", 1)]


def test_what_many_rows_have_in_common_is_described_once_and_found_changed(store):
    with store.writing("load", "Ana") as connection:
        insert_columns(connection, "instrument", {"code": ["L1", "L2"]}, 2)
        columns = {"instrument_id": [1, 1], "checked_on": [dt.date(2024, 1, 1)] * 2, "recorded_by": "Ana"}
        columns |= {"tape_reading_m": [0.5, 1.5], "reference_reading_m": [0.5, 0.5], "notes": ["dry", "dry"]}
        insert_columns(connection, "tape_check", columns, 2)
    with store.reading() as connection:
        [part] = chained.parts_of(connection, "tape_check", digests.ADDED)
    described = json.loads(part.described)
    assert sorted(described["each"]) == ["id", "tape_reading_m"]
    assert described["same"]["notes"] == "dry"
    assert described["same"]["checked_on"] == "2024-01-01"
    assert findings(store) == ()
    tamper(store, "UPDATE tape_check SET notes = 'wet' WHERE id = 2")
    assert [(one.table, one.row) for one in findings(store)] == [("tape_check", 2)]


def test_keys_are_packed_and_unpacked():
    keys = np.array([5, 6, 7, 100, 2], np.int64)
    np.testing.assert_array_equal(digests.unpack_keys(digests.pack_keys(keys)), keys)
    assert len(digests.pack_keys(np.arange(100_000))) < 8_000


def test_the_digest_of_a_state_covers_every_column_and_part():
    columns = dict.fromkeys(chain.COVERED, "x")
    parts = [["well", "added", "{}", 1, "0" * 64]]
    every = {chain.state_digest(columns, parts)}
    for name in chain.COVERED:
        every.add(chain.state_digest({**columns, name: "y"}, parts))
    every |= {chain.state_digest(columns, []), chain.state_digest(columns, [["well", "retired", "{}", 1, "0" * 64]])}
    assert len(every) == len(chain.COVERED) + 3
    assert set(chain.COVERED) | {"digest"} == {column.name for column in State.__table__.columns}


def test_what_is_named_and_what_to_do():
    assert finding.RESTORE.count(".") >= 2
    assert chained.MOST_NAMED >= 10
    assert copies.DERIVED
    assert StatePart.__tablename__ in METADATA.tables
    assert issubclass(database.NotChecked, Exception)


def flip(path, place):
    content = bytearray(path.read_bytes())
    content[place // 8] ^= 1 << (place % 8)
    path.write_bytes(content)


def logical(path):
    """Return all that a file says, or None where it cannot be read to its end."""
    connection = sqlite3.connect(path)
    connection.text_factory = bytes
    try:
        tables = connection.execute("SELECT type, name, tbl_name, sql FROM sqlite_master ORDER BY name").fetchall()
        rows = {}
        for kind, name, _, _ in tables:
            if kind == b"table":
                rows[name] = sorted(map(repr, connection.execute(f"SELECT * FROM {name.decode()}")))
    except (sqlite3.Error, UnicodeDecodeError, OverflowError, MemoryError):
        return None
    finally:
        connection.close()
    return tables, rows


@pytest.mark.slow
def test_sixty_flipped_bits_are_each_found(tmp_path):
    """A flipped bit that changes anything that the file says is found; in bytes that hold nothing it changes nothing."""
    source, path = tmp_path / "record.sqlite", tmp_path / "flipped.sqlite"
    with filled_record(str(source)) as store:
        add_site(store, "NEW-1", LATER)
    connection = sqlite3.connect(source)
    connection.execute("PRAGMA journal_mode = DELETE")
    connection.execute("VACUUM")
    connection.close()
    clean, size = logical(source), source.stat().st_size
    random = np.random.default_rng(11)
    found = nothing = 0
    while found < 60:
        path.write_bytes(source.read_bytes())
        place = int(random.integers(0, size * 8))
        flip(path, place)
        says_the_same = logical(path) == clean
        store = open_store(path)
        noticed = findings(store)
        store.close()
        if says_the_same and not noticed:
            nothing += 1
            continue
        assert noticed, f"bit {place} of {size} bytes"
        assert all(one.message and one.fix for one in noticed)
        found += 1
    assert nothing < 600
    assert revision.HEAD
