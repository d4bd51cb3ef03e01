"""Findings about clocks: what is wrong by how much, over which span, and where all sensors of a barometer share it."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.loggers import clocks
from gwnet.analysis.loggers.clocks import Clock, compare_clock, find_clock_errors
from gwnet.analysis.loggers.suggestion import LoggerFinding
from gwnet.hydro.loggers.clock_shift import ClockJump, ClockShift

from .logger_frames import NAT, SECOND, channel_of, moments, stamp

NAN = float("nan")
HOURS = np.arange(100)


def shift_of(seconds, *, step_s=3600.0, why="correlation 0.90, next best 0.10"):
    known = not np.isnan(seconds)
    return ClockShift(known, why, seconds, 0.9, 400, step_s)


def jump_of(hour, before, after, *, earliest=0, latest=99):
    return ClockJump(*moments(hour, earliest, latest), shift_of(before), shift_of(after), after - before)


class Loggers:
    """What stands for the record: deployments of L, starts of its files, the zone of the site."""

    def __init__(
        self, monkeypatch, *, shift=0.0, jumps=(), starts=(), deployments=((1, 0, None),), zone="UTC", air=True
    ):
        self.clocks, self.starts, self.zone, self.calls = {}, starts, zone, []
        rows = [
            {"deployment_id": n, "installed_at_utc": stamp(a), "removed_at_utc": stamp(b)} for n, a, b in deployments
        ]
        self.rows = pd.DataFrame(rows)
        for name in ("installed_at_utc", "removed_at_utc"):
            self.rows[name] = pd.to_datetime(self.rows[name], utc=True)
        exclusion = ("exclusion", 7, 8, {"cause": "other"})
        self.air = channel_of(HOURS, HOURS * 2.0, exclusion, instrument="B", quantity="air pressure") if air else None
        monkeypatch.setattr(
            clocks, "barometer_channel", lambda _, name, when: self.air if name == "B" and when.size else None
        )
        monkeypatch.setattr(clocks, "find_clock_jumps", self.note(list(jumps)))
        monkeypatch.setattr(clocks, "find_clock_shift", self.note(shift_of(shift)))

    def note(self, answer):
        return lambda *arguments, **more: self.calls.append((arguments, more)) or answer

    def downloads_of(self, _):
        return pd.DataFrame({"first_utc": pd.to_datetime([stamp(hour) for hour in self.starts], utc=True)})

    def deployments_of(self, instrument):
        assert instrument == "L"
        return self.rows

    def zone_of(self, site):
        return {"S": self.zone}[site]


def heads_of(*, quantity="absolute pressure", barometer="B", number=1, file_hours=None):
    channel = channel_of(HOURS, HOURS * 3.0, ("exclusion", 4, 6, {"cause": "other"}), file_hours=file_hours)
    channel = SimpleNamespace(**{**vars(channel), "quantity": quantity})
    level = SimpleNamespace(channel=Channel(channel))
    return SimpleNamespace(
        site="S",
        well="A",
        instrument="L",
        quantity=quantity,
        barometer=barometer,
        deployment_id=number,
        level=level,
    )


class Channel(SimpleNamespace):
    def __init__(self, given):
        super().__init__(**vars(given))

    def __len__(self):
        return self.time_utc.size


def finding(message, seconds, first, last, from_utc, to_utc):
    return LoggerFinding(
        *("S", "A", "L", "absolute pressure", "clock", *moments(first, last), message, "clock shift"),
        *({"seconds": seconds}, from_utc, to_utc),
    )


def test_a_clock_is_compared_once_by_the_samples_that_nobody_excluded(monkeypatch):
    loggers = Loggers(monkeypatch, shift=60.0, starts=[-5, 30.5, 98.5, 99.5])
    clock = compare_clock(loggers, heads_of())
    assert compare_clock(loggers, heads_of()) is clock
    (arguments, more), (again, _) = loggers.calls
    assert arguments == again
    when, value, air_when, air = arguments
    np.testing.assert_array_equal(value, np.where((HOURS >= 4) & (HOURS < 6), NAN, HOURS * 3.0))
    np.testing.assert_array_equal(air, np.where(HOURS == 7, NAN, HOURS * 2.0))
    assert when.tolist() == air_when.tolist() == moments(*HOURS).tolist()
    # windows begin at the first sample of each file; one that begins after the last has none
    assert more["starts_utc"].tolist() == moments(0, 31, 99).tolist()
    assert clock == Clock(
        *("S", "A", "L", shift_of(60.0), False, ()),
        LoggerFinding(
            *("S", "", "B", "air pressure", "clock", *moments(0, 99), "", "clock shift"), to_utc=moments(99)[0] + SECOND
        ),
    )


@pytest.mark.parametrize(
    ("options", "heads"),
    [({}, {"quantity": "water pressure"}), ({}, {"barometer": ""}), ({}, {"barometer": "C"}), ({"air": False}, {})],
)
def test_without_air_on_both_sides_there_is_nothing_to_compare(monkeypatch, options, heads):
    loggers = Loggers(monkeypatch, shift=7200.0, **options)
    assert compare_clock(loggers, heads_of(**heads)) is None
    assert loggers.clocks == {1: None}
    assert loggers.calls == []


@pytest.mark.parametrize(
    ("deployments", "number", "begins", "ends"),
    [
        # open at the start of the sensor's first deployment, and up to the last sample where it goes on
        (((1, 0, None),), 1, NAT, moments(99)[0] + SECOND),
        (((2, 0, None), (1, -50, -1)), 2, moments(-2)[0], moments(99)[0] + SECOND),
        (((2, 0, 200), (1, -50, -1)), 2, *moments(-2, 198)),
        (((1, 0, 200), (2, 300, None)), 1, NAT, moments(198)[0]),
    ],
)
def test_a_clock_that_is_off_throughout_holds_for_the_deployment(monkeypatch, deployments, number, begins, ends):
    loggers = Loggers(monkeypatch, shift=7200.0, deployments=deployments)
    clock = compare_clock(loggers, heads_of(number=number))
    message = (
        "All times agree with those of barometer B only when moved by +2 h (correlation 0.90, next best 0.10): a wrong zone, "
        "here or there."
    )
    expected = finding(message, 7200.0, 0, 99, begins, ends)
    assert [str(one) for one in clock.findings] == [str(expected)]


@pytest.mark.parametrize(
    ("seconds", "step_s", "wrong"),
    [
        *((900.0, 60.0, True), (-900.0, 60.0, True), (899.9, 60.0, False), (-5400.0, 3600.0, True)),
        *((3600.0, 3600.0, True), (1800.0, 3600.0, False), (NAN, 60.0, False)),
    ],
)
def test_a_shift_is_wrong_from_a_quarter_of_an_hour_or_one_step_on(seconds, step_s, wrong):
    assert clocks._is_wrong(shift_of(seconds, step_s=step_s)) == wrong


def test_spans_between_jumps_that_are_off_are_findings(monkeypatch):
    """Right before hour 20, two hours behind up to the start of a file at hour 61, then half an hour fast, right again."""
    jumps = [jump_of(20, 0.0, 7200.0), jump_of(60, 7200.0, -1800.0), jump_of(80, -1800.0, 0.0)]
    jumps[0] = jump_of(20, 0.0, 7200.0, earliest=10, latest=30)
    jumps[1] = ClockJump(*moments(60, 55, 70), jumps[1].before, shift_of(-1800.0, step_s=600.0), -9000.0)
    jumps[2] = jump_of(80, -1800.0, 0.0, earliest=76, latest=99)
    loggers = Loggers(monkeypatch, jumps=jumps, starts=[31, 61, 75, 99.5], deployments=((2, 0, None), (1, -9, -5)))
    clock = compare_clock(loggers, heads_of(number=2))
    assert clock.has_jumped
    words = "agree with those of barometer B only when moved by"
    behind = f"Times from 2024-05-01T20:00Z on {words} +2 h (correlation 0.90, next best 0.10), others as they are."
    fast = (
        f"Times from 2024-05-03T13:00Z on {words} -0.5 h (correlation 0.90, next best 0.10), others as they are: a new file "
        "starts there."
    )
    assert clock.findings == (
        finding(behind, 7200.0, 20, 60, moments(20)[0], moments(60)[0] + SECOND),
        finding(fast, -1800.0, 61, 79, moments(61)[0], moments(79)[0] + SECOND),
    )


def test_the_first_and_the_last_span_reach_as_far_as_the_deployment(monkeypatch):
    jumps = [jump_of(20, 3600.0, 7200.0, earliest=19, latest=21)]
    loggers = Loggers(monkeypatch, jumps=jumps, deployments=((2, 0, 200), (1, -9, -5)))
    first, second = compare_clock(loggers, heads_of(number=2)).findings
    assert (first.from_utc, first.to_utc) == (moments(-1)[0], moments(19)[0] + SECOND)
    assert (second.from_utc, second.to_utc) == tuple(moments(20, 198))
    assert first.message.endswith("others as they are.")


@pytest.mark.parametrize(
    ("starts", "earliest", "latest", "place"),
    [
        # the nearest start of a file within the bracket, its ends included, else as found
        ([], 40, 60, 50),
        ([44, 57], 40, 60, 44),
        ([42, 57], 40, 60, 57),
        ([40], 40, 60, 40),
        ([60], 40, 60, 60),
        ([39, 61], 40, 60, 50),
        ([0], 0, 60, 50),
        ([1], 0, 60, 1),
        ([99.5], 40, 99, 50),
    ],
)
def test_a_jump_is_put_where_a_file_starts_near_by(monkeypatch, starts, earliest, latest, place):
    jumps = [jump_of(50, 0.0, 7200.0, earliest=earliest, latest=latest)]
    loggers = Loggers(monkeypatch, jumps=jumps, starts=starts)
    (found,) = compare_clock(loggers, heads_of()).findings
    assert found.start_utc == found.from_utc == moments(place)[0]
    assert found.message.endswith(": a new file starts there.") == (place != 50)


def test_a_jump_is_put_where_local_clocks_change(monkeypatch):
    """Summer time ended in Europe on 2024-10-27 at 01:00 UTC: 4297 hours after the start of May."""
    file_hours = HOURS + 4250  # hour 47 of the samples
    jumps = [jump_of(40, 0.0, -3600.0, earliest=30, latest=60)]
    loggers = Loggers(monkeypatch, jumps=jumps, zone="Europe/Berlin")
    (found,) = compare_clock(loggers, heads_of(file_hours=file_hours)).findings
    assert found.start_utc == np.datetime64("2024-10-27T01:00", "us") == moments(4297)[0]
    assert found.message.endswith(
        "only when moved by -1 h (correlation 0.90, next best 0.10), others as they are: the day on which local clocks change."
    )


def test_a_span_that_two_jumps_leave_nothing_of_is_none(monkeypatch):
    jumps = [jump_of(50, 0.0, 7200.0, earliest=45, latest=60), jump_of(52, 7200.0, 0.0, earliest=45, latest=60)]
    loggers = Loggers(monkeypatch, jumps=jumps, starts=[51])
    assert compare_clock(loggers, heads_of()).findings == ()


def clock_of(well, seconds, *, instrument=None, barometer="B", jumped=False, ends=99):
    of_barometer = LoggerFinding(
        *("S", "", barometer, "air pressure", "clock", *moments(0, 99), "", "clock shift"), to_utc=moments(ends)[0]
    )
    own = LoggerFinding("S", well, f"L{well}", "Q", "clock", *moments(0, 99), f"own {well}")
    return Clock("S", well, instrument or f"L{well}", shift_of(seconds), jumped, (own,), of_barometer)


def test_a_shift_that_all_sensors_share_is_of_the_barometer():
    (found,) = find_clock_errors(
        [clock_of("C", 7200.0, ends=90), clock_of("A", 7200.0, ends=95), clock_of("A", 7200.0)]
    )
    assert (found.message, found.parameters, found.to_utc) == (
        "The times of barometer B agree with those of all its sensors (A, C) only when moved by -2 h; one clock is more "
        "likely wrong than all.",
        {"seconds": -7200.0},
        moments(99)[0],
    )
    assert (found.kind, found.rule, found.instrument, found.start_utc) == ("clock shift", "clock", "B", moments(0)[0])


@pytest.mark.parametrize(
    "others",
    [
        [],
        [clock_of("C", 3600.0)],
        [clock_of("C", NAN)],
        [clock_of("C", 7200.0, jumped=True)],
        [clock_of("C", 7200.0, instrument="LA")],
        [clock_of("C", 7200.0, barometer="D")],
    ],
)
def test_sensors_that_do_not_all_share_it_have_findings_of_their_own(others):
    found = list(find_clock_errors([*others, clock_of("A", 7200.0)]))
    assert sorted(one.message for one in found) == ["own A", *(f"own {one.well}" for one in others)]


def test_a_shared_shift_that_is_none_is_no_finding_about_the_barometer():
    found = list(find_clock_errors([clock_of("C", 0.0), clock_of("A", 0.0)]))
    assert [one.message for one in found] == ["own C", "own A"]
