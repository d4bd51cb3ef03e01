"""What a reduction of the demo network must find: `EXPECTED.toml`, and `demo.toml` for the demo's run."""

from __future__ import annotations

import datetime as dt
import math
from collections import Counter, defaultdict
from pathlib import Path
from typing import Any

import numpy as np

from making import story
from making.files import toml_text
from making.logger_truths import HEAD_TOLERANCE_M, corrections, expected_of, loads
from making.loggers import Loggers, moment_of
from making.physics import LOWER_PLANE, UPPER_PLANE, ZONE, days, grid, interpolate
from making.pumping import truths as pumping_truths
from making.record import Event, Record

Truth = dict[str, Any]
NO_NUMBER = ("no access", "frozen", "not found", "destroyed", "not measured", "obstructed")
FAR_M = 250.0


def r4(value: float) -> float:
    """Return a number to a tenth of a millimetre."""
    return round(float(value), 4) + 0.0


def _name(event: Event) -> Truth:
    made: Truth = {"well": event.well, "access": event.access, "round": event.round, "measured_at": event.measured_at}
    if event.timed:
        made["measured_at_utc"] = event.moment.astimezone(dt.UTC).strftime("%Y-%m-%dT%H:%MZ")
    return made


def _point(event: Event) -> story.Point:
    return story.point_at(event.well, event.access, event.moment.date().isoformat())


def _level(event: Event, why: str) -> Truth:
    assert event.truth_m is not None
    point = _point(event)
    water = event.truth_m if event.interface_m is None else event.interface_m
    made = _name(event) | {
        "status": event.status,
        "why": why,
        "water_elevation_m": r4(event.truth_m),
        "tolerance_m": event.tolerance_m,
        "measuring_point_elevation_m": point.elevation,
        "depth_to_water_m": r4(point.elevation - water),
        "depth_below_ground_m": r4(point.elevation - water - point.height),
        "tape_correction_m": r4(event.correction_m),
        "usable": event.usable,
    }
    if "depth_to_product" in event.row:
        density = float(event.row["product_relative_density"])
        made["product_thickness_m"] = r4((event.truth_m - water) / density)
        made["water_elevation_uncorrected_m"] = r4(water)
    return made


def _why(event: Event) -> str:
    """Return why an event is a good check, or nothing."""
    year, well = event.round[:4], event.well
    on_stretched = event.row["instrument"] == "E-2" and event.moment.date().isoformat() >= story.STRETCH[0][0]
    reasons = (
        (event.round == story.LAST_ROUND.code, "last round"),
        (well == "W-04" and event.round in ("2020-Q1", "2020-Q2"), "before the casing was cut"),
        (well == "W-04" and event.round in ("2020-Q3", "2020-Q4"), "after the casing was cut"),
        (well == "N2-U" and event.round in ("2023-Q2", "2023-Q3"), "before the casing was raised"),
        (well == "N2-U" and event.round in ("2023-Q4", "2024-Q1"), "after the casing was raised"),
        (on_stretched and well in ("W-04", "L-02", "W-10", "L-04"), "read on the stretched tape"),
        ("depth_to_product" in event.row and event.round.endswith(("Q1", "Q3")), "floating product"),
        (event.status == "flowing" and event.round.endswith("Q2"), "water above the measuring point"),
        (well == "P-1" and event.status != "pumping", "supply well not pumping"),
        (well == "P-1" and event.round in ("2018-Q1", "2022-Q3"), "supply well pumping"),
        (event.status in ("recovering", "nearby pumping", "affected by surface water"), event.status),
        (event.row.get("quality") in ("suspect", "estimate"), f"quality {event.row.get('quality')}"),
        (bool({"water_elevation", "depth_below_ground"} & event.tags), "not given below the measuring point"),
        (not event.timed, "time of day not known"),
        (year == "2019" and well in ("W-01", "N1-L", "W-12"), "file with decimal comma"),
        (year == "2021" and well in ("W-01", "N1-L"), "file in centimetres"),
    )
    return next((words for holds, words in reasons if holds), "")


def _sample(record: Record) -> list[Truth]:
    spoilt = {"repeats disagree", "blunder", "no density", "in the sump", "overflow", "fault"}
    sound = [event for event in record.events if event.truth_m is not None and not spoilt & event.tags]
    return [_level(event, why) for event in sound if event.status != "dry" and (why := _why(event))]


def _bounds(record: Record) -> list[Truth]:
    made = []
    for event in record.events:
        if event.bound_m is None:
            continue
        kind = "dry" if event.status == "dry" else "water in the sump"
        truth = _name(event) | {"kind": kind, "bound": "<=", "bound_elevation_m": r4(event.bound_m)}
        if event.sounded_m is not None:
            truth |= {"sounded_depth_m": r4(event.sounded_m), "tolerance_m": 0.011}
        made.append(truth | {"true_water_elevation_m": r4(event.truth_m or math.nan)})
    for event in record.events:
        if "overflow" in event.tags:
            truth = _name(event) | {"kind": "overflowing without a number", "bound": ">="}
            made.append(truth | {"bound_elevation_m": _point(event).elevation})
    return made


def _corrected_survey(record: Record) -> Truth:
    point = next(point for point in story.POINTS if point.recorded != point.elevation)
    levels = []
    for event in record.events:
        if event.well == point.well and event.truth_m is not None and "fault" not in event.tags:
            step = point.recorded - point.elevation
            levels.append(_name(event) | {"before_m": r4(event.truth_m + step), "after_m": r4(event.truth_m)})
    return {
        "well": point.well,
        "access": point.access,
        "valid_from": point.valid_from,
        "elevation_before_m": point.recorded,
        "elevation_after_m": point.elevation,
        "error_m": story.WRONG_SURVEY_M,
        "tolerance_m": 0.003,
        "reason": story.CORRECTION_REASON,
        "level": levels,
    }


def _alterations() -> list[Truth]:
    made = []
    for point in story.POINTS:
        if point.change == "altered":
            day = dt.date.fromisoformat(point.valid_from) - dt.timedelta(days=1)
            before = story.point_at(point.well, point.access, day.isoformat())
            made.append(
                {
                    "well": point.well,
                    "on": point.valid_from,
                    "elevation_before_m": before.elevation,
                    "elevation_after_m": point.elevation,
                    "height_before_m": before.height,
                    "height_after_m": point.height,
                    "change_m": r4(point.elevation - before.elevation),
                }
            )
    return made


def _tape_corrections(record: Record) -> list[Truth]:
    made = []
    for day, share in story.STRETCH:
        reference, tape = next(table for since, table in record.tape_errors["E-2"] if since == day)
        for reading in (0.3, 1.0, 2.5, 6.0, 7.5, 12.0, 33.0):
            correction = interpolate(reading, tape, [r - t for r, t in zip(reference, tape, strict=True)])
            truth: Truth = {
                "instrument": "E-2",
                "check": day,
                "reading_m": reading,
                "correction_m": round(correction, 6),
            }
            made.append(truth | {"stretch": share, "beyond_the_check": reading < tape[0] or reading > tape[-1]})
    return made


def _beyond_checks(record: Record) -> list[Truth]:
    """Return the events read on a tape nearer to the rim than it was checked."""
    made = []
    for event in record.events:
        if event.row["instrument"] in record.tape_errors and "depth_to_water" in event.row:
            reading = float(event.row["depth_to_water"])
            if not min(story.CHECK_DEPTHS) <= reading <= max(story.CHECK_DEPTHS):
                made.append(_name(event) | {"instrument": event.row["instrument"], "reading_m": reading})
    return made


def _elevation_of(well: str, quantity: str, value: float) -> float:
    point = next(point for point in story.POINTS if point.well == well and not point.valid_until)
    if quantity == "depth_to_water":
        return point.elevation - value
    return value if quantity == "water_elevation" else point.elevation - point.height - value


def _thresholds(record: Record) -> list[Truth]:
    made = []
    for well, name, kind, quantity, value, consecutive, since, until, _, _ in story.THRESHOLDS:
        level = _elevation_of(well, quantity, value)
        states = []
        for event in record.events:
            day = event.moment.date().isoformat()
            judged = event.usable or event.bound_m is not None
            if event.well == well and judged and since <= day and (not until or day < until):
                states.append((event, _state(event, kind, level)))
        runs, run = [], 0
        for _, state in states:
            run = run + 1 if state == "crossed" else 0
            runs.append(run)
        met = [_day(event) for (event, _), length in zip(states, runs, strict=True) if length >= consecutive]
        truth: Truth = {"well": well, "threshold": name, "kind": kind, "valid_from": since, "valid_until": until}
        truth |= {"elevation_m": r4(level), "consecutive": consecutive, "met_on": met}
        truth["undetermined_on"] = [_day(event) for event, state in states if state == "undetermined"]
        if not until:
            truth |= {"state_in_last_round": _ruled(states[-1][1], runs[-1], consecutive), "run": runs[-1]}
            truth["newest"] = _day(states[-1][0])
        made.append(truth)
    return made


def _daily_means(loggers: Loggers, well: str) -> dict[str, float]:
    """Return the true head of each local day of which the sensor in a well has three quarters of its samples."""
    by_day: dict[str, list[float]] = defaultdict(list)
    least = 1.0
    for recording in loggers.recordings:
        if recording.sensor.well == well:
            least = 0.75 * 24.0 / recording.sensor.every_h
            for hour, head in zip(recording.hours, recording.heads, strict=True):
                by_day[moment_of(float(hour)).astimezone(ZONE).date().isoformat()].append(float(head))
    return {day: sum(heads) / len(heads) for day, heads in sorted(by_day.items()) if len(heads) >= least}


def _change_thresholds(loggers: Loggers) -> list[Truth]:
    made = []
    for well, name, kind, limit, span, consecutive, since, _, _ in story.CHANGE_THRESHOLDS:
        means = {day: head for day, head in _daily_means(loggers, well).items() if day >= since}
        changes = {}
        for day, head in means.items():
            start = (dt.date.fromisoformat(day) - dt.timedelta(days=span)).isoformat()
            before = [other for when, other in means.items() if start <= when < day]
            if before:
                changes[day] = head - (min(before) if kind == "upper" else max(before))
        sign = 1.0 if kind == "upper" else -1.0
        largest = max(changes, key=lambda day: sign * changes[day])
        truth: Truth = {"well": well, "threshold": name, "kind": kind, "change_m": limit, "days": span}
        truth |= {"consecutive": consecutive, "tolerance_m": 2 * HEAD_TOLERANCE_M}
        truth |= {"largest_on": largest, "largest_m": r4(changes[largest])}
        truth["beyond_on"] = [day for day, change in changes.items() if sign * (change - limit) >= 0]
        truth["nearest_to_limit_m"] = r4(min(abs(change - limit) for change in changes.values()))
        made.append(truth)
    return made


def _gradient_thresholds(record: Record, loggers: Loggers) -> list[Truth]:
    made = []
    for well, name, kind, limit, other, consecutive, since, _, _ in story.GRADIENT_THRESHOLDS:
        ends = [grid(story.BY_CODE[code].s, story.BY_CODE[code].d) for code in (well, other)]
        distance = math.dist(*ends)
        logged = _daily_means(loggers, other)
        read = {
            code: {_day(event): event.truth_m for event in record.events if event.well == code and _has_truth(event)}
            for code in (well, other)
        }
        # Of the other well a reading of that day goes before the mean of its logger.
        theirs = logged | read[other]
        heads = {day: head - theirs[day] for day, head in read[well].items() if day >= since and day in theirs}
        sign = 1.0 if kind == "upper" else -1.0
        truth: Truth = {"well": well, "threshold": name, "kind": kind, "gradient": limit, "other_well": other}
        truth |= {"consecutive": consecutive, "distance_m": r4(distance), "tolerance_m": 2 * HEAD_TOLERANCE_M}
        truth["beyond_on"] = [day for day, head in heads.items() if sign * (head / distance - limit) >= 0]
        truth["reading"] = [{"day": day, "difference_m": r4(head)} for day, head in heads.items()]
        made.append(truth)
    return made


def _has_truth(event: Event) -> bool:
    return event.usable and event.truth_m is not None


def _day(event: Event) -> str:
    return event.moment.date().isoformat()


def _state(event: Event, kind: str, level: float) -> str:
    if event.bound_m is not None:
        return "crossed" if kind == "lower" and event.bound_m <= level else "undetermined"
    assert event.truth_m is not None
    crossed = event.truth_m <= level if kind == "lower" else event.truth_m >= level
    return "crossed" if crossed else "not crossed"


def _ruled(state: str, run: int, consecutive: int) -> str:
    if state == "crossed" and run < consecutive:
        return f"not crossed: {run} of {consecutive} in a row"
    return state


def _silting(record: Record) -> Truth:
    well = story.BY_CODE["W-05"]
    soundings = [
        {"round": event.round, "measured_at": event.measured_at, "sounded_depth_m": r4(event.sounded_m or math.nan)}
        for event in record.events
        if event.well == "W-05" and event.sounded_m is not None
    ]
    last = soundings[-1]["sounded_depth_m"]
    covered = (well.screen_bottom - float(str(last))) / (well.screen_bottom - well.screen_top)
    made: Truth = {"well": "W-05", "total_depth_m": well.total_depth, "tolerance_m": 0.011}
    made |= {"screen_top_m": well.screen_top, "screen_bottom_m": well.screen_bottom}
    return made | {"share_of_screen_covered": round(covered, 3), "sounding": soundings}


def _spoilt(record: Record) -> Truth:
    made: dict[str, list[Truth]] = {"disagreement": [], "blunder": [], "product_without_density": [], "unusable": []}
    for event in record.events:
        if "repeats disagree" in event.tags:
            read = [float(event.row[name]) for name in ("depth_to_water", "depth_to_water_2")]
            made["disagreement"].append(_name(event) | {"readings_m": read, "spread_m": r4(read[1] - read[0])})
        if "blunder" in event.tags:
            wrong = story.SPECIAL[event.well, event.round]["blunder"]
            truth = _name(event) | {"recorded_elevation_m": r4((event.truth_m or math.nan) - wrong)}
            made["blunder"].append(truth | {"true_elevation_m": r4(event.truth_m or math.nan), "tolerance_m": 0.003})
        if "no density" in event.tags:
            made["product_without_density"].append(
                _name(event) | {"uncorrected_elevation_m": r4(event.interface_m or math.nan), "tolerance_m": 0.003}
            )
        if event.status in NO_NUMBER or event.row.get("quality") == "suspect":
            cause = event.status if event.status in NO_NUMBER else "quality suspect"
            made["unusable"].append(_name(event) | {"cause": cause, "notes": event.row["notes"]})
    return dict(made)


def _faults(record: Record) -> list[Truth]:
    """Return the faults that nothing on the sheets tells, each with the rule that must name it."""
    made = []
    for event in record.events:
        for fault, rule in story.FAULT_RULES.items():
            if fault in event.tags:
                made.append(_name(event) | {"fault": fault, "rule": rule})
        if "blunder" in event.tags:
            made.append(_name(event) | {"fault": "one metre too deep", "rule": "off by a round amount"})
        if not event.round and event.well == "W-05":
            made.append(_name(event) | {"fault": "hours after sampling", "rule": "read before recovery"})
    borrowed = [event for event in record.events if "borrowed tape" in event.tags]
    made.append(_name(borrowed[0]) | {"fault": "borrowed tape", "rule": "step with another tape"})
    forgotten = {}
    for event in record.events:
        if event.row["instrument"] == "E-3" and event.round.startswith("2025") and "depth_to_water" in event.row:
            forgotten.setdefault(event.round, event)
    made += [
        _name(event) | {"fault": "tape not checked in 2025", "rule": "tape check overdue"}
        for event in forgotten.values()
    ]
    return made


def _last_round(record: Record) -> Truth:
    last = story.LAST_ROUND
    events = {event.well: event for event in record.in_round(last.code)}
    planned = ["W-06R" if code == "W-06" else code for code in (*story.ROUTE_A, *story.ROUTE_B)]
    made: Truth = {"round": last.code, "date": last.first.isoformat(), "window_days": 1, "planned": planned}
    made["missing_without_reason"] = [code for code in planned if code not in events]
    made["missing_with_reason"] = [
        {"well": code, "status": event.status, "notes": event.row["notes"]}
        for code, event in events.items()
        if event.status in NO_NUMBER
    ]
    made["late"] = [
        {"well": code, "measured_at": event.measured_at}
        for code, event in events.items()
        if (event.moment.date() - last.first).days > 1
    ]
    made["control"] = [_control(events, planned, aquifer) for aquifer in ("upper", "lower")]
    return made


def _control(events: dict[str, Event], planned: list[str], aquifer: str) -> Truth:
    last = story.LAST_ROUND
    used, excluded = [], []
    for code in planned:
        if story.BY_CODE[code].aquifer != aquifer:
            continue
        event = events.get(code)
        if event is None:
            excluded.append({"well": code, "cause": "no reading"})
        elif (event.moment.date() - last.first).days > 1:
            excluded.append({"well": code, "cause": "outside the window"})
        elif not event.usable:
            excluded.append({"well": code, "cause": event.status})
        else:
            used.append(code)
    made: Truth = {"aquifer": aquifer, "used": used, "gauges": list(story.GAUGES) if aquifer == "upper" else []}
    return made | {"excluded": excluded}


def _plane(places: list[tuple[float, float]], heads: list[float]) -> Truth:
    east, north = (np.array([place[axis] for place in places]) for axis in (0, 1))
    design = np.column_stack([np.ones(len(places)), east - east.mean(), north - north.mean()])
    _, to_east, to_north = np.linalg.lstsq(design, np.array(heads), rcond=None)[0]
    azimuth = math.degrees(math.atan2(-to_east, -to_north)) % 360.0
    return {"magnitude": round(math.hypot(to_east, to_north), 6), "azimuth_deg": round(azimuth, 2)}


def _gradients(record: Record, control: list[Truth]) -> list[Truth]:
    """Return the planes through the truth, in each aquifer at the first day of the last round, noon."""
    day = story.LAST_ROUND.first
    t = days(dt.datetime(day.year, day.month, day.day, 12, tzinfo=ZONE))
    supply = story.BY_CODE["P-1"]
    made = []
    for item in control:
        places = {code: (story.BY_CODE[code].s, story.BY_CODE[code].d) for code in item["used"]}
        far = [code for code, (s, d) in places.items() if math.hypot(s - supply.s, d - supply.d) > FAR_M]
        for method, codes in (
            ("plane through the used wells", list(places)),
            ("plane through the used wells far from the supply well", far),
        ):
            heads = [record.valley.head(item["aquifer"], *places[code], t) for code in codes]
            truth: Truth = {"aquifer": item["aquifer"], "method": method, "wells": codes}
            made.append(truth | _plane([grid(*places[code]) for code in codes], heads))
        _, along, uphill = UPPER_PLANE if item["aquifer"] == "upper" else LOWER_PLANE
        places_of_three = [(0.0, 0.0), (1000.0, 0.0), (0.0, 1000.0)]
        heads = [along * s + uphill * d for s, d in places_of_three]
        truth = {"aquifer": item["aquifer"], "method": "regional plane alone, without season, pumping, river, decline"}
        made.append(truth | {"wells": []} | _plane([grid(*place) for place in places_of_three], heads))
    return made


def _vertical(record: Record) -> list[Truth]:
    made = []
    for item in (story.ROUNDS[20], story.LAST_ROUND):
        events = {event.well: event for event in record.in_round(item.code)}
        for cluster in ("N1", "N2", "N3"):
            upper, lower = (story.BY_CODE[f"{cluster}-{which}"] for which in ("U", "L"))
            heads = [events[well.code].truth_m or math.nan for well in (upper, lower)]
            middles = [well.ground - (well.screen_top + well.screen_bottom) / 2.0 for well in (upper, lower)]
            difference = heads[1] - heads[0]
            truth: Truth = {"cluster": cluster, "round": item.code, "upper": upper.code, "lower": lower.code}
            truth |= {"lower_less_upper_m": r4(difference), "flow": "upward" if difference > 0 else "downward"}
            truth |= {"distance_of_screen_middles_m": r4(middles[0] - middles[1]), "tolerance_m": 0.01}
            made.append(truth)
    return made


def _trends(record: Record) -> list[Truth]:
    made = []
    for well in story.WELLS:
        decline = record.valley.decline(well.s, well.d)
        if decline > 0.025:
            made.append({"well": well.code, "planted_slope_m_per_year": r4(-decline), "direction": "falling"})
    return made


def _surface(record: Record) -> list[Truth]:
    """Return true heads between the wells, away from the cone, at the first day of the last round, noon."""
    day = story.LAST_ROUND.first
    t = days(dt.datetime(day.year, day.month, day.day, 12, tzinfo=ZONE))
    made = []
    for aquifer, places in (
        ("upper", ((300, 900), (300, 650), (500, 450), (1050, 350), (900, 200), (500, 250))),
        ("lower", ((500, 700), (850, 600), (700, 450), (1000, 350))),
    ):
        for s, d in places:
            easting, northing = grid(s, d)
            head = r4(record.valley.head(aquifer, s, d, t))
            made.append({"aquifer": aquifer, "easting": easting, "northing": northing, "water_elevation_m": head})
    return made


def _network(record: Record) -> Truth:
    statuses = Counter(event.status for event in record.events)
    return {
        "site": story.SITE,
        "wells": len(story.WELLS),
        "wells_upper": sum(well.aquifer == "upper" for well in story.WELLS),
        "wells_lower": sum(well.aquifer == "lower" for well in story.WELLS),
        "clusters": ["N1", "N2", "N3"],
        "rounds": len(story.ROUNDS),
        "first_round": story.ROUNDS[0].code,
        "last_round": story.LAST_ROUND.code,
        "level_events": len(record.events),
        "level_events_outside_rounds": sum(event.round == "" for event in record.events),
        "level_events_without_time": sum(not event.timed for event in record.events),
        "statuses": {status: statuses[status] for status in sorted(statuses)},
    }


def expected(record: Record, loggers: Loggers) -> Truth:
    """Return every planted truth."""
    last = _last_round(record)
    replaced = next(well for well in story.WELLS if well.replaced_by)
    return {
        "network": _network(record),
        "replaced": {
            "well": replaced.code,
            "decommissioned_on": replaced.decommissioned_on,
            "replaced_by": replaced.replaced_by,
            "drilled_on": story.BY_CODE[replaced.replaced_by].drilled_on,
        },
        "level": _sample(record),
        "bound": _bounds(record),
        "corrected_survey": _corrected_survey(record),
        "alteration": _alterations(),
        "tape_correction": _tape_corrections(record),
        "beyond_check": _beyond_checks(record),
        "threshold": _thresholds(record),
        "threshold_on_change": _change_thresholds(loggers),
        "threshold_on_gradient": _gradient_thresholds(record, loggers),
        "silting": _silting(record),
        **_spoilt(record),
        "fault": _faults(record),
        "last_round": last,
        "gradient": _gradients(record, last["control"]),
        "vertical": _vertical(record),
        "trend": _trends(record),
        "surface_point": _surface(record),
        "pumping": pumping_truths(),
        **expected_of(loggers),
    }


#: When the demo's tables and its correction are said to be recorded, so that everybody's report has the same bytes.
RECORDED_AT = dt.datetime(2026, 3, 2, 8, 0, tzinfo=dt.UTC)
CORRECTED_AT = dt.datetime(2026, 3, 9, 8, 0, tzinfo=dt.UTC)


def demo_settings(loggers: Loggers) -> Truth:
    """Return what the demo's run does with these files."""
    last = story.LAST_ROUND
    return {
        "site": story.SITE,
        "by": "demo",
        "recorded_at": RECORDED_AT,
        "corrections": [{"folder": "corrections", "reason": story.CORRECTION_REASON, "recorded_at": CORRECTED_AT}],
        "loggers": loads(),
        "correction": corrections(loggers),
        "report": {"definition": "quarterly", "period": last.code},
        "map": [{"aquifer": name, "date": last.first.isoformat(), "window_days": 1} for name in ("upper", "lower")],
        "hydrograph": [
            {"name": "cluster-n1", "wells": ["N1-U", "N1-L"]},
            {"name": "cone-of-depression", "wells": ["W-07", "W-08", "W-13"]},
            {"name": "dry-and-declining", "wells": ["W-03", "W-14"]},
            {"name": "river-and-flood", "wells": ["N3-U"], "start": "2024-07-01"},
        ],
        "comparison": {
            "aquifer": "upper",
            "date": last.first.isoformat(),
            "since": story.ROUNDS[-5].first.isoformat(),
            "storage": "0.10..0.15",
            "beside": story.ROUNDS[-3].first.isoformat(),
            "conductivity": "20..60 m/d",
            "porosity": "0.22",
        },
    }


_EXPECTED_HEAD = """# Truths planted in the demo network, written by make_demo.py. Everything is invented.
# Depths are positive downward, elevations positive upward from the site's datum; azimuths are the direction of flow,
# clockwise from grid north. measured_at is wall-clock time at the site, a date alone where the time is not known.
# water_elevation_m is what a faultless reduction gives once the folder corrections has been loaded; tolerance_m covers
# rounding and repeats.
# Gradients are planes fitted by least squares, unweighted, to true heads at the wells named, gauges left out.
# planted_slope_m_per_year is the slow decline alone, to which the seasons of eight years add.
"""
_DEMO_HEAD = """# What the demo does: load the tables of this folder and the exports of the loggers, then what
# a person decided about the loggers and each folder of corrections, with the reasons; then make the report, maps,
# hydrographs and comparisons named here.
"""


def write_truths(folder: Path, record: Record, loggers: Loggers) -> None:
    """Write `EXPECTED.toml` and `demo.toml` into a folder."""
    texts = {"EXPECTED.toml": _EXPECTED_HEAD + toml_text(expected(record, loggers))}
    texts["demo.toml"] = _DEMO_HEAD + toml_text(demo_settings(loggers))
    for name, text in texts.items():
        (folder / name).write_bytes(text.encode())
