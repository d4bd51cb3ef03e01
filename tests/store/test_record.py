import datetime as dt

import numpy as np
import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import func, inspect, select, text

from gwnet.errors import OverlapError, SchemaAheadError, SchemaBehindError, ShapeError, StoreError
from gwnet.store import revision
from gwnet.store.fetch import registry as fetch
from gwnet.store.fetch.states import state_at
from gwnet.store.models.base import known_on
from gwnet.store.models.measuring_points import MeasuringPoint
from gwnet.store.models.schema import METADATA, RECORDED_TABLES
from gwnet.store.save.bulk import insert_columns, reserve_ids, retire
from gwnet.store.session import open_store

from ..conftest import postgres_database
from ..empty_records import upgrade_by_revisions, upgrade_quickly
from .conftest import MONDAY, add

TUESDAY, WEDNESDAY = MONDAY + dt.timedelta(days=1), MONDAY + dt.timedelta(days=2)


def year(number):
    return dt.datetime(number, 1, 1, tzinfo=dt.UTC)


def point(store, well_id, start, end=None, elevation=100.0, **more):
    columns = {"well_id": well_id, "access": "main", "elevation_m": elevation, "valid_from_utc": start}
    return int(add(store, "measuring_point", **{**columns, "valid_until_utc": end, **more})[0])


def test_models_and_revisions_make_the_same_tables(store):
    with store.reading() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, METADATA) == []


def test_the_program_knows_every_revision():
    script = ScriptDirectory.from_config(revision.config())
    known = [found.revision for found in script.walk_revisions()][::-1]
    assert known == list(revision.REVISIONS)


def test_every_constraint_and_index_has_a_name():
    for table in METADATA.tables.values():
        for constraint in table.constraints:
            assert constraint.name, f"{table.name}: {constraint}"
        for index in table.indexes:
            assert index.name


def test_every_recorded_table_carries_both_times():
    wanted = {"valid_from_utc", "valid_until_utc", "recorded_at_utc", "recorded_by", "retired_at_utc", "retired_by"}
    wanted |= {"reason", "source_file_id", "source_row"}
    for name in RECORDED_TABLES:
        assert wanted <= set(METADATA.tables[name].columns.keys())


def test_overlapping_measuring_points_are_refused_by_the_database(store, well_id):
    point(store, well_id, year(2018), year(2020))
    with pytest.raises(OverlapError, match="in force at the same time"):
        point(store, well_id, year(2019))
    point(store, well_id, year(2020))


def test_another_access_of_the_same_well_may_overlap(store, well_id):
    point(store, well_id, year(2018))
    point(store, well_id, year(2018), access="side port")


def test_a_retired_measuring_point_makes_room(store, well_id):
    old = point(store, well_id, year(2018))
    with store.writing("retire", "Ben", now_utc=TUESDAY) as connection:
        retire(connection, "measuring_point", [old], by="Ben", reason="resurveyed")
    point(store, well_id, year(2018), elevation=100.3, recorded_at_utc=TUESDAY)


def test_known_on_gives_the_record_of_that_moment(store, well_id):
    old = point(store, well_id, year(2018), recorded_at_utc=MONDAY)
    columns = {"well_id": well_id, "access": "main", "valid_from_utc": year(2018), "recorded_by": "Ben"}
    with store.writing("correct", "Ben", now_utc=TUESDAY) as connection:
        retire(connection, "measuring_point", [old], by="Ben", reason="typing error")
        insert_columns(connection, "measuring_point", {**columns, "elevation_m": 100.3}, 1)

    def elevations(moment):
        with store.reading() as connection:
            return list(connection.scalars(select(MeasuringPoint.elevation_m).where(known_on(MeasuringPoint, moment))))

    assert elevations(MONDAY - dt.timedelta(seconds=1)) == []
    assert elevations(MONDAY) == [100.0]
    assert elevations(TUESDAY - dt.timedelta(microseconds=1)) == [100.0]
    assert elevations(TUESDAY) == [100.3]
    assert elevations(None) == [100.3]


def test_known_on_without_a_zone_is_refused():
    with pytest.raises(StoreError, match="needs a time with a zone"):
        known_on(MeasuringPoint, dt.datetime(2026, 1, 1))  # noqa: DTZ001


def test_retiring_twice_is_refused(store, well_id):
    old = point(store, well_id, year(2018))
    for attempt in range(2):
        if attempt:
            with (
                pytest.raises(StoreError, match="not live any more"),
                store.writing("retire", "Ben", now_utc=WEDNESDAY) as connection,
            ):
                retire(connection, "measuring_point", [old], by="Ben", reason="again")
        else:
            with store.writing("retire", "Ben", now_utc=TUESDAY) as connection:
                retire(connection, "measuring_point", [old], by="Ben", reason="once")


@pytest.mark.slow
def test_a_reading_is_never_altered(store, well_id):
    event = add_event(store, well_id)
    with pytest.raises(StoreError, match="never altered"), store.altering() as connection:
        connection.execute(text("UPDATE level_event SET access = 'other' WHERE id = :id"), {"id": event})


def add_event(store, well_id):
    with store.writing("add", "Ana", now_utc=MONDAY) as connection:
        ids = reserve_ids(connection, "level_event", 1)
        columns = {"id": ids, "well_id": well_id, "access": "main", "measured_at_utc": MONDAY}
        insert_columns(connection, "level_event", {**columns, "time_known": True, "event": ""}, 1)
    return int(ids[0])


def test_two_live_rows_of_one_key_are_refused(store, well_id):
    add(store, "well_record", well_id=well_id)
    with pytest.raises(StoreError, match=r"(?i)unique"):
        add(store, "well_record", well_id=well_id)


def test_foreign_keys_hold(store):
    with pytest.raises(StoreError, match=r"(?i)foreign key"):
        add(store, "well_record", well_id=999)


def test_an_interval_runs_forward(store, well_id):
    with pytest.raises(StoreError, match="interval_forward"):
        point(store, well_id, year(2020), year(2019))


def test_an_exception_rolls_everything_back(store):
    def interrupted():
        with store.writing("add", "Ana") as connection:
            insert_columns(connection, "site", {"id": reserve_ids(connection, "site", 1), "code": ["S"]}, 1)
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        interrupted()
    with store.reading() as connection:
        assert connection.execute(select(func.count()).select_from(METADATA.tables["site"])).scalar_one() == 0


def test_values_come_back_as_they_went_in(store, well_id):
    moments = np.array(["1922-07-28T12:00:00.123456", "2024-03-12T09:40"], "datetime64[us]")
    ends = np.array(["1923-01-01", "NaT"], "datetime64[us]")
    columns = {
        "well_id": well_id,
        "access": "main",
        "elevation_m": np.array([1356.123456789, -3.25]),
        "accuracy_m": np.array([np.nan, 0.005]),
        "valid_from_utc": moments,
        "valid_until_utc": ends,
        "surveyed_on": np.array(["NaT", "2024-03-12"], "datetime64[D]"),
        "description": ["Rim; „Nord“ <b>&", None],
    }
    add(store, "measuring_point", 2, **columns)
    with store.reading() as connection:
        frame = fetch.measuring_points(connection)
    assert frame["elevation_m"].tolist() == [1356.123456789, -3.25]
    assert frame["accuracy_m"].isna().tolist() == [True, False]
    assert frame["valid_from_utc"].dt.tz_localize(None).to_numpy(dtype="datetime64[us]").tolist() == moments.tolist()
    assert frame["valid_until_utc"].isna().tolist() == [False, True]
    assert frame["surveyed_on"].tolist() == [None, dt.date(2024, 3, 12)]
    assert frame["description"].tolist() == ["Rim; „Nord“ <b>&", ""]


def test_many_rows_keep_their_order_and_ids(store, well_id):
    count = 1234
    ids = add(store, "well", count, site_id=1, code=[f"W{number:04d}" for number in range(count)])
    assert len(set(ids.tolist())) == count
    with store.reading() as connection:
        table = METADATA.tables["well"]
        rows = connection.execute(select(table.c.id, table.c.code).where(table.c.code.like("W%"))).all()
    assert {code: number for number, code in rows} == {f"W{n:04d}": i for n, i in enumerate(ids.tolist())}


def test_a_column_of_the_wrong_length_is_refused(store):
    with pytest.raises(ShapeError, match="'code' has 1 values; expected 2"):
        add(store, "well", 2, site_id=1, code=["only one"])


def test_the_newest_state_is_that_of_the_last_change(store, well_id):
    old = point(store, well_id, year(2018))
    with store.writing("retire", "Ben", now_utc=WEDNESDAY) as connection:
        retire(connection, "measuring_point", [old], by="Ben", reason="gone")
    with store.reading() as connection:
        assert state_at(connection).recorded_at_utc == WEDNESDAY


def test_a_database_of_a_newer_program_is_refused_and_left_alone(store):
    with store.altering() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    with pytest.raises(SchemaAheadError, match="newer than this version"):
        revision.guard(store)
    with pytest.raises(SchemaAheadError, match="nothing was changed"):
        revision.upgrade(store)


def test_a_database_of_an_older_program_asks_for_the_upgrade(store, monkeypatch):
    monkeypatch.setattr(revision, "REVISIONS", (*revision.REVISIONS, "9999"))
    monkeypatch.setattr(revision, "HEAD", "9999")
    with pytest.raises(SchemaBehindError, match="gwnet upgrade"):
        revision.guard(store)


def test_upgrading_twice_changes_nothing(store):
    assert revision.upgrade(store) == (revision.HEAD, revision.HEAD)


def test_a_database_of_something_else_is_refused(store_url):
    other = open_store(store_url, create=True)
    with other.altering() as connection:
        connection.execute(text("CREATE TABLE something (id INTEGER)"))
    with pytest.raises(StoreError, match="holds no gwnet record"):
        revision.guard(other)
    with pytest.raises(StoreError, match="tables of something else"):
        revision.upgrade(other)
    other.close()


def test_a_mistyped_file_is_not_made(tmp_path):
    with pytest.raises(StoreError, match="gwnet init"):
        open_store(tmp_path / "mistyped.sqlite")
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_is_no_database(tmp_path):
    path = tmp_path / "notes.txt"
    path.write_text("not a database, only a long enough text to have a header " * 20)
    opened = open_store(path)
    with pytest.raises(StoreError, match="not a gwnet database"):
        revision.guard(opened)


@pytest.mark.slow
def test_sqlite_keeps_a_write_ahead_log_and_foreign_keys(tmp_path):
    opened = open_store(tmp_path / "a.sqlite", create=True)
    revision.upgrade(opened)
    with opened.reading() as connection:
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar_one() == "wal"
        assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar_one() == 1
    opened.close()


def test_one_value_may_hold_for_all_rows(store, well_id):
    columns = {"well_id": np.int64(well_id), "access": ["a", "b"], "elevation_m": np.float64(1.5)}
    moments = {"valid_from_utc": np.datetime64("2020-01-01", "us"), "valid_until_utc": np.datetime64("NaT")}
    add(store, "measuring_point", 2, **columns, **moments)
    with store.reading() as connection:
        frame = fetch.measuring_points(connection)
    assert frame["elevation_m"].tolist() == [1.5, 1.5]
    assert frame["valid_until_utc"].isna().all()


def test_several_rows_of_the_revision_are_said(store):
    with store.altering() as connection:
        connection.execute(text("INSERT INTO alembic_version VALUES ('0001')"))
    with pytest.raises(StoreError, match=rf"at 2 revisions at once: 0001, {revision.HEAD}\. Its table alembic_version"):
        revision.guard(store)


def _schema_and_rows(store):
    """Return every statement of the schema and every row of a database."""
    with store.reading() as connection:
        if store.is_sqlite:
            return sorted(connection.connection.iterdump())
        queries = (
            "SELECT table_name, column_name, data_type, is_nullable, column_default FROM information_schema.columns"
            " WHERE table_schema = 'public'",
            "SELECT c.relname, pg_get_constraintdef(k.oid) FROM pg_constraint k JOIN pg_class c ON c.oid = k.conrelid"
            " WHERE k.connamespace = 'public'::regnamespace",
            "SELECT tablename, indexdef FROM pg_indexes WHERE schemaname = 'public'",
            "SELECT viewname, definition FROM pg_views WHERE schemaname = 'public'",
            "SELECT pg_get_triggerdef(t.oid) FROM pg_trigger t WHERE NOT t.tgisinternal",
            "SELECT pg_get_functiondef(p.oid) FROM pg_proc p WHERE p.pronamespace = 'public'::regnamespace",
            "SELECT sequencename, data_type, start_value, last_value FROM pg_sequences",
        )
        found = [sorted(map(repr, connection.exec_driver_sql(query))) for query in queries]
        names = inspect(connection).get_table_names()
        return found, {name: sorted(map(repr, connection.exec_driver_sql(f"SELECT * FROM {name}"))) for name in names}


def test_an_empty_record_that_tests_begin_with_is_one_that_the_revisions_make(store_url, tmp_path, request):
    quick = open_store(store_url, create=True)
    upgrade_quickly(quick)
    first = _schema_and_rows(quick)
    quick.close()
    if quick.is_sqlite:
        slow = open_store(tmp_path / "slow.sqlite", create=True)
        again = open_store(tmp_path / "again.sqlite", create=True)
        upgrade_by_revisions(slow)
        upgrade_quickly(again)
        dumped = [_schema_and_rows(slow), _schema_and_rows(again)]
    else:
        with (
            postgres_database(request.getfixturevalue("postgres_server")) as one,
            postgres_database(request.getfixturevalue("postgres_server")) as other,
        ):
            slow, again = open_store(one, create=True), open_store(other, create=True)
            upgrade_by_revisions(slow)
            upgrade_quickly(again)
            dumped = [_schema_and_rows(slow), _schema_and_rows(again)]
            slow.close()
            again.close()
    assert dumped == [first, first]
    assert len(first) > 1
