import datetime as dt
import sqlite3
from contextlib import contextmanager
from pathlib import Path

import pytest

from gwnet.store import revision
from gwnet.store.save.bulk import insert_columns, reserve_ids
from gwnet.store.save.mappings import keep_mapping, link_sources
from gwnet.store.session import open_store

from ..helpers import follow
from .released.rows import CORRECTED, DAY, ROWS

SUNDAY = dt.datetime(2026, 4, 5, 8, 0, tzinfo=dt.UTC)
MONDAY = dt.datetime(2026, 4, 6, 8, 0, tzinfo=dt.UTC)


@pytest.fixture
def store(store_url):
    opened = open_store(store_url, create=True)
    revision.upgrade(opened)
    yield opened
    opened.close()


def add(store, table, rows=1, **columns):
    """Store rows of a recorded or identity table and return their ids."""
    recorded = {} if table in {"site", "well", "aquifer"} else {"recorded_by": "Ana"}
    with store.writing(
        "add", "Ana", now_utc=columns.pop("recorded_at_utc", None) or follow(store, SUNDAY)
    ) as connection:
        ids = reserve_ids(connection, table, rows)
        insert_columns(connection, table, {"id": ids, **recorded, **columns}, rows)
    return ids


@pytest.fixture
def well_id(store):
    site = add(store, "site", code=["S"])
    return int(add(store, "well", site_id=int(site[0]), code=["MW-1"])[0])


RELEASED = Path(__file__).parent / "released"


def load_dump(url, name):
    """Load the dump of a released revision into an empty database."""
    if "://" not in url:
        with sqlite3.connect(url) as connection:
            connection.executescript((RELEASED / f"revision_{name}.sqlite.sql").read_text(encoding="utf-8"))
        connection.close()
        return
    import psycopg

    with psycopg.connect(url) as connection:
        connection.execute((RELEASED / f"revision_{name}.postgresql.sql").read_text(encoding="utf-8"))


def add_pumping_test(connection):
    """Record a pumping test of the first well with two rates and two readings."""
    start = CORRECTED + 70 * DAY
    insert_columns(connection, "pumping_test", {"id": [1], "site_id": 1, "code": ["PT-1"]}, 1)
    of_test = {"pumping_test_id": 1, "well_id": 1, "recorded_by": "Ana", "source_file_id": 1}
    kinds = {"kind": ["constant rate"], "starts_at_utc": [start], "stops_at_utc": [start + DAY]}
    insert_columns(connection, "pumping_test_record", {"id": [1], "source_row": [2], **kinds, **of_test}, 1)
    rates = {"from_utc": [None, start + DAY / 2], "from_elapsed_min": [0.0, None], "rate_l_s": [10.0, 10.5]}
    insert_columns(connection, "pumping_rate", {"id": [1, 2], **rates, **of_test}, 2)
    read = {"measured_at_utc": [start - DAY / 24, None], "elapsed_min": [None, 1.5], "access": ["main", "main"]}
    depths = {"depth_to_water_m": [3.25, None], "set_depth_m": [None, 3.5], "passed": [None, "falling"]}
    insert_columns(connection, "pumping_reading", {"id": [1, 2], **read, **depths, **of_test}, 2)


@contextmanager
def filled_record(url):
    """Give a record with rows in every table, in an empty database."""
    load_dump(url, max(ROWS))
    opened = open_store(url)
    revision.upgrade(opened)
    # tables that came after the newest dump
    with opened.writing("import", "Ana", now_utc=CORRECTED + 80 * DAY) as connection:
        link_sources(connection, keep_mapping(connection, "field book", "[file]\n", by="Ana"), [1])
        add_pumping_test(connection)
    yield opened
    opened.close()


@pytest.fixture
def filled(store_url):
    """Give a record with rows in every table."""
    with filled_record(store_url) as opened:
        yield opened
