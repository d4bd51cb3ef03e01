"""How long samples of loggers take to store and to read, beside the usual ways, in one run.

Storing: SQLAlchemy Core's executemany into the same table, once with the columns that have a value and once with all
four; and for SQLite the barest way there is, the driver alone
with one row and with 50 rows a statement into a bare table. Reading: `pandas.read_sql` of one series. Latest sample of
each series: GROUP BY. All ways are held to the same rows.

Run: ``python tests/bench/bench_samples.py [ROWS [SERIES]]``; with PostgreSQL where GWNET_TEST_POSTGRES is set, with a
fifth of the rows for Core there. Prints seconds and ratios of one run, and the load of the machine.
"""

from __future__ import annotations

import datetime as dt
import os
import sqlite3
import sys
import tempfile
import time
import uuid
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
from sqlalchemy import func, insert, select, text
from sqlalchemy.engine import make_url

from gwnet.store import revision
from gwnet.store.fetch import samples as fetch_samples
from gwnet.store.fetch.read_samples import read_rows as sample_rows
from gwnet.store.models.loggers import Sample
from gwnet.store.save.bulk import insert_columns
from gwnet.store.save.downloads import add_download
from gwnet.store.save.samples import Appending
from gwnet.store.save.segments import segment_for
from gwnet.store.session import Store, open_store

NOW = dt.datetime(2026, 4, 6, 8, 0, tzinfo=dt.UTC)
CHUNK = 65_536


def made(count: int) -> tuple[np.ndarray, np.ndarray]:
    """Return times a minute apart and pressures with three decimals."""
    random = np.random.default_rng(5)
    return 1_600_000_000_000 + 60_000 * np.arange(count), np.round(100 + np.cumsum(random.normal(0, 0.01, count)), 3)


def new_store(address: str) -> Store:
    """Return an empty store with one instrument."""
    store = open_store(address, create=True)
    revision.upgrade(store)
    with store.writing("bench", "bench", now_utc=NOW) as connection:
        insert_columns(connection, "instrument", {"id": [1], "code": ["L1"]}, 1)
    return store


def ours(store: Store, time_ms: np.ndarray, value: np.ndarray, quantity: str = "water pressure") -> int:
    """Store samples as a load does, in chunks."""
    with store.writing("bench", "bench", now_utc=NOW) as connection:
        series, others = segment_for(connection, 1, quantity, "kPa")
        download = add_download(connection, series, layout="bench", zone="UTC", by="bench")
        appending = Appending(connection, series, download, others)
        for start in range(0, time_ms.size, CHUNK):
            appending.add(time_ms[start : start + CHUNK], value[start : start + CHUNK])
        appending.finish()
    return series


def core(store: Store, time_ms: np.ndarray, value: np.ndarray, **more: object) -> None:
    """Store samples with SQLAlchemy Core's executemany."""
    with store.altering() as connection:
        for start in range(0, time_ms.size, CHUNK):
            some = zip(time_ms[start : start + CHUNK].tolist(), value[start : start + CHUNK].tolist(), strict=True)
            connection.execute(
                insert(Sample), [{"series_id": 900, "time_ms": when, "value": number, **more} for when, number in some]
            )


def bare(path: Path, time_ms: np.ndarray, value: np.ndarray, rows: int) -> None:
    """Store samples with the driver alone into a bare table."""
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA cache_size = -65536")
    connection.execute(
        "CREATE TABLE sample (series_id INTEGER, time_ms INTEGER, value REAL, flag INTEGER,"
        " PRIMARY KEY (series_id, time_ms)) WITHOUT ROWID"
    )
    connection.execute("BEGIN IMMEDIATE")
    head = "INSERT INTO sample (series_id, time_ms, value) VALUES "
    for start in range(0, time_ms.size, CHUNK):
        times, values = time_ms[start : start + CHUNK].tolist(), value[start : start + CHUNK].tolist()
        flat = [1] * (3 * len(times))
        flat[1::3], flat[2::3] = times, values
        whole = len(times) // rows * rows * 3
        statement = head + ",".join(["(?,?,?)"] * rows)
        connection.executemany(statement, (flat[at : at + 3 * rows] for at in range(0, whole, 3 * rows)))
        if whole < len(flat):
            connection.execute(head + ",".join(["(?,?,?)"] * ((len(flat) - whole) // 3)), flat[whole:])
    connection.execute("COMMIT")
    connection.close()


def timed(work: Callable[[], object]) -> float:
    """Return the seconds that some work takes."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def told(what: str, seconds: float, rows: int, reference: float | None = None) -> None:
    """Print one line."""
    ratio = f"{reference / seconds:8.2f} x" if reference else ""
    print(f"  {what:<44}{seconds:9.4f} s {rows / seconds:14,.0f} rows/s {ratio}", flush=True)


def storing_sqlite(folder: Path, count: int) -> None:
    time_ms, value = made(count)
    best = dict.fromkeys(("core", "one", "fifty", "ours"), np.inf)
    for attempt in range(3 if count >= 10_000 else 1):
        for way in ("fifty", "ours", "one"):
            path = folder / f"{way}{attempt}.sqlite"
            if way == "ours":
                store = new_store(str(path))
                best[way] = min(best[way], timed(lambda store=store: ours(store, time_ms, value)))
                with store.reading() as connection:
                    kept = fetch_samples.samples(connection, 1)
                assert np.array_equal(kept[0], time_ms)
                assert np.array_equal(kept[1], value)
                store.close()
            else:
                rows = 1 if way == "one" else 50
                best[way] = min(best[way], timed(lambda path=path, rows=rows: bare(path, time_ms, value, rows)))
    best["all four"] = np.inf
    for attempt in range(2 if count >= 10_000 else 1):
        for way, more in (("core", {}), ("all four", {"flag": None})):
            store = new_store(str(folder / f"{way}{attempt}.sqlite"))
            best[way] = min(best[way], timed(lambda store=store, more=more: core(store, time_ms, value, **more)))
            store.close()
    print(f"storing {count:,} samples into SQLite (ratio: Core's seconds over these)")
    for way, what in (
        ("core", "SQLAlchemy Core executemany, three columns"),
        ("all four", "SQLAlchemy Core executemany, all columns"),
        ("one", "bare table, driver, one row a statement"),
        ("fifty", "bare table, driver, 50 rows a statement"),
        ("ours", "the program, with runs and pack"),
    ):
        told(what, best[way], count, best["core"])
    print(f"  the program takes {best['ours'] / best['fifty']:.2f} x the bare table with 50 rows a statement")


def storing_postgresql(address: str, count: int, series: int) -> None:
    time_ms, value = made(count)
    store = new_store(address)
    few = max(count // 5, 1)
    with_core = timed(lambda: core(store, time_ms[:few], value[:few])) * count / few
    with_ours = min(timed(lambda name=name: ours(store, time_ms, value, name)) for name in ("a", "b"))
    print(f"storing {count:,} samples into PostgreSQL (ratio: Core's seconds over these)")
    told(f"SQLAlchemy Core, from {few:,} rows", with_core, count, with_core)
    told("the program, with runs and pack", with_ours, count, with_core)
    reading(store, 1, "PostgreSQL")
    latest(store, 5 * count, "PostgreSQL", series)
    store.close()


def reading(store: Store, series: int, name: str) -> None:
    query = text("SELECT time_ms, value FROM sample WHERE series_id = :number ORDER BY time_ms LIMIT 350413")
    found: dict[str, object] = {}

    def with_pandas() -> None:
        with store.reading() as connection:
            found["pandas"] = pd.read_sql(query, connection, params={"number": series})

    with store.reading() as connection:
        times, _ = fetch_samples.samples(connection, series)
    end = None if times.size <= 350_413 else int(times[350_413])

    def packed() -> None:
        with store.reading() as connection:
            found["packed"] = fetch_samples.samples(connection, series, None, end)

    def by_rows() -> None:
        with store.reading() as connection:
            found["rows"] = sample_rows(connection, series, None, end)

    seconds = {work: min(timed(work) for _ in range(3)) for work in (with_pandas, by_rows, packed)}
    frame = found["pandas"]
    for way in ("packed", "rows"):
        assert np.array_equal(frame["time_ms"], found[way][0])
        assert np.array_equal(frame["value"], found[way][1])
    print(f"reading one series of {len(frame):,} samples from {name} (ratio: pandas' seconds over these)")
    told("pandas.read_sql", seconds[with_pandas], len(frame), seconds[with_pandas])
    told("rows with the driver", seconds[by_rows], len(frame), seconds[with_pandas])
    told("the program, from packs", seconds[packed], len(frame), seconds[with_pandas])


def latest(store: Store, count: int, name: str, series: int) -> None:
    time_ms, value = made(max(count // series, 1))
    for number in range(series):
        ours(store, time_ms, value, f"quantity {number}")
    grouped = select(Sample.series_id, func.max(Sample.time_ms)).group_by(Sample.series_id).order_by(Sample.series_id)
    with store.reading() as connection:
        rows: list = []
        by_group = timed(lambda: rows.extend(connection.execute(grouped).all()))
        frames: list = []
        seeks = min(timed(lambda: frames.append(fetch_samples.latest(connection))) for _ in range(3))
        numbers = connection.execute(select(func.count()).select_from(Sample)).scalar_one()
    mine = {row.series_id: row.time_ms for row in frames[-1].itertuples()}
    assert {number: last for number, last in rows if number in mine} == mine
    print(f"latest sample of {len(mine)} series among {numbers:,} samples in {name} (ratio: GROUP BY over this)")
    told("GROUP BY", by_group, len(mine), by_group)
    told("the program, one seek a series", seeks, len(mine), by_group)


def main(count: int, series: int) -> None:
    print(f"load of the machine: {', '.join(f'{one:.2f}' for one in os.getloadavg())}")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        storing_sqlite(folder, count)
        store = open_store(str(folder / "ours0.sqlite"))
        reading(store, 1, "SQLite")
        latest(store, 10 * count, "SQLite", series)
        store.close()
    server = os.environ.get("GWNET_TEST_POSTGRES")
    if not server:
        print("PostgreSQL: not measured; GWNET_TEST_POSTGRES is not set")
        return
    import psycopg

    url = make_url(server).set(drivername="postgresql")
    database = f"gwnet_bench_{uuid.uuid4().hex}"
    with psycopg.connect(url.render_as_string(hide_password=False), autocommit=True) as admin:
        admin.execute(f'CREATE DATABASE "{database}"')
        try:
            storing_postgresql(url.set(database=database).render_as_string(hide_password=False), count, series)
        finally:
            admin.execute(f'DROP DATABASE "{database}" WITH (FORCE)')


if __name__ == "__main__":
    given = [int(word) for word in sys.argv[1:]]
    main(*(given + [1_000_000, 500][len(given) :]))
