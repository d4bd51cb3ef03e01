"""Queries of pumping tests as data frames: the tests, their rates and the readings."""

from __future__ import annotations

import datetime as dt

import pandas as pd
from sqlalchemy import Connection

from gwnet.store.fetch.rows import fetch_rows


def pumping_tests(connection: Connection, known_on: dt.datetime | None = None) -> pd.DataFrame:
    """Return the pumping tests, by site, start and code.

    Parameters as `gwnet.store.fetch`; columns as ``pumping_tests`` in `gwnet.store.fetch.frames.FRAMES`.
    """
    return fetch_rows(connection, "pumping_tests", known_on, order="site starts_at_utc test")


def pumping_rates(connection: Connection, known_on: dt.datetime | None = None) -> pd.DataFrame:
    """Return the rates of pumping as they were given, by site, test and well.

    Parameters as `gwnet.store.fetch`; columns as ``pumping_rates`` in `gwnet.store.fetch.frames.FRAMES`.
    """
    return fetch_rows(connection, "pumping_rates", known_on, order="site test well id")


def pumping_readings(connection: Connection, known_on: dt.datetime | None = None) -> pd.DataFrame:
    """Return the readings of tests as they were read, by site, test and well.

    Parameters as `gwnet.store.fetch`; columns as ``pumping_readings`` in `gwnet.store.fetch.frames.FRAMES`.
    """
    return fetch_rows(connection, "pumping_readings", known_on, order="site test well id")
