"""Fixtures for every test: databases, a fixed "now", and the open data beside the checkout.

Environment: GWNET_TEST_POSTGRES is the URL of a PostgreSQL server on which databases may be made and dropped;
GWNET_OPEN_DATA the folder of open data; GWNET_NO_SKIP=1 turns every skipped test into a failure.
"""

from __future__ import annotations

import datetime as dt
import gc
import os
import sqlite3
import uuid
from contextlib import contextmanager
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from gwnet.store import revision

from .empty_records import upgrade_quickly
from .made_once import made_once
from .whole_package import load_package

# thousands of tests begin with an empty record
revision.upgrade = upgrade_quickly

# Several processes of tests share the cores, so each does its linear algebra in one thread; before numpy is loaded.
for _threads in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")

#: How long one example takes says nothing on a busy machine; how many there are is left to each test.
settings.register_profile("gwnet", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("gwnet")

ROOT = Path(__file__).resolve().parents[1]


#: From how many tests on it is worth loading all that they need before the first.
MANY = 500


def pytest_collection_finish(session):
    """Search for garbage as rarely as the command line does, and not in the libraries and tests: a sixth of the work."""
    if len(session.items) < MANY:
        return
    load_package()
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, *gc.get_threshold()[1:])


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item, call):
    """Where nothing may be skipped, report a skipped test as failed."""
    report = yield
    return _no_skip(report)


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report(collector):
    """Where nothing may be skipped, report a skipped module as failed."""
    report = yield
    return _no_skip(report)


def _no_skip(report):
    if os.environ.get("GWNET_NO_SKIP") == "1" and report.skipped and not hasattr(report, "wasxfail"):
        reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else str(report.longrepr)
        report.outcome = "failed"
        report.longrepr = f"{report.nodeid} was skipped where nothing may be (GWNET_NO_SKIP=1): {reason}"
    return report


@pytest.fixture
def now():
    """Return the moment that tests call now."""
    return dt.datetime(2026, 4, 7, 9, 30, tzinfo=dt.UTC)


@pytest.fixture(scope="session")
def postgres_server():
    """Give the address of a PostgreSQL server on which databases may be made and dropped."""
    address = os.environ.get("GWNET_TEST_POSTGRES")
    if not address:
        pytest.skip("no PostgreSQL server: set GWNET_TEST_POSTGRES to its URL to run this test")
    return address


@pytest.fixture
def postgres_url(postgres_server):
    """Give the URL of a fresh, empty PostgreSQL database; drop it afterwards."""
    with postgres_database(postgres_server) as url:
        yield url


@pytest.fixture(scope="module")
def postgres_module_url(postgres_server):
    """Give the URL of a PostgreSQL database that the tests of one module share; drop it afterwards."""
    with postgres_database(postgres_server) as url:
        yield url


@contextmanager
def postgres_database(postgres_server):
    """Make an empty database, give its URL, and drop it at the end."""
    import psycopg
    from sqlalchemy.engine import make_url

    server = make_url(postgres_server).set(drivername="postgresql")
    name = f"gwnet_test_{uuid.uuid4().hex}"
    with psycopg.connect(server.render_as_string(hide_password=False), autocommit=True) as admin:
        admin.execute(f'CREATE DATABASE "{name}"')
    yield server.set(database=name).render_as_string(hide_password=False)
    with psycopg.connect(server.render_as_string(hide_password=False), autocommit=True) as admin:
        admin.execute(f'DROP DATABASE "{name}" WITH (FORCE)')


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
def store_url(request, tmp_path):
    """Give the address of a fresh, empty database, once on SQLite and once on PostgreSQL."""
    if request.param == "sqlite":
        return str(tmp_path / "record.sqlite")
    return request.getfixturevalue("postgres_url")


@pytest.fixture(scope="session")
def open_data():
    """Give the folder of open data, which lies outside the repository."""
    named = os.environ.get("GWNET_OPEN_DATA")
    folder = Path(named) if named else ROOT.parent / "shared" / "open-data"
    if not folder.is_dir():
        pytest.skip("no open data: set GWNET_OPEN_DATA to its folder to run this test")
    return folder


@pytest.fixture(scope="session")
def demo_record(tmp_path_factory):
    """Give the path of the demo network's database, built once; use `demo_store` to change it."""
    from gwnet import demo

    made = made_once(tmp_path_factory, "demo-record", lambda folder: demo.load(folder / "demo.sqlite"))
    # a copy, since readers leave files beside a database
    return copy_sqlite(made / "demo.sqlite", tmp_path_factory.mktemp("demo") / "demo.sqlite")


@pytest.fixture
def demo_store(demo_record, tmp_path):
    """Give the path of a copy of the demo network's database that a test may change."""
    return copy_sqlite(demo_record, tmp_path / "demo.sqlite")


def copy_sqlite(source, target):
    """Copy an SQLite database as one consistent state, whatever its journal holds."""
    with sqlite3.connect(source) as old, sqlite3.connect(target) as new:
        old.backup(new)
    old.close()
    new.close()
    return target
