"""Fixtures of the tests of faults: stages of the record on either database, and the figures that they print."""

import pytest

from .stages import open_stages


@pytest.fixture(scope="session")
def sqlite_stages(tmp_path_factory):
    """Give the stages of the scenario on SQLite."""
    with open_stages(tmp_path_factory.mktemp("stages")) as stages:
        yield stages


@pytest.fixture(scope="session")
def postgres_stages(tmp_path_factory, postgres_server):
    """Give the stages of the scenario on PostgreSQL."""
    with open_stages(tmp_path_factory.mktemp("stages"), postgres_server) as stages:
        yield stages


@pytest.fixture
def stages(request, database):
    """Give the stages on the database that a test is parametrized with."""
    return request.getfixturevalue("sqlite_stages" if database == "sqlite" else "postgres_stages")
