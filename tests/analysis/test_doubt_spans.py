"""Which samples open steps, clocks and drift leave in doubt; the findings themselves are given, not looked for."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.loggers import doubts
from gwnet.analysis.loggers.correction_history import OUT_REASONS
from gwnet.analysis.loggers.doubts import find_doubts
from gwnet.analysis.loggers.level_faults import OpenSteps
from gwnet.analysis.loggers.suggestion import LoggerFinding

from .logger_frames import channel_of, history_of, moments, stamp

STEP, CABLE, CLOCK, DRIFT = (
    OUT_REASONS.index(f"serious finding open: {rule}") for rule in ("step", "slipped cable", "clock", "drift")
)
HOURS = range(20)
PARTS = {"manual_m": 0.03, "sensor_m": 0.04, "air_m": 0.0, "hanging_m": 0.0, "hold_m": 0.12}


class Heads(SimpleNamespace):
    def __len__(self):
        return len(self.time_utc)


def heads_of(readings=(), *rows, constant=False, hanging=False, out=None, parts=None, file_hours=None):
    """Return heads of 20 hourly samples with readings at hours; corrections follow."""
    manual = pd.DataFrame({"measured_at_utc": pd.to_datetime([stamp(hour) for hour in readings], utc=True)})
    words = "the mean offset of" if constant else "linear between"
    level = SimpleNamespace(channel=channel_of(HOURS, np.zeros(20), *rows, file_hours=file_hours))
    anchored = SimpleNamespace(
        parts={name: np.full(20, part) for name, part in {**PARTS, **(parts or {})}.items()},
        by_hanging_depth=np.full(20, hanging),
        steps=("density", f"anchored to manual readings: {words} {len(manual)}"),
    )
    return Heads(
        site="S",
        well="A",
        instrument="L",
        quantity="Q",
        barometer="B",
        installations=None,
        time_utc=moments(*HOURS),
        manual=manual.assign(offset_m=1.0),
        level=level,
        anchored=anchored,
        out=np.zeros(20, np.uint8) if out is None else out,
    )


def finding(rule, first, last):
    return LoggerFinding("S", "A", "L", "Q", rule, *moments(first, last), "")


class Found:
    """What other modules find, given to the one that is tested."""

    def __init__(self, patch):
        self.steps, self.clock, self.misfits, self.corrected = [], None, [], ()
        self.shared, self.along, self.asked, self.beside = None, False, [], 0
        self.visits = []
        deployments = pd.DataFrame(
            {"site": ["S", "S", "T"], "kind": ["logger", "barometer", "logger"], "number": [1, 2, 3]}
        )
        for name, stand_in in {
            "limits_of": lambda _: ({"logger_residual_m": 0.07},),
            "find_open_steps": self.open_steps,
            "compare_clock": lambda *_: self.clock,
            "find_misfits": self.find_misfits,
            "is_corrected_at": lambda _, place, *rules: rules == ("step", "scale") and place in self.corrected,
            "step_finding": lambda _, steps, number: finding("step", *[int(steps.place[number])] * 2),
            "deployments_in": lambda _: deployments,
            "look_near": lambda _, rows, moment: [rows["number"].tolist(), moment],
            "compare_step": self.compare_step,
            "look_at": lambda heads, _: heads.well,
            "common_visits": self.common_visits,
        }.items():
            patch.setattr(doubts, name, stand_in)
        self.histories = {}
        record = SimpleNamespace(of_site=lambda site: SimpleNamespace(settings=site))
        history = lambda *place: self.histories.get(place, history_of())  # noqa: E731
        self.loggers = SimpleNamespace(record=record, correction_history=history)

    def open_steps(self, _, *, tolerance_m):
        assert tolerance_m == 0.07
        place, size, of_sensor, teeth = (
            zip(*[(*one, False)[:4] for one in self.steps], strict=True) if self.steps else [()] * 4
        )
        flags = [np.array(part, dtype=bool) for part in (of_sensor, teeth)]
        sizes = np.array(size, dtype=float)
        return OpenSteps(np.array(place, dtype=np.int64), sizes, flags[0], np.full(sizes.shape, np.nan), flags[1])

    def compare_step(self, found, barometer, seen):
        assert (barometer, seen) == ("B", [[1], found.start_utc])
        return self.shared, self.along

    def find_misfits(self, place, *_, stepped_m, explained):
        assert place == ("S", "A", "L", "Q")
        self.asked.append((stepped_m, explained))
        return self.misfits

    def common_visits(self, site, barometer, seen):
        assert (site, barometer, seen) == ("S", "B", ["A", "C"])
        return self.visits

    def others(self):
        self.beside += 1
        return [SimpleNamespace(well="C")]

    def codes(self, heads):
        return find_doubts(self.loggers, heads, self.others).tolist()

    def spans(self, heads):
        """Return the code and the hours of each."""
        codes = self.codes(heads)
        return {code: [hour for hour in HOURS if codes[hour] == code] for code in sorted(set(codes) - {0})}


@pytest.fixture
def found(monkeypatch):
    return Found(monkeypatch)


def span(first, last):
    return list(range(first, last + 1))


@pytest.mark.parametrize(
    ("readings", "steps", "options", "expected"),
    [
        # between the manual readings on both sides of it, these included
        ([15, 3], [(8, 1.0, False)], {}, {STEP: span(3, 15)}),
        ([3, 15, 17], [(8, 1.0, True)], {}, {CABLE: span(3, 15)}),
        ([3, 8], [(8, 1.0, False)], {}, {STEP: span(3, 8)}),
        ([3, 7], [(8, 1.0, False)], {}, {STEP: span(8, 19)}),
        # after it with a reading before it alone, or none; before it with one after it alone
        ([3], [(8, 1.0, False)], {}, {STEP: span(8, 19)}),
        ([], [(8, 1.0, False)], {}, {STEP: span(8, 19)}),
        ([15, 16], [(8, 1.0, False)], {}, {STEP: span(0, 7)}),
        # everywhere where readings on both sides are averaged
        ([3, 15], [(8, 1.0, False)], {"constant": True}, {STEP: span(0, 19)}),
        ([3], [(8, 1.0, False)], {"constant": True}, {STEP: span(8, 19)}),
        # two between the same readings come back within a quarter of the larger
        ([3, 15], [(6, 1.0, False), (11, -0.75, False)], {}, {STEP: span(6, 10)}),
        ([3, 15], [(6, -0.75, False), (11, 1.0, True)], {}, {CABLE: span(6, 10)}),
        ([3, 15], [(6, 1.0, False), (11, -0.74, False)], {}, {STEP: span(3, 15)}),
        ([], [(6, 1.0, False), (11, 0.5, False)], {}, {STEP: span(6, 19)}),
        ([15], [(6, 1.0, False), (11, 0.5, False)], {}, {STEP: span(0, 10)}),
        # but not across a reading
        ([3, 9, 15], [(6, 1.0, True), (11, -1.0, False)], {}, {STEP: span(9, 15), CABLE: span(3, 8)}),
        # teeth of a saw are none
        ([3, 15], [(8, 1.0, False, True)], {}, {}),
    ],
)
def test_samples_that_a_step_leaves_in_doubt(found, readings, steps, options, expected):
    found.steps = steps
    assert found.spans(heads_of(readings, **options)) == expected


@pytest.mark.parametrize(
    ("restart", "readings", "place", "expected"),
    [
        (12, [15], 8, span(8, 11)),
        (12, [3], 8, span(8, 11)),
        (5, [3, 15], 8, span(5, 7)),
        (8, [3, 15], 8, []),
        (8, [3], 9, span(9, 19)),
    ],
)
def test_doubt_ends_with_the_installation(found, restart, readings, place, expected):
    found.steps = [(place, 1.0, False)]
    spans = found.spans(heads_of(readings, ("restart", restart, None, {})))
    assert spans == ({STEP: expected} if expected else {})


@pytest.mark.parametrize(
    ("size", "options", "matters"),
    [
        # 0.05 m is the root sum of squares of 0.03 and 0.04
        (0.0501, {}, True),
        (0.0499, {}, False),
        (-0.0501, {}, True),
        (-0.0499, {}, False),
        (0.1299, {"parts": {"air_m": 0.12}}, False),
        (0.1301, {"parts": {"air_m": 0.12}}, True),
        (0.1299, {"parts": {"hanging_m": 0.12}}, False),
        (0.1301, {"parts": {"hanging_m": 0.12}}, True),
        # how well a sensor held counts only where its hanging depth alone gives the level
        (0.1299, {"hanging": True}, False),
        (0.1301, {"hanging": True}, True),
        (0.5, {"parts": {"manual_m": 0.3, "sensor_m": 0.4}}, False),
    ],
)
def test_a_step_matters_beyond_the_uncertainty_of_the_level(found, size, options, matters):
    found.steps = [(8, size, False)]
    assert found.spans(heads_of([3], **options)) == ({STEP: span(8, 19)} if matters else {})


@pytest.mark.parametrize(
    ("of_sensor", "along", "matters"), [(False, False, 1), (False, True, 0), (True, True, 1), (True, False, 1)]
)
def test_a_step_of_moving_water_is_none_unless_readings_show_the_sensor_moved(found, of_sensor, along, matters):
    found.steps, found.along = [(8, 1.0, of_sensor)], along
    assert len(found.spans(heads_of([3]))) == matters


def test_a_step_that_a_person_made_or_a_barometer_made_and_somebody_dismissed_is_none(found):
    found.steps, found.corrected = [(8, 1.0, False)], (8,)
    assert found.spans(heads_of([3])) == {}
    found.corrected, found.along = (7, 9), True
    found.shared = LoggerFinding("S", "", "B", "air pressure", "common cause", *moments(8, 9), "")
    assert found.spans(heads_of([3])) == {STEP: span(8, 19)}
    found.histories["B", "air pressure"] = history_of(("keep", 8, 9.5, {"against": "common cause"}))
    assert found.spans(heads_of([3])) == {}


def clock_of(*findings):
    of_barometer = LoggerFinding("S", "", "B", "air pressure", "clock", *moments(1, 9), "")
    return SimpleNamespace(of_barometer=of_barometer, findings=findings)


def test_a_clock_leaves_its_span_by_the_file_in_doubt(found):
    found.clock = clock_of(finding("clock", 4, 6), finding("clock", 10, 12))
    assert found.spans(heads_of([])) == {CLOCK: [4, 5, 6, 10, 11, 12]}
    # the file is an hour behind
    assert found.spans(heads_of([], file_hours=range(-1, 19))) == {CLOCK: [5, 6, 7, 11, 12, 13]}
    assert found.spans(heads_of([], ("keep", 4, 7, {"against": "clock"}))) == {CLOCK: [10, 11, 12]}
    found.histories["B", "air pressure"] = history_of(("keep", 1, 10, {"against": "clock"}))
    assert found.spans(heads_of([])) == {}


@pytest.mark.parametrize(
    ("readings", "options", "expected"),
    [
        ([], {}, span(2, 17)),
        ([6, 12], {}, [*span(2, 5), *span(13, 17)]),
        ([12], {}, [*span(2, 11), *span(13, 17)]),
        ([6, 12], {"constant": True}, span(2, 17)),
    ],
)
def test_drift_leaves_in_doubt_what_no_two_readings_enclose(found, readings, options, expected):
    found.misfits = [finding("drift", 2, 17)]
    found.visits = [({4, 5}, None), ({9}, None)]
    found.steps = [(8, -0.02, False), (9, 5.0, False, True), (10, 0.01, False)]
    assert found.spans(heads_of(readings, **options)) == {DRIFT: expected}
    # other wells are looked at once, and their visits explain readings; teeth of a saw are no shift
    assert found.asked == [(0.02, set()), (0.02, {4, 5, 9})]
    assert found.beside == 1


def test_drift_that_is_dismissed_or_comes_of_one_reading_leaves_no_doubt(found):
    found.misfits = [finding("drift", 2, 17)]
    assert found.spans(heads_of([], ("keep", 2, 17.5, {"against": "drift"}))) == {}
    found.misfits = [finding("manual reading", 17, 17), finding("drift", 2, 17)]
    assert found.spans(heads_of([])) == {}
    found.misfits = [finding("manual reading", 2, 2), finding("drift", 2, 17)]
    assert found.spans(heads_of([])) == {}
    assert found.beside == 1
    found.misfits = [finding("manual reading", 18, 18), finding("drift", 2, 17)]
    assert found.spans(heads_of([])) == {DRIFT: span(2, 17)}
    found.asked.clear()
    found.misfits, found.steps = [], []
    assert found.spans(heads_of([])) == {}
    assert found.asked == [(0.0, set())]


def test_a_step_goes_before_a_clock_before_drift_and_an_own_reason_before_all(found):
    found.misfits, found.clock, found.steps = (
        [finding("drift", 0, 19)],
        clock_of(finding("clock", 4, 12)),
        [(8, 1.0, True)],
    )
    out = np.zeros(20, np.uint8)
    out[[0, 5, 9]] = 3
    assert found.spans(heads_of([6, 10], out=out)) == {
        DRIFT: [1, 2, 3, *span(13, 19)],
        CLOCK: [4, 11, 12],
        CABLE: [6, 7, 8, 10],
    }
