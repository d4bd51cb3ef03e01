"""Heads as a table and spans of dates, findings and samples: whole outputs at their edges; constructed frames."""

import datetime as dt
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.loggers import findings as findings_module
from gwnet.analysis.loggers import raw_samples
from gwnet.analysis.loggers.suggestion import (
    FINDING_COLUMNS,
    NAT,
    LoggerFinding,
    count_samples,
    describe_moment,
    findings_frame,
    span_around,
)
from gwnet.analysis.loggers.tables import HEAD_COLUMNS, heads_table, span_of
from gwnet.errors import NotFoundError, SettingsError

from .heads_of_arrays import HOUR, NAN, START, anchored_of, channel_of, heads_of, level_of, out_of

ZONE = "Europe/Vienna"
NOON = np.datetime64("2024-05-01T12:00", "us")


def sample_heads(well="W", instrument="L", **more):
    """Return four samples: a head, a bound, one without a value and one that an open finding keeps out."""
    out = out_of("", "out of water", "no value", "spike")
    channel = channel_of([2.0, 0.01, NAN, 3.0], instrument=instrument)
    level = level_of(channel)
    anchored = anchored_of(level, 90.0, out=out, parts={"sensor_m": 0.02})
    bound = np.array([NAN, 90.03, NAN, NAN])
    return heads_of(
        None,
        channel=channel,
        level=level,
        anchored=anchored,
        bound_m=bound,
        bound_uncertainty_m=bound * 0 + 0.05,
        well=well,
        **more,
    )


def test_a_table_has_heads_and_bounds_and_on_request_what_is_neither():
    later = sample_heads("A", "K")
    zones = {"S": ZONE}
    table = heads_table([sample_heads(), sample_heads("W", "J"), later], zones, excluded=False)
    assert tuple(table.columns) == HEAD_COLUMNS
    assert table[["well", "instrument"]].to_numpy().tolist() == [["A", "K"]] * 2 + [["W", "J"], ["W", "L"]] * 2
    assert table.index.tolist() == list(range(6))
    whole = heads_table([later], zones, excluded=True)
    local = [
        (START + number * HOUR).astype(dt.datetime).replace(tzinfo=dt.UTC).astimezone(ZoneInfo(ZONE))
        for number in range(4)
    ]
    assert whole["measured_at"].tolist() == [moment.isoformat(timespec="minutes") for moment in local]
    assert whole["measured_at_utc"].tolist() == [pd.Timestamp(START + number * HOUR, tz="UTC") for number in range(4)]
    assert whole["bound"].tolist() == ["", "<=", "", ""]
    np.testing.assert_array_equal(whole["water_elevation_m"], [92.0, 90.03, NAN, NAN])
    np.testing.assert_array_equal(whole["uncertainty_m"], [0.02, 0.05, NAN, NAN])
    np.testing.assert_array_equal(whole["sensor_level_m"], [2.0, 0.01, NAN, 3.0])
    assert whole["unusable_reason"].tolist() == ["", "out of water", "no value", "spike"]
    np.testing.assert_array_equal(table.iloc[:2].to_numpy(), whole.iloc[:2].to_numpy())
    nothing = heads_table([], zones, excluded=True)
    assert (tuple(nothing.columns), len(nothing)) == (HEAD_COLUMNS, 0)
    assert str(nothing["measured_at_utc"].dtype) == "datetime64[us, UTC]"


def utc(*parts):
    return dt.datetime(*parts, tzinfo=dt.UTC)


@pytest.mark.parametrize(
    ("start", "end", "zone", "first", "last"),
    [
        ("2024-03-01", "2024-03-02", "UTC+01:00", utc(2024, 2, 29, 23), utc(2024, 3, 2, 23)),
        (dt.date(2024, 7, 1), dt.date(2024, 7, 1), ZONE, utc(2024, 6, 30, 22), utc(2024, 7, 1, 22)),
        ("2024-03-01T10:00+02:00", "2024-03-01T10:00+02:00", ZONE, utc(2024, 3, 1, 8), utc(2024, 3, 1, 8, 0, 0, 1)),
        (utc(2024, 1, 1, 5), utc(2024, 1, 2, 5), ZONE, utc(2024, 1, 1, 5), utc(2024, 1, 2, 5, 0, 0, 1)),
        (None, None, ZONE, None, None),
        # summer time begins at midnight there: 00:00 is skipped, 01:00 at UTC-03 is the first that there is
        ("2018-11-04", None, "America/Sao_Paulo", utc(2018, 11, 4, 3), None),
        # and ends at midnight: 23:00 to 24:00 come twice
        (None, "2018-02-17", "America/Sao_Paulo", None, utc(2018, 2, 18, 3)),
    ],
)
def test_a_span_holds_whole_local_days_and_the_instants_that_are_named(start, end, zone, first, last):
    assert span_of(start, end, zone) == (first, last)


@pytest.mark.parametrize(
    ("start", "words"),
    [
        ("2024-13-01", "Not a date or time: '2024-13-01'."),
        ("2024-01-01T25:00", "Not a date or time: '2024-01-01T25:00'."),
        ("20240101T10", "The time 2024-01-01T10:00:00 has no zone."),
        ("2024-01-01T10:00", "The time 2024-01-01T10:00:00 has no zone."),
        (dt.datetime(2024, 1, 1, 10), "The time 2024-01-01T10:00:00 has no zone."),  # noqa: DTZ001
    ],
)
def test_a_time_without_a_zone_is_refused(start, words):
    with pytest.raises(SettingsError) as refused:
        span_of(start, None, ZONE)
    assert refused.value.args[0] == words


# --- one finding ------------------------------------------------------------------------------------------------------


def finding(**more):
    given = {
        "site": "S",
        "well": "W",
        "instrument": "L",
        "quantity": "q",
        "rule": "gap",
        "start_utc": NOON,
        "end_utc": NOON + HOUR,
        "message": "m",
    }
    return LoggerFinding(**{**given, **more})


def test_a_finding_keeps_its_name_as_long_as_its_facts():
    """Place, message and severity are told anew; what would be done and when makes the name."""
    one = finding(kind="step", parameters={"amount_m": 0.5, "b": 1})
    assert len(one.key()) == 8
    assert set(one.key()) <= set("0123456789abcdef")
    same = finding(kind="step", parameters={"b": 1, "amount_m": 0.5}, message="other", well="V")
    assert same.key() == one.key()
    changed = [{"instrument": "K"}, {"quantity": "x"}, {"rule": "step"}, {"start_utc": NOON + HOUR}, {"end_utc": NOON}]
    changed += [{"kind": "scale"}, {"parameters": {"amount_m": 0.6, "b": 1}}, {"from_utc": NOON}, {"to_utc": NOON}]
    keys = {finding(**{"kind": "step", "parameters": {"amount_m": 0.5, "b": 1}, **more}).key() for more in changed}
    assert len(keys | {one.key()}) == 10


def test_a_finding_as_a_command_has_the_edges_that_it_has():
    words = "gwnet logger correct L step --series q"
    made = finding(kind="step", parameters={"amount_m": 0.125})
    option = made.command().removeprefix(words).removesuffix(" --reason TEXT").strip()
    assert option.split()[-1] == "0.125"
    spans = [
        ({"from_utc": NOON}, "--from 2024-05-01T12:00Z"),
        ({"to_utc": NOON + np.timedelta64(7, "s")}, "--to 2024-05-01T12:00:07Z"),
    ]
    for more, edges in spans:
        made = finding(kind="step", parameters={"amount_m": 0.125}, **more)
        assert made.command() == f"{words} {edges} {option} --reason TEXT"
    assert describe_moment(np.datetime64("2024-05-01T12:00:00.999", "us")) == "2024-05-01T12:00Z"


def test_a_span_around_samples_ends_a_second_after_the_last():
    first, last = np.datetime64("2024-05-01T12:00:00.5", "us"), np.datetime64("2024-05-01T12:00:09.7", "us")
    assert span_around(first, last) == (
        np.datetime64("2024-05-01T12:00:00", "us"),
        np.datetime64("2024-05-01T12:00:10", "us"),
    )
    assert span_around(NOON, NOON) == (NOON, NOON + np.timedelta64(1, "s"))
    assert [count_samples(number) for number in (0, 1, 2)] == ["0 samples", "1 sample", "2 samples"]


def test_findings_are_a_frame_with_times_or_none():
    rows = [finding(), finding(start_utc=NAT, end_utc=NAT, rule="serial number")]
    table = findings_frame(rows)
    assert tuple(table.columns) == FINDING_COLUMNS
    assert table["finding"].tolist() == [row.key() for row in rows]
    assert table["end_utc"].iloc[0] == pd.Timestamp(NOON + HOUR, tz="UTC")
    assert table[["start_utc", "end_utc"]].iloc[1].isna().all()
    assert table["suggestion"].tolist() == ["", ""]


# --- all findings -----------------------------------------------------------------------------------------------------


@pytest.fixture
def gathered(monkeypatch):
    """Give a function that returns the findings of heads from chosen rules."""

    def gather(heads, of_each, *, conflicts=(), kept=lambda *asked: False, deployments=(), **more):
        module = findings_module
        passed = {}
        history = SimpleNamespace(is_dismissed=kept)
        loggers = SimpleNamespace(correction_history=lambda instrument, quantity: history)
        monkeypatch.setattr(module, "loggers_of", lambda record: loggers)
        monkeypatch.setattr(module, "limits_of", lambda settings: (settings,))
        monkeypatch.setattr(module, "air_of_deployment", lambda loggers, one: f"air {one.instrument}")
        monkeypatch.setattr(module, "compare_clock", lambda loggers, one: None if one.instrument == "L" else "clock")
        monkeypatch.setattr(
            module,
            "find_in_deployment",
            lambda loggers, one: [each for each in of_each if each.instrument == one.instrument],
        )
        monkeypatch.setattr(module, "look_at", lambda one, limits: (one.instrument, limits))
        monkeypatch.setattr(module, "find_across_wells", lambda seen, found: passed.update(seen=seen) or found)
        monkeypatch.setattr(module, "find_clock_errors", lambda clocks: passed.update(clocks=list(clocks)) or [])
        monkeypatch.setattr(module, "find_missing_air", lambda loggers, air: passed.update(air=air) or [])
        table = pd.DataFrame(list(conflicts), columns=["instrument", "quantity", "file", "time_utc"])
        table["time_utc"] = pd.to_datetime(table["time_utc"], utc=True, format="ISO8601")
        monkeypatch.setattr(module, "fetch_samples", SimpleNamespace(conflicts=lambda *asked: table))
        record = SimpleNamespace(
            connection=None,
            known_on=None,
            of_site=lambda site: SimpleNamespace(settings=f"settings of {site}"),
            deployments=pd.DataFrame(list(deployments), columns=["site", "well", "instrument", "barometer"]),
        )
        return module.findings_of(record, iter(heads), **more), passed

    return gather


def test_findings_go_by_site_well_instrument_and_time(gathered):
    heads = [sample_heads("W", "L"), sample_heads("A", "K"), sample_heads("A", "L2", site="R")]
    rows = [
        finding(rule="step", start_utc=NOON),
        finding(rule="gap", start_utc=NOON),
        finding(rule="serial number", start_utc=NAT),
        finding(rule="gap", start_utc=NOON - HOUR),
        finding(rule="spike", well="A", instrument="K"),
        finding(rule="spike", site="R", well="Z", instrument="L2"),
    ]
    found, passed = gathered(heads, rows)
    assert [(row.site, row.well, row.instrument, row.rule, str(row.start_utc)[:13]) for row in found] == [
        ("R", "Z", "L2", "spike", "2024-05-01T12"),
        ("S", "A", "K", "spike", "2024-05-01T12"),
        ("S", "W", "L", "serial number", "NaT"),
        ("S", "W", "L", "gap", "2024-05-01T11"),
        ("S", "W", "L", "gap", "2024-05-01T12"),
        ("S", "W", "L", "step", "2024-05-01T12"),
    ]
    settings = [("L", "settings of S"), ("K", "settings of S"), ("L2", "settings of R")]
    assert passed == {"seen": settings, "clocks": ["clock", "clock"], "air": ["air L", "air K", "air L2"]}


def test_findings_that_a_person_dismissed_are_left_out(gathered):
    asked = []

    def kept(rule, first, last):
        asked.append((rule, first, last))
        return rule == "spike"

    rows = [finding(rule="spike"), finding(rule="gap"), finding(rule="flat")]
    found, _ = gathered([sample_heads()], rows, kept=kept)
    assert [row.rule for row in found] == ["flat", "gap"]
    assert sorted(asked) == [("flat", NOON, NOON + HOUR), ("spike", NOON, NOON + HOUR)]


def test_files_that_differ_or_carry_another_serial_number_are_findings_of_their_place(gathered):
    """Of an instrument that is neither in a well nor a barometer nothing is said."""
    conflicts = [
        ("L", "q", "b.csv", "2024-05-01T14:00"),
        ("L", "q", "b.csv", "2024-05-01T12:00"),
        ("L", "q", "a.csv", "2024-05-02T12:00"),
        ("X", "q", "a.csv", "2024-05-02T12:00"),
    ]
    serials = pd.DataFrame(
        [
            ("L", "q", "a.csv", "123", "456"),
            ("B", "air pressure", "b.csv", "7", "8"),
            ("X", "q", "c.csv", "1", "2"),
            ("D", "q", "c.csv", "1", "2"),
        ],
        columns=["instrument", "quantity", "file", "given", "recorded"],
    ).assign(first_utc=pd.Timestamp("2024-05-01", tz="UTC"), last_utc=pd.Timestamp("2024-05-03", tz="UTC"))
    places = [("S", "W", "L", "B"), ("S", "", "B", ""), ("S", "V", "D", "")]
    found, _ = gathered([sample_heads()], [], conflicts=conflicts, deployments=places, other_serials=serials)
    said = [
        (row.well, row.instrument, row.quantity, row.rule, row.message, str(row.start_utc), str(row.end_utc))
        for row in found
    ]
    differ = "those on record, which stay: another clock or unit?"
    days = ("2024-05-01T00:00:00.000000", "2024-05-03T00:00:00.000000")

    def serial(file, given, code, recorded):
        return (
            f"{file} is of serial number {given}; {code} on record has {recorded}. Withdraw the file if it is of another "
            f"instrument, or correct the serial number of {code}."
        )

    assert said == [
        ("", "B", "air pressure", "serial number", serial("b.csv", "7", "B", "8"), *days),
        ("W", "L", "q", "serial number", serial("a.csv", "123", "L", "456"), *days),
        (
            "W",
            "L",
            "q",
            "conflict",
            f"2 samples of b.csv differ from {differ}",
            "2024-05-01T12:00:00.000000",
            "2024-05-01T14:00:00.000000",
        ),
        (
            "W",
            "L",
            "q",
            "conflict",
            f"1 sample of a.csv differ from {differ}",
            "2024-05-02T12:00:00.000000",
            "2024-05-02T12:00:00.000000",
        ),
    ]


# --- samples as they are in the files ---------------------------------------------------------------------------------


def test_samples_are_of_the_well_of_their_time_and_those_on_no_series_are_refused(monkeypatch):
    """Installed in W from 01:00 to before 03:00, then in V; K was never installed."""
    series = pd.DataFrame(
        [(1, "L", "q", "m"), (2, "K", "q", "m"), (3, "L", "p", "Pa")],
        columns=["series_id", "instrument", "quantity", "unit"],
    )
    installed = pd.DataFrame([("L", "W"), ("L", "V"), ("M", "W")], columns=["instrument", "well"])
    edges = {"installed_at_utc": ["01:00", "03:00", "00:00"], "removed_at_utc": ["03:00", None, None]}
    for name, times in edges.items():
        installed[name] = pd.to_datetime([time and f"2024-01-01T{time}" for time in times], utc=True)
    asked = []

    def samples(connection, number, first_ms, end_ms, known_on):
        asked.append((number, first_ms, end_ms))
        return (START + np.arange(5) * HOUR).astype("datetime64[ms]").astype(np.int64).view(
            "datetime64[ms]"
        ), number + np.arange(5.0)

    store = SimpleNamespace(series=lambda *known: series, deployments=lambda *known: installed, samples=samples)
    monkeypatch.setattr(raw_samples, "fetch_samples", store)
    record = SimpleNamespace(connection=None, known_on=None)
    table = raw_samples.list_samples(record)
    assert tuple(table.columns) == raw_samples.SAMPLE_COLUMNS
    assert table["instrument"].tolist() == ["K"] * 5 + ["L"] * 10
    assert table["quantity"].tolist() == ["q"] * 5 + ["p"] * 5 + ["q"] * 5
    assert table["well"].tolist() == [""] * 5 + ["", "W", "W", "V", "V"] * 2
    assert table["value"].tolist() == [2.0, 3, 4, 5, 6, 3, 4, 5, 6, 7, 1, 2, 3, 4, 5]
    assert asked == [(1, None, None), (2, None, None), (3, None, None)]
    mine = raw_samples.list_samples(
        record, ["W"], quantities=["q"], start=utc(1970, 1, 1, 0, 0, 1, 500_000), end=utc(1970, 1, 1, 0, 1)
    )
    assert mine[["well", "value"]].to_numpy().tolist() == [["W", 2.0], ["W", 3.0]]
    assert asked[3:] == [(1, 1500, 60_000)]
    assert raw_samples.list_samples(record, ["Z"]).empty
    with pytest.raises(NotFoundError) as refused:
        raw_samples.list_samples(record, instruments=["L", "X", "Y"])
    assert (refused.value.args[0], refused.value.fix) == (
        "No series of instrument 'X' is on record.",
        "On record: L, K.",
    )
    series = series.iloc[:0]
    with pytest.raises(NotFoundError) as refused:
        raw_samples.list_samples(record, quantities=["q"])
    assert refused.value.fix == "Load files of loggers first."
