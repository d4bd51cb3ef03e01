"""Reports of wells with loggers alone, one of whose sensors is out of water in the end; a constructed record."""

import numpy as np
import pytest

import gwnet

from ..analysis.logger_record import Loggers, hours
from ..analysis.record import Record

DEFINITION = """
title = "Loggers alone"
sections = ["summary", "levels", "gradients", "hydrographs", "seasons", "thresholds", "loggers"]
web_page = false
"""
PLACES = {"A": (0, 0, 50.0), "B": (400, 0, 49.6), "C": (0, 400, 49.8)}


@pytest.fixture(scope="module")
def record(tmp_path_factory):
    """Three wells that nobody reads; two thresholds in C, of which its sensor can show the upper one. The barometer's files came under two quantities."""
    path = tmp_path_factory.mktemp("alone") / "a.sqlite"
    record = Record(path, time_zone="UTC+01:00")
    loggers = Loggers(record)
    when = hours(2400)
    for code, (east, north, head) in PLACES.items():
        record.well(code, point=(60.0, 0.5), easting=600_000.0 + east, northing=5_800_000.0 + north)
        loggers.instrument(f"L-{code}")
        loggers.install(f"L-{code}", code, depth=60.0 - 49.4)
        true = head - 0.0003 * np.arange(when.size)
        loggers.samples(f"L-{code}", "water column", "m", when, np.maximum(true - 49.4, 0.0))
    loggers.instrument("BARO", kind="barometer")
    loggers.install("BARO", "")
    for quantity in ("air pressure", "absolute pressure"):
        loggers.samples("BARO", quantity, "hPa", when, 1000.0 + np.sin(np.arange(when.size)))
    for name, value in {"warning": 49.45, "low": 49.42}.items():
        record.add(
            "threshold",
            well_id=record.wells["C"],
            threshold=name,
            kind="lower",
            quantity="water_elevation",
            value_m=value,
            consecutive=3,
        )
    record.store.close()
    return path


@pytest.fixture(scope="module")
def text(record, tmp_path_factory):
    from pypdf import PdfReader

    folder = tmp_path_factory.mktemp("report")
    (folder / "own.toml").write_text(DEFINITION)
    with gwnet.open(record) as net:
        pdf, *_ = net.report(folder / "own.toml", "2024-Q1", folder / "out")
    return " ".join(" ".join(page.extract_text() for page in PdfReader(pdf).pages).split())


@pytest.mark.slow
def test_the_report_of_wells_nobody_reads_has_their_levels_rounds_and_hydrographs(text):
    assert "No level is on record" not in text
    assert "no level on record" not in text
    assert "day on which most wells were read (3 wells)" in text
    assert "Hydrographs: wells with thresholds, and A and B" in text
    assert "sensor out of water: head at or below" in text


def test_the_lowest_of_a_season_is_marked_as_the_bound_that_it_is(text):
    assert text.count("50.00 2024-01-01 ≤ 49.43 ") == 1


def test_the_threshold_of_the_report_sees_the_logger(text):
    assert "no reading" not in text
    assert "C warning (49.45 m) at 42 of 91 logger days, lowest ≤ 49.43 m on 2024-02-22" in text
    assert "Lowest at or below 49.43 m on 22 February 2024" in text


def test_a_threshold_nearer_to_the_sensor_than_it_can_show_cannot_be_judged(text):
    """The water is at 49.42 m on 22 February; a sensor at 49.40 m counts as out of water below 49.43 m."""
    assert "1 of 2 thresholds cannot be judged. C low (49.42 m): on 2024-03-31 only a bound is known" in text
    assert "the water is at or below 49.43 m, on this side of the threshold or beyond it" in text
