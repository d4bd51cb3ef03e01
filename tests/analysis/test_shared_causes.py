"""What several wells show at once, at each limit: levels by the hour and manual readings as frames, no database.

The numbers of the rules (3 cm, 20 and 30 %, five times the usual change, 6 hours, 36 hours, 14 days, 10 days) are project
defaults, common practice, no source.
"""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.loggers import common_causes
from gwnet.analysis.loggers.common_causes import (
    Seen,
    common_visits,
    compare_step,
    find_across_wells,
    look_at,
    look_near,
)
from gwnet.analysis.loggers.suggestion import LoggerFinding

START = np.datetime64("2024-05-01T00:00", "us")
HOUR = np.timedelta64(3_600_000_000, "us")
DAY = 24 * HOUR
FIRST = int(START.astype("datetime64[h]").astype(np.int64))
NAN = float("nan")


def seen_at(well, hours, level, *, site="S", instrument=None, barometer="B", manual=None):
    """Return what of a deployment is compared; hours count from the start."""
    return Seen(
        (site, well, instrument or f"L{well}", "absolute pressure"),
        barometer,
        FIRST + np.asarray(hours, dtype=np.int64),
        np.asarray(level, dtype=np.float32),
        pd.DataFrame() if manual is None else manual,
        None,
        {"logger_residual_m": 0.05},
    )


def step(amount, well="A", rule="step", *, site="S", at=20 * HOUR, end=None):
    moment = START + at
    return LoggerFinding(
        site, well, f"L{well}", "absolute pressure", rule, moment, end or moment, "", "step", {"amount_m": amount}
    )


def test_a_change_is_from_the_hour_before_to_the_hour_after():
    rng = np.random.default_rng(1)
    level = rng.integers(0, 1000, 600) / 64
    seen = seen_at("A", range(600), level)
    assert len(seen) == 600
    for at in (1, 9, 250, 300, 598):
        near = level[max(at - 1 - 200, 0) : at + 1 + 200]
        usual = np.median(np.abs(near[3:] - near[:-3]))
        for minutes in (0, 59):
            moment = START + at * HOUR + minutes * HOUR // 60
            assert seen.change_at(moment) == (level[at + 1] - level[at - 1], usual)
    for at in (0, 599):
        np.testing.assert_equal(seen.change_at(START + at * HOUR), (NAN, NAN))


@pytest.mark.parametrize(("after", "change"), [(15, 4.0), (16, NAN)])
def test_hours_up_to_six_apart_show_a_change(after, change):
    seen = seen_at("A", [*range(10), after, after + 1], [*[1.0] * 10, 5.0, 5.0])
    np.testing.assert_equal(seen.change_at(START + 12 * HOUR)[0], change)


@pytest.mark.parametrize(("count", "usual"), [(6, 0.0), (7, 3.0)])
def test_seven_hours_show_the_usual_change(count, usual):
    assert seen_at("A", range(count), np.arange(count)).change_at(START + 2 * HOUR) == (2.0, usual)


def level_of(hours, level, out):
    channel = SimpleNamespace(time_utc=START + (np.asarray(hours) * 3.6e9).astype("timedelta64[us]"), quantity="Q")
    return SimpleNamespace(
        channel=channel, level_m=np.asarray(level, dtype=float), out=np.asarray(out, dtype=np.uint8), barometer="B"
    )


def test_levels_by_the_hour_are_the_last_that_serve():
    """Of two or three samples in an hour the last; a sample that is out of water or missing is none."""
    level = level_of(
        [0.0, 0.5, 0.9, 1.0, 2.25, 2.75, 4.0, 5.0], [1.0, 2.0, 3.0, 4.0, 5.0, NAN, 7.0, 8.0], [0, 0, 6, 0, 0, 0, 6, 0]
    )
    manual = pd.DataFrame({"event_id": [3]})
    heads = SimpleNamespace(
        site="S",
        well="A",
        instrument="L",
        quantity="Q",
        barometer="B",
        level=level,
        manual=manual,
        installations="installations",
    )
    found = look_at(heads, {"x": 1.0})
    assert (found.hour - FIRST).tolist() == [0, 1, 2, 5]
    assert found.level_m.tolist() == [2.0, 4.0, 5.0, 8.0]
    assert found.level_m.dtype == np.float32
    assert (found.place, found.barometer, found.installations, found.limits) == (
        *(("S", "A", "L", "Q"), "B", "installations"),
        {"x": 1.0},
    )
    assert found.manual is manual
    heads.level = level_of([0.0, 1.0], [NAN, 2.0], [0, 6])
    assert (look_at(heads, {}).hour.size, len(look_at(heads, {}))) == (0, 0)


@pytest.mark.parametrize(
    ("installed", "removed", "span"),
    [
        (-30, 40, (-10, 11)),
        (-5, 3, (-5, 3)),
        (-5, None, (-5, 11)),
        (11, None, None),
        (10.99, None, (10.99, 11)),
        (-30, -10, None),
        (-30, -9.99, (-10, -9.99)),
    ],
)
def test_levels_near_a_moment_are_of_ten_days_before_and_after_its_day(monkeypatch, installed, removed, span):
    day = pd.Timestamp(START, tz="UTC")
    asked, keys = [], []
    monkeypatch.setattr(common_causes, "sensor_level", lambda _, row: asked.append(row) or level_of([1.0], [2.0], [0]))
    once = lambda key, make: keys.append(key) or make()  # noqa: E731
    row = {"deployment_id": 4, "site": "S", "well": "A", "instrument": "L"}
    row["installed_at_utc"] = day + pd.Timedelta(days=installed)
    row["removed_at_utc"] = pd.NaT if removed is None else day + pd.Timedelta(days=removed)
    loggers = SimpleNamespace(near_levels=SimpleNamespace(once=once))
    found = look_near(loggers, pd.DataFrame([row]), START + 17 * HOUR)
    spans = [
        ((one.installed_at_utc - day) / pd.Timedelta(days=1), (one.removed_at_utc - day) / pd.Timedelta(days=1))
        for one in asked
    ]
    assert spans == ([] if span is None else [pytest.approx(span)])
    assert [(each.place, each.barometer, each.level_m.tolist()) for each in found] == [
        (("S", "A", "L", "Q"), "B", [2.0])
    ] * len(spans)
    assert keys == [(4, day)] * len(spans)


def test_a_deployment_without_a_level_is_not_seen(monkeypatch):
    monkeypatch.setattr(common_causes, "sensor_level", lambda *_: None)
    row = {"deployment_id": 4, "site": "S", "well": "A", "instrument": "L"}
    row |= {"installed_at_utc": pd.Timestamp(START, tz="UTC"), "removed_at_utc": pd.NaT}
    loggers = SimpleNamespace(near_levels=SimpleNamespace(once=lambda _, make: make()))
    assert look_near(loggers, pd.DataFrame([row]), START) == []


@pytest.mark.parametrize(
    ("lengths", "alike"),
    [
        # within a fifth of the median, and exactly so
        ([5.0, 5.0, 6.0], True),
        ([5.0, 5.0, 6.01], False),
        ([-5.0, -5.0, -4.0], True),
        ([-5.0, -5.0, -3.99], False),
        ([5.0, 5.0, -5.0], False),
        # or 3 cm where that is more, and not smaller than that
        ([0.03, 0.03, 0.06], True),
        ([0.03, 0.03, 0.0601], False),
        ([0.0299, 0.0299], False),
        ([-0.03, -0.03], True),
        ([0.02, 0.02, 0.04, 0.04], True),
    ],
)
def test_lengths_are_alike(lengths, alike):
    assert common_causes._are_alike(np.array(lengths)) is alike


def other(change, **place):
    """Return another well that is at rest and moves by so much at hour 20."""
    return seen_at("B", range(40), np.where(np.arange(40) >= 20, change, 0.0), **place)


@pytest.mark.parametrize(
    ("change", "place", "shared", "along"),
    [
        # a step of 1 m up, since a correction takes it back; the other well shares the barometer
        (1.0, {}, True, True),
        (1.25, {}, True, True),
        (1.5, {}, True, True),  # median 1.25 m, both within a fifth
        (1.51, {}, False, True),
        (-1.0, {}, False, False),
        # another barometer, or none: only the water may move along, by 30 % of the step
        (1.0, {"barometer": "C"}, False, True),
        (1.0, {"barometer": ""}, False, True),
        (0.3125, {"barometer": "C"}, False, True),
        (0.296875, {"barometer": "C"}, False, False),
        (-0.5, {"barometer": "C"}, False, False),
        # the same instrument, or one of another site, says nothing
        (1.0, {"instrument": "LA"}, False, False),
        (1.0, {"site": "T"}, False, False),
    ],
)
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_step_is_shared_or_the_water_moves_along(change, place, shared, along, sign):
    finding = step(-sign * 1.0)
    found, moves = compare_step(finding, "B", [other(sign * change, **place)])
    assert (found is not None, moves) == (shared, along)
    if found is not None:
        middle = f"{sign:+.3f}"
        assert found == LoggerFinding(
            *("S", "", "B", "air pressure", "common cause", finding.start_utc, finding.end_utc),
            f"The levels at A, B, all that this barometer serves then, step by {middle} m together: the air pressure "
            "rather than every sensor.",
            "",
            {"off_m": -sign},
        )


def test_no_barometer_is_shared_by_wells_without_one():
    found, moves = compare_step(step(-1.0), "", [other(1.0, barometer="")])
    assert (found, moves) == (None, True)


def test_a_share_of_the_step_and_five_times_the_usual_change_move_along():
    """Exactly 0.3 of a step of 10 m, and exactly five times the usual change of 1 m in three hours."""
    assert compare_step(step(-10.0), "C", [other(3.0)])[1]
    assert not compare_step(step(-10.0), "C", [other(2.999)])[1]
    swing = np.arange(40) % 2 * 1.0  # over three hours the change is 1 m
    for change, moves in ((5.0, True), (4.98, False)):
        level = swing + np.where(np.arange(40) >= 20, change, 0.0)
        assert compare_step(step(-1.0), "C", [seen_at("B", range(40), level)])[1] is moves
    # a well without a level there says nothing, nor do those after it fall silent
    beyond = seen_at("C", range(100, 140), np.ones(40))
    assert compare_step(step(-10.0), "B", [beyond, other(10.0)])[0] is not None


def manual(rows):
    """Return manual readings of (event, hours, installation, offset, uncertainty)."""
    table = pd.DataFrame(rows, columns=["event_id", "hours", "installation", "offset_m", "uncertainty_m"])
    when = pd.to_datetime(
        pd.Series(START + (table["hours"] * 3.6e9).to_numpy().astype("timedelta64[us]"))
    ).dt.tz_localize("UTC")
    return table.assign(
        measured_at_utc=when, measured_at=[str(one) for one in when], offset_m=table["offset_m"].astype(float)
    )


def visits(well, off, *, first=1, hour=500.0, uncertainty=0.01, **place):
    """Return a well with three readings at one offset and one that is off, at the hour."""
    rows = [(first + n, 100.0 * n, 0, 7.0, uncertainty) for n in range(3)]
    rows += [(first + 3, hour, 0, 7.0 + off, uncertainty)]
    return seen_at(well, [], [], manual=manual(rows), **place)


def of_visit(*seen, barometer="B"):
    return list(common_visits("S", barometer, seen))


def test_a_visit_that_all_wells_miss_alike_is_one_finding():
    [(events, finding)] = of_visit(visits("A", -0.5), visits("C", -0.4375, first=11, hour=501.5))
    assert events == {4, 14}
    assert finding == LoggerFinding(
        *("S", "", "B", "air pressure", "common cause"),
        START + 500 * HOUR,
        START + 501 * HOUR + HOUR // 2,
        "The manual readings of A, C on 2024-05-21 all stand -0.469 m off their loggers: one cause, the air pressure of B "
        "of that day before any drift.",
        "",
        {"off_m": -0.469},
    )
    [(_, finding)] = of_visit(visits("A", 0.5), visits("C", 0.5), barometer="")
    assert "one cause, the tape of that day before any drift." in finding.message
    assert finding.instrument == ""


@pytest.mark.parametrize(
    ("off", "uncertainty", "limit", "found"),
    [
        (0.25, 0.01, 0.25, True),
        (0.25, 0.01, 0.26, False),
        (0.25, 0.25, 0.05, True),
        (0.25, 0.26, 0.05, False),
        (-0.25, 0.01, 0.25, True),
    ],
)
def test_a_visit_is_off_by_the_limit_or_the_uncertainty(off, uncertainty, limit, found):
    wells = [visits("A", off, uncertainty=uncertainty), visits("B", off, first=11)]
    wells[1].limits["logger_residual_m"] = limit
    assert len(of_visit(*wells)) == found


@pytest.mark.parametrize(("hours", "count"), [(36.0, 1), (36.01, 0)])
def test_readings_within_36_hours_are_one_visit(hours, count):
    found = of_visit(visits("A", 0.5), visits("C", 0.5, first=11, hour=500.0 + hours))
    assert len(found) == count


def test_readings_of_a_common_visit_are_explained(monkeypatch):
    judged = []
    monkeypatch.setattr(
        common_causes, "find_misfits", lambda place, *_, explained, **more: judged.append((place[1], explained)) or []
    )
    wells = [visits("A", 0.5), visits("C", 0.5, first=11), visits("D", 0.5, first=21, barometer="")]
    [finding] = find_across_wells([replace(one, installations="known") for one in wells], [])
    assert (finding.rule, finding.instrument, finding.parameters) == ("common cause", "B", {})
    assert judged == [(well, {4, 14}) for well in "ACD"]


def test_one_well_and_wells_that_differ_are_no_common_cause():
    assert of_visit(visits("A", 0.5)) == []
    assert of_visit(visits("A", 0.5), visits("A", 0.5, first=11)) == []
    assert of_visit(visits("A", 0.5), visits("C", 1.0, first=11)) == []
    # two readings have no median to depart from
    few = seen_at("C", [], [], manual=manual([(1, 0.0, 0, 7.0, 0.01), (2, 500.0, 0, 7.5, 0.01)]))
    assert of_visit(visits("A", 0.5), few) == []


def test_readings_depart_from_the_median_of_three_of_their_installation():
    table = manual(
        [(1, 0, 0, 1.0, 0.0), (2, 1, 0, 4.0, 0.0), (3, 2, 0, 2.0, 0.0), (4, 3, 0, NAN, 0.0), (5, 4, 1, 9.0, 0.0)]
    )
    found = common_causes._departures(table)
    assert found["event_id"].tolist() == [1, 2, 3]
    assert found["departure_m"].tolist() == [-1.0, 2.0, 0.0]


def about(off, first, last, barometer="B", site="S"):
    return LoggerFinding(
        *(
            site,
            "",
            barometer,
            "air pressure",
            "common cause",
            START + first * HOUR,
            START + last * HOUR,
            f"{first}",
            "",
        ),
        {"off_m": off},
    )


@pytest.mark.parametrize(
    ("second", "ends"),
    [
        (about(-1.0, 20 + 14 * 24, 20 + 14 * 24), [20 + 14 * 24]),  # the way back, 14 days after the end
        (about(-1.0, 21 + 14 * 24, 500), [20, 500]),
        (about(1.1, 12, 15), [20]),  # within the first
        (about(-1.2, 30, 40), [40]),  # alike: 1.1 m, and both within a fifth
        (about(-1.6, 30, 40), [20, 40]),
        (about(1.0, 30, 40, barometer="C"), [20, 40]),
        (about(1.0, 30, 40, site="T"), [20, 40]),
    ],
)
def test_causes_that_are_the_same_are_put_together(second, ends):
    first = about(1.0, 10, 20)
    for order in ([first, second], [second, first]):
        found = list(common_causes._together(order))
        assert [(one.end_utc - START) // HOUR for one in found] == ends
        assert [one.start_utc for one in found] == [first.start_utc, second.start_utc][: len(ends)]
        assert all(one.parameters == {} for one in found)


def test_findings_of_one_cause_are_one_and_the_rest_are_kept(monkeypatch):
    """Steps of A and B are of barometer B, C steps alone; a slipped cable stays though water moves along."""
    judged = []
    monkeypatch.setattr(
        common_causes, "find_misfits", lambda place, *_, **options: judged.append((place[1], options)) or []
    )
    at_20 = np.where(np.arange(60) >= 20, 1.0, 0.0)
    at_40 = np.where(np.arange(60) >= 40, 1.0, 0.0)
    table = manual(
        [(7, 20.0, 0, 1.0, 0.01), (8, 19.9, 0, 1.0, 0.01), (9, 22.1, 0, 1.0, 0.01), (10, 22.0, 0, 1.0, 0.01)]
    )
    seen = [
        seen_at("A", range(60), at_20, manual=table),
        seen_at("B", range(60), at_20 + at_40, manual=table),
        seen_at("C", range(60), at_40, barometer="D", manual=table.assign(event_id=table["event_id"] + 20)),
        seen_at("E", [], [], manual=table),
    ]
    judging = [replace(one, installations="known") for one in seen[:3]]
    judging.append(seen[3])
    plain = LoggerFinding("S", "A", "LA", "absolute pressure", "spike", START, START, "")
    findings = [
        plain,
        step(-1.0, "A", end=START + 22 * HOUR),
        step(-1.0, "B", end=START + 22 * HOUR),
        step(-1.0, "C", at=40 * HOUR),
        step(-1.0, "B", at=40 * HOUR, rule="slipped cable"),
        step(-0.25, "C", at=50 * HOUR, rule="slipped cable"),
    ]
    found = find_across_wells(judging, findings)
    assert found[:3] == [plain, findings[4], findings[5]]  # the step of C is of moving water: B moves along
    [common] = found[3:]
    assert (common.rule, common.instrument, common.start_utc, common.end_utc) == (
        *("common cause", "B", START + 20 * HOUR, START + 22 * HOUR),
    )
    # readings from the first to the last moment of the cause, at wells of that barometer, need no other cause
    assert judged == [
        ("A", {"stepped_m": 0.0, "explained": {7, 10}}),
        ("B", {"stepped_m": 1.0, "explained": {7, 10}}),
        ("C", {"stepped_m": 0.25, "explained": {7, 10}}),
    ]
