"""Queries of the programme as data frames: instruments, tape checks, rounds, thresholds, stages, context series."""

from __future__ import annotations

import datetime as dt

import pandas as pd
from sqlalchemy import Connection

from gwnet.store.fetch.rows import fetch_rows


def instruments(connection: Connection, known_on: dt.datetime | None = None) -> pd.DataFrame:
    """Return the instruments, by code.

    Parameters as `gwnet.store.fetch`; columns as ``instruments`` in `gwnet.store.fetch.frames.FRAMES`.
    """
    return fetch_rows(connection, "instruments", known_on, order="instrument")


def tape_checks(connection: Connection, known_on: dt.datetime | None = None) -> pd.DataFrame:
    """Return the tape checks, by instrument, day and depth.

    Parameters as `gwnet.store.fetch`; columns as ``tape_checks`` in `gwnet.store.fetch.frames.FRAMES`.
    """
    return fetch_rows(connection, "tape_checks", known_on, order="instrument checked_on tape_reading_m")


def rounds(connection: Connection, known_on: dt.datetime | None = None, site: str | None = None) -> pd.DataFrame:
    """Return the gauging rounds, by site, time and code.

    Parameters as `gwnet.store.fetch`; columns as ``rounds`` in `gwnet.store.fetch.frames.FRAMES`.
    """
    return fetch_rows(connection, "rounds", known_on, site, order="site starts_on round")


def thresholds(connection: Connection, known_on: dt.datetime | None = None, site: str | None = None) -> pd.DataFrame:
    """Return the thresholds as they were given, by site, well, code and time.

    Parameters as `gwnet.store.fetch`; columns as ``thresholds`` in `gwnet.store.fetch.frames.FRAMES`.
    """
    return fetch_rows(connection, "thresholds", known_on, site, order="site well threshold valid_from_utc")


def stages(connection: Connection, known_on: dt.datetime | None = None, site: str | None = None) -> pd.DataFrame:
    """Return the surface-water stages, by site, gauge and time.

    Parameters as `gwnet.store.fetch`; columns as ``stages`` in `gwnet.store.fetch.frames.FRAMES`.
    """
    return fetch_rows(connection, "stages", known_on, site, order="site gauge measured_at_utc")


def context(connection: Connection, known_on: dt.datetime | None = None, site: str | None = None) -> pd.DataFrame:
    """Return the context series, such as rainfall and abstraction, by site, series and day.

    Parameters as `gwnet.store.fetch`; columns as ``context`` in `gwnet.store.fetch.frames.FRAMES`.
    """
    return fetch_rows(connection, "context", known_on, site, order="site series date")
