"""Accuracies that are taken where none is on record: by the method, and by how old survey and reading are.

All are half-widths of a 95 % interval. A stated accuracy is never replaced by one of these.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.constants import (
    DAYS_PER_YEAR,
    POINT_MOVEMENT_M_PER_YEAR,
    RESURVEY_INTERVAL_DAYS,
    SURVEY_ACCURACY_M,
    TAPE_ACCURACY_M,
)

Floats = NDArray[np.float64]
Texts = NDArray[np.object_]
Days = NDArray[np.datetime64]


@dataclass(frozen=True)
class MethodAccuracy:
    """What a method is taken to be accurate to.

    Attributes
    ----------
    method : str
        Its name.
    words : tuple of str
        Beginnings of words that name it.
    half_width_m : float
        95 % half-width [m].
    source : str
        Where that comes from.
    """

    method: str
    words: tuple[str, ...]
    half_width_m: float
    source: str


@dataclass(frozen=True)
class AgeAccuracy:
    """What is taken where the method is not known, from a year on.

    Attributes
    ----------
    since : int
        First year.
    half_width_m : float
        95 % half-width [m].
    source : str
        Where that comes from.
    """

    since: int
    half_width_m: float
    source: str


_NO_SOURCE: Final = "common practice, no source"

#: Surveys by method; the first whose words are in the text counts.
SURVEY_METHODS: Final = (
    MethodAccuracy("levelling", ("level", "total station", "theodolite"), SURVEY_ACCURACY_M, "N.H. Env-Wq 403.30(b)"),
    MethodAccuracy(
        "survey-grade satellite receiver", ("rtk", "survey-grade", "differential", "dgps", "gnss"), 0.06, _NO_SOURCE
    ),
    MethodAccuracy(
        "airborne laser scan", ("lidar", "laser"), 0.2, "USGS Lidar Base Specification, quality level 2 (from memory)"
    ),
    MethodAccuracy(
        "elevation model",
        ("elevation model", "dem", "dtm"),
        3.0,
        "1.96 times 1.55 m; Gesch and others (2014), USGS OFR 2014-1008 (from memory)",
    ),
    MethodAccuracy(
        "topographic map",
        ("topographic", "map"),
        3.6,
        "half of a 20 ft contour interval at 90 %, US National Map Accuracy Standards (1947; from memory), at 95 %",
    ),
    MethodAccuracy("altimeter", ("altimeter", "barometric"), 3.0, _NO_SOURCE),
    MethodAccuracy("hand-held satellite receiver", ("gps", "satellite", "hand-held"), 10.0, _NO_SOURCE),
    MethodAccuracy("estimate", ("estimate", "reported"), 3.0, _NO_SOURCE),
)

#: Surveys of no known method, newest first.
SURVEY_AGES: Final = (
    AgeAccuracy(2000, SURVEY_ACCURACY_M, "0.1 ft, N.H. Env-Wq 403.30(b)"),
    AgeAccuracy(1975, 0.1, "project default"),
    AgeAccuracy(0, 0.3, "project default"),
)

#: Readings by method.
READING_METHODS: Final = (
    MethodAccuracy(
        "electric tape", ("electric", "interface"), TAPE_ACCURACY_M, "0.01 ft, USGS TM 1-A1 (2011), GWPD 4 p. 33"
    ),
    MethodAccuracy("steel tape", ("steel", "chalk"), TAPE_ACCURACY_M, "0.01 ft, USGS TM 1-A1 (2011), GWPD 1 p. 5"),
    MethodAccuracy("air line", ("air line", "airline"), 0.3, _NO_SOURCE),
    MethodAccuracy("recorder", ("recorder", "float", "graphic"), 0.03, _NO_SOURCE),
    MethodAccuracy("transducer", ("transducer", "logger", "sensor"), 0.03, _NO_SOURCE),
    MethodAccuracy("acoustic sounder", ("acoustic", "sonic", "ultrason"), 0.06, _NO_SOURCE),
    MethodAccuracy("pressure gauge", ("pressure gauge", "pressure gage", "manometer"), 0.15, _NO_SOURCE),
    MethodAccuracy("geophysical log", ("geophysical", "log"), 0.3, _NO_SOURCE),
    MethodAccuracy("report of others", ("report", "driller", "owner", "estimate", "observed"), 0.5, _NO_SOURCE),
)

#: Readings of no known method, newest first.
READING_AGES: Final = (
    AgeAccuracy(1990, TAPE_ACCURACY_M, "0.01 ft, as of a tape, USGS TM 1-A1 (2011)"),
    AgeAccuracy(1970, 0.01, "project default"),
    AgeAccuracy(0, 0.03, "0.1 ft, project default"),
)


def survey_defaults(method: Texts, surveyed: Days, read: Days) -> tuple[Floats, Texts]:
    """Return the accuracy that surveys are taken to have where none is stated.

    Parameters
    ----------
    method : numpy.ndarray of str, shape (n,)
        How the measuring point was surveyed, in the words of the record; empty where that is not known.
    surveyed : numpy.ndarray of datetime64[D], shape (n,)
        Day of the survey; NaT where that is not known.
    read : numpy.ndarray of datetime64[D], shape (n,)
        Day of the reading.

    Returns
    -------
    half_width_m : numpy.ndarray, shape (n,)
        95 % half-widths [m].
    origin : numpy.ndarray of str, shape (n,)
        Where each comes from.

    Notes
    -----
    A point may move after its survey: beyond the resurvey interval of `gwnet.constants` (five years)
    `POINT_MOVEMENT_M_PER_YEAR` is taken for each year, as an independent part.
    """
    # A survey without a date is taken to be as old as the reading: nothing says that the point has moved since.
    day = np.where(np.isnat(surveyed), read, surveyed)
    base, origin = _defaults(method, day, SURVEY_METHODS, SURVEY_AGES)
    years = (read - day).astype("timedelta64[D]").astype(np.float64) / DAYS_PER_YEAR
    # Not below 0: within the interval, or before the survey, nothing is taken to have moved.
    moved = POINT_MOVEMENT_M_PER_YEAR * np.fmax(np.nan_to_num(years) - RESURVEY_INTERVAL_DAYS / DAYS_PER_YEAR, 0.0)
    return np.hypot(base, moved), origin


def reading_defaults(method: Texts, read: Days) -> tuple[Floats, Texts]:
    """Return the accuracy that readings are taken to have where none is stated.

    Parameters
    ----------
    method : numpy.ndarray of str, shape (n,)
        How each was read, in the words of the record; empty where that is not known.
    read : numpy.ndarray of datetime64[D], shape (n,)
        Day of the reading.

    Returns
    -------
    half_width_m : numpy.ndarray, shape (n,)
        95 % half-widths [m].
    origin : numpy.ndarray of str, shape (n,)
        Where each comes from.
    """
    return _defaults(method, read, READING_METHODS, READING_AGES)


def _defaults(
    method: Texts, day: Days, methods: tuple[MethodAccuracy, ...], ages: tuple[AgeAccuracy, ...]
) -> tuple[Floats, Texts]:
    """Return half-widths and origins by the method where it is known, else by the year."""
    year = day.astype("datetime64[Y]").astype(np.int64) + 1970
    year = np.where(np.isnat(day), ages[0].since, year)
    since = np.array([age.since for age in ages])
    place = np.argmax(year[:, None] >= since, axis=1) if len(year) else np.empty(0, dtype=np.int64)
    half_width = np.array([age.half_width_m for age in ages])[place]
    origin = np.array([f"default, method not known, {number}" for number in year.tolist()], dtype=object)
    # Each distinct text once, since thousands of levels share a handful of methods.
    texts, inverse = np.unique(method.astype(str), return_inverse=True)
    for number, text in enumerate(texts.tolist()):
        known = find_method(text, methods)
        if known is not None:
            own = inverse == number
            half_width[own], origin[own] = known.half_width_m, f"default of {known.method}"
    return half_width, origin


def find_method(text: str, methods: tuple[MethodAccuracy, ...]) -> MethodAccuracy | None:
    """Return the method that a text names; None for none of those known.

    Parameters
    ----------
    text : str
        Words of the record.
    methods : tuple of MethodAccuracy
        Methods in the order in which they are looked for.

    Returns
    -------
    MethodAccuracy or None
        The first that has a word of the text.
    """
    lowered = text.lower()
    for known in methods:
        if any(re.search(rf"\b{re.escape(word)}", lowered) for word in known.words):
            return known
    return None


def describe_defaults() -> str:
    """Return the accuracies taken where none is on record, for the documentation.

    Returns
    -------
    str
        Markdown table: survey or reading, method or age, half-width, source.
    """
    lines = ["| of | method or year | half-width [m] | source |", "|---|---|---|---|"]
    for of, methods, ages in (("survey", SURVEY_METHODS, SURVEY_AGES), ("reading", READING_METHODS, READING_AGES)):
        lines += [f"| {of} | {known.method} | {known.half_width_m:g} | {known.source} |" for known in methods]
        for place, age in enumerate(ages):
            when = f"from {age.since}" if age.since else f"before {ages[place - 1].since}"
            lines.append(f"| {of} | not known, {when} | {age.half_width_m:g} | {age.source} |")
    return "\n".join(lines)


def day_of(values: pd.Series) -> Days:
    """Return dates or instants as days, NaT for none.

    Parameters
    ----------
    values : pandas.Series
        Dates, instants or missing values.

    Returns
    -------
    numpy.ndarray of datetime64[D]
        Days.
    """
    plain = pd.to_datetime(pd.Series(values.tolist(), dtype=object), utc=True, errors="coerce")
    days: Days = plain.dt.tz_localize(None).to_numpy(dtype="datetime64[D]")
    return days
