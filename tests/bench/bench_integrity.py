"""What digests of states and triggers cost a load: the same program with both, and with both switched off.

Rounds are interleaved, each in a fresh record, and both ways must store the same rows. Time is that of processors: of
this process, and of the server's process where the database is PostgreSQL on this computer (GWNET_TEST_POSTGRES).

Run: ``python tests/bench/bench_integrity.py [EVENTS [WELLS [ROUNDS]]]``. Prints for each way the least and the
median seconds with their ratios to neither, and the median of the ratios of the rounds.
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
import time
import uuid
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from unittest.mock import patch

from bench_load import NOW, write_tables
from sqlalchemy import create_engine, make_url, text

from gwnet.network import Network, init
from gwnet.store.integrity.guards import guards
from gwnet.store.models.schema import METADATA

WAYS = {"neither": (), "digests": ("digests",), "triggers": ("triggers",), "both": ("digests", "triggers")}
TICK_S = 1 / os.sysconf("SC_CLK_TCK")


def write_registry(folder: Path, count: int) -> None:
    """Write a site, wells and their measuring points."""
    folder.mkdir()
    (folder / "sites.csv").write_text("site,crs,vertical_datum,length_unit,time_zone\nS,EPSG:25832,local,m,UTC\n")
    wells = [f"W{number:04d}" for number in range(count)]
    rows = [f"S,{well},{at * 10},{at * 7 % 5000},{30 + at % 20},{100 + at % 7}.5\n" for at, well in enumerate(wells)]
    (folder / "wells.csv").write_text("site,well,easting,northing,total_depth,ground_elevation\n" + "".join(rows))
    rows = [f"S,{well},1990-01-01,{100 + at % 7}.98,0.48,0.005\n" for at, well in enumerate(wells)]
    heading = "site,well,valid_from,elevation,height_above_ground,accuracy\n"
    (folder / "measuring_points.csv").write_text(heading + "".join(rows))


@contextmanager
def fresh_database(server: str | None, folder: Path) -> Iterator[str]:
    """Give the address of an empty database: a file, or one of a server."""
    if server is None:
        yield str(folder / f"{uuid.uuid4().hex}.sqlite")
        return
    name = f"bench_{uuid.uuid4().hex}"
    engine = create_engine(make_url(server).set(drivername="postgresql+psycopg"), isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.exec_driver_sql(f"CREATE DATABASE {name}")
        try:
            yield make_url(server).set(database=name).render_as_string(hide_password=False)
        finally:
            connection.exec_driver_sql(f"DROP DATABASE {name} WITH (FORCE)")
            engine.dispose()


@contextmanager
def switched(network: Network, way: tuple[str, ...]) -> Iterator[None]:
    """Leave out what a way does not have."""
    with ExitStack() as stack:
        if "digests" not in way:
            stack.enter_context(patch("gwnet.store.save.bulk._note_added"))
        if "triggers" not in way:
            stack.enter_context(patch("gwnet.store.save.bulk.lift_key_guard"))
            with network.store.altering() as connection:
                dialect = connection.dialect.name
                for name, statement in guards(dialect).items():
                    on_table = f" ON {statement.split(' ON ')[1].split()[0]}" if dialect == "postgresql" else ""
                    connection.exec_driver_sql(f"DROP TRIGGER {name}{on_table}")
        yield


def seconds_of_server(network: Network) -> float:
    """Return what the server's process of the open connection has used [s]; 0 for SQLite."""
    if network.store.is_sqlite:
        return 0.0
    with network.store.reading() as connection:
        pid = connection.exec_driver_sql("SELECT pg_backend_pid()").scalar_one()
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) * TICK_S


def rows_of(network: Network) -> dict[str, list[tuple]]:
    """Return every row of the record but states, without the instants of recording, which follow the load."""
    names = [table for table in METADATA.sorted_tables if table.name not in ("state", "state_part")]
    with network.store.reading() as connection:
        found = {}
        for table in names:
            order = ", ".join(column.name for column in table.primary_key.columns)
            rows = connection.execute(text(f"SELECT * FROM {table.name} ORDER BY {order}")).all()
            found[table.name] = [tuple(row) for row in rows]
    return found


def measure(server: str | None, folder: Path, before: list[Path], files: list[Path], way: str) -> tuple[float, dict]:
    """Load files in one way; return the seconds of processors and what the record then holds."""
    with fresh_database(server, folder) as address:
        init(address)
        with Network(address) as network:
            if before:
                network.load(before, by="bench", now_utc=NOW)
            with switched(network, WAYS[way]):
                used = seconds_of_server(network)
                start = time.process_time()
                network.load(files, by="bench", now_utc=NOW)
                seconds = time.process_time() - start + seconds_of_server(network) - used
                return seconds, rows_of(network)


def compare(what: str, server: str | None, folder: Path, before: list[Path], files: list[Path], rounds: int) -> None:
    """Load the same files in every way, in turn, and print what each took."""
    measure(server, folder, before, files, "both")  # everything is loaded and compiled from here on
    taken: dict[str, list[float]] = {way: [] for way in WAYS}
    for number in range(rounds):
        stored = {}
        for way in list(WAYS)[:: 1 if number % 2 else -1]:
            seconds, stored[way] = measure(server, folder, before, files, way)
            taken[way].append(seconds)
        assert all(rows == stored["neither"] for rows in stored.values()), "the ways did not store the same rows"
    print(f"{what}; same rows each way, {rounds} rounds")
    for way, seconds in taken.items():
        ratios = [one / other for one, other in zip(seconds, taken["neither"], strict=True)]
        least, middle = min(seconds), statistics.median(seconds)
        print(
            f"  {way:<9} least {least:7.3f} s {least / min(taken['neither']):6.3f} x   median {middle:7.3f} s"
            f" {middle / statistics.median(taken['neither']):6.3f} x   median of rounds {statistics.median(ratios):6.3f} x"
        )


def main(events: int, wells: int, rounds: int) -> None:
    servers = [None, *([os.environ["GWNET_TEST_POSTGRES"]] if os.environ.get("GWNET_TEST_POSTGRES") else [])]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "tables").mkdir()
        write_tables(folder / "tables", events)
        write_registry(folder / "registry", wells)
        before = [folder / "tables" / f"{table}.csv" for table in ("sites", "wells", "measuring_points")]
        registry = sorted((folder / "registry").iterdir())
        for server in servers:
            where = "SQLite" if server is None else "PostgreSQL"
            levels = [folder / "tables" / "level_events.csv"]
            compare(f"{where}: {events} level events", server, folder, before, levels, rounds)
            compare(f"{where}: {wells} wells with measuring points", server, folder, [], registry, rounds)


if __name__ == "__main__":
    given = [int(word) for word in sys.argv[1:]]
    main(*(given + [20_000, 2_000, 7][len(given) :]))
