"""A question about an instant that an open unit of work may still reach waits for it, and then repeats its answer."""

import datetime as dt
import sqlite3
import threading
from concurrent.futures import ThreadPoolExecutor

import pytest
from sqlalchemy import create_engine, event

from gwnet.errors import StoreError
from gwnet.network import Network, init
from gwnet.store import session
from gwnet.store.settled import wait_until_settled

SITES = "site,crs,vertical_datum,length_unit,time_zone\nS,EPSG:25832,local,m,UTC+01:00\n"
WELLS = "site,well,easting,northing\nS,MW-1,1,2\n"


@pytest.fixture
def net(store_url, tmp_path):
    init(store_url)
    (tmp_path / "sites.csv").write_text(SITES)
    (tmp_path / "wells.csv").write_text(WELLS)
    with Network(store_url) as net:
        net.load([tmp_path / "sites.csv"], by="Ana")
        yield net


def test_a_question_waits_for_the_unit_of_work_that_is_open(net, store_url, tmp_path):
    opened, asked = threading.Event(), threading.Event()

    def hold_and_load():
        with Network(store_url) as other, other._store.writing("load", "Ben") as connection:
            connection.exec_driver_sql("SELECT 1")
            opened.set()
            assert asked.wait(60)

    with ThreadPoolExecutor(2) as people:
        writer = people.submit(hold_and_load)
        assert opened.wait(60)
        moment = dt.datetime.now(dt.UTC)
        reader = people.submit(wait_until_settled, net._store, moment)
        with pytest.raises(TimeoutError):
            reader.result(timeout=0.5)
        asked.set()
        writer.result()
        reader.result(timeout=60)


def test_an_instant_before_the_newest_state_waits_for_nobody(net, store_url):
    before = net.states()["recorded_at_utc"].iloc[-1].to_pydatetime()
    with Network(store_url) as other, other._store.writing("load", "Ben") as connection:
        connection.exec_driver_sql("SELECT 1")
        wait_until_settled(net._store, before)


def test_a_record_that_nobody_can_write_is_asked_at_once(tmp_path):
    path = tmp_path / "record.sqlite"
    init(path)
    engine = create_engine(
        "sqlite://", creator=lambda: sqlite3.connect(f"file:{path}?mode=ro", uri=True, isolation_level=None)
    )
    event.listen(engine, "begin", session._on_sqlite_begin)
    store = session.Store(engine, "record.sqlite")
    with pytest.raises(StoreError, match="cannot be written"), store.altering() as connection:
        connection.exec_driver_sql("DELETE FROM site")
    wait_until_settled(store, dt.datetime.now(dt.UTC))
    store.close()
