"""The tables of pumping tests that can be loaded: tests, rates and readings, every column with its meaning."""

from __future__ import annotations

from typing import Final

from gwnet.store.columns import LOWEST_M, NOTES, QUALITIES, SITE, Column, Table

#: Kinds of tests.
TEST_KINDS: Final[tuple[str, ...]] = ("constant rate", "step", "recovery", "production", "slug")

#: Columns of which a reading fills one: what was read of the water.
TEST_QUANTITIES: Final[tuple[str, ...]] = ("depth_to_water", "drawdown", "set_depth")

#: How the rate was measured.
RATE_METHODS: Final[tuple[str, ...]] = ("meter", "weir", "orifice", "bucket and time", "estimate")

_TEST = Column("test", "code", "The test.", required=True, key=True, of="pumping_test")

PUMPING_TESTS: Final = Table(
    "pumping_tests",
    "pumping_test_record",
    "A pumping test or a slug test.",
    (
        SITE,
        Column("test", "code", "Code of the test within the site.", required=True, key=True, of="pumping_test"),
        Column("well", "code", "The pumped well, or the one of the slug test.", required=True, of="well"),
        Column("kind", "choice", "What kind of test it is.", required=True, choices=TEST_KINDS),
        Column("starts_at", "timestamp", "When the pump started or is to start, or the slug moved.", required=True),
        Column("stops_at", "timestamp", "When the pump stopped; recovery follows."),
        Column("intake_depth", "length", "Depth of the pump's intake below the measuring point.", lowest=LOWEST_M),
        Column("aquifer_thickness", "length", "Thickness of the aquifer at the pumped well.", positive=True),
        Column("purpose", "text", "What the test is for."),
        Column("crew", "text", "Who tests."),
        NOTES,
    ),
    identity="pumping_test",
)

PUMPING_RATES: Final = Table(
    "pumping_rates",
    "pumping_rate",
    "A rate of pumping, from a moment until the next rate of the well or the end of pumping.",
    (
        SITE,
        _TEST,
        Column("well", "code", "The well that is pumped; empty: that of the test.", key=True, of="well"),
        Column(
            "from",
            "start",
            "Since when; a number is the elapsed time since the test's start, in minutes where the heading names no "
            "unit of time.",
            required=True,
            key=True,
            past=True,
            unit="min",
        ),
        Column(
            "rate",
            "rate",
            "Rate of pumping, positive; 0 from the moment at which the pump stands still. The heading may name m3/h, "
            "m3/d, L/min, gal/min, ft3/min and others.",
            required=True,
            unit="L/s",
        ),
        Column("method", "choice", "How it was measured.", choices=RATE_METHODS),
        Column("volume", "number", "Volume that was caught, with the seconds that it took.", positive=True, unit="L"),
        Column("seconds", "number", "Seconds that the volume took.", positive=True, unit="s"),
        NOTES,
    ),
)

PUMPING_READINGS: Final = Table(
    "pumping_readings",
    "pumping_reading",
    "A level read for a test: the depth at a time, or the time at which the water passed a set depth.",
    (
        SITE,
        _TEST,
        Column("well", "code", "The well that was read.", required=True, key=True, of="well"),
        Column("measured_at", "timestamp", "When; without an offset in the site's zone.", key=True, past=True),
        Column("date", "date", "Local day, instead of `measured_at`.", key=True, past=True),
        Column("time", "time", "Local time of day.", key=True),
        Column(
            "elapsed",
            "duration",
            "Time since the test's start, instead of a time of day; negative before it. The heading may name s, min, h "
            "or d.",
            key=True,
            unit="min",
        ),
        Column("depth_to_water", "length", "Depth to water below the measuring point.", lowest=LOWEST_M),
        Column("drawdown", "length", "Drawdown as the source gives it, where it gives no depth."),
        Column(
            "set_depth",
            "length",
            "Depth below the measuring point at which the probe was held; the time is that of passing.",
            lowest=LOWEST_M,
        ),
        Column("passed", "choice", "How the water passed the set depth.", choices=("falling", "rising")),
        Column("access", "code", "Which opening of the well.", default="main"),
        Column("instrument", "code", "Tape or probe that was read; its checks correct the reading.", of="instrument"),
        Column("observer", "text", "Who read."),
        Column(
            "quality",
            "choice",
            "The observer's opinion of the reading.",
            choices=QUALITIES,
        ),
        NOTES,
    ),
    one_of=(
        (("measured_at",), ("date", "time"), ("elapsed",)),
        (("depth_to_water",), ("drawdown",), ("set_depth", "passed")),
    ),
    ways=(("depth_to_water",), ("drawdown",), ("set_depth", "passed")),
)
