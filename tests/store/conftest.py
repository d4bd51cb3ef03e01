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


@contextmanager
def filled_record(url):
    """Give a record with rows in every table, in an empty database."""
    load_dump(url, max(ROWS))
    opened = open_store(url)
    revision.upgrade(opened)
    # tables that came after the newest dump
    with opened.writing("import", "Ana", now_utc=CORRECTED + 80 * DAY) as connection:
        link_sources(connection, keep_mapping(connection, "field book", "[file]\n", by="Ana"), [1])
    yield opened
    opened.close()


@pytest.fixture
def filled(store_url):
    """Give a record with rows in every table."""
    with filled_record(store_url) as opened:
        yield opened
