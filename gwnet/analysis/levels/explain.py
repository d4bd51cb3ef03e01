"""How one level was worked out, step by step, back to the files and rows that it came from."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, fields

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.checks.open_findings import open_findings, stepped_tapes
from gwnet.analysis.levels.frame import levels_frame
from gwnet.analysis.levels.inputs import LevelInputs, gather
from gwnet.analysis.levels.reduce import FINDINGS, Reduction, reduce_levels
from gwnet.analysis.levels.serving import with_open_findings
from gwnet.analysis.levels.stepped_tapes import widen_stepped
from gwnet.clock import zone_of
from gwnet.errors import NotFoundError
from gwnet.records import Selection
from gwnet.store.contract import TAPE_READINGS
from gwnet.store.snapshot import Snapshot
from gwnet.units import metres_per

#: What each part of the uncertainty is called.
_PART_NAMES = {
    "survey_m": "survey of the measuring point",
    "tape_m": "reading",
    "check_m": "tape correction",
    "repeat_m": "repeats",
    "density_m": "density of the product",
    "stretch_m": "temperature and tension",
}


@dataclass(frozen=True)
class Step:
    """One step of an explanation.

    Attributes
    ----------
    what : str
        Name of the step.
    value : str
        What came out, with its unit.
    source : str
        Where it came from: file and row, survey, check, rule.
    """

    what: str
    value: str
    source: str


@dataclass(frozen=True)
class Explanation:
    """How one level was worked out.

    Attributes
    ----------
    title : str
        Site, well and time.
    steps : tuple of Step
        From the readings to the elevation and its uncertainty.
    """

    title: str
    steps: tuple[Step, ...]

    def text(self) -> str:
        """Return the explanation as lines of text, values aligned."""
        wide = max(len(step.what) for step in self.steps)
        lines = [
            f"  {step.what.ljust(wide)}  {step.value}" + (f"   [{step.source}]" if step.source else "")
            for step in self.steps
        ]
        return "\n".join([self.title, *lines])


def explain(
    record: Snapshot,
    well: str,
    time: str,
    *,
    unit: str = "m",
) -> list[Explanation]:
    """Explain the levels of a well at a time, those that were read for pumping tests among them.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record; of one site where several have a well of that code.
    well : str
        Code of the well.
    time : str
        Local date, or local time in ISO 8601, with offset or without; every event whose printed time begins so, or
        else that was in the same minute.
    unit : str, optional
        Unit of the printed lengths, m unless given.

    Returns
    -------
    list of Explanation
        One for each event found.

    Raises
    ------
    NotFoundError
        If no event of that well begins so; the nearest ones are named.
    """
    inputs = gather(record, Selection.of([well]))
    reduced = widen_stepped(inputs, reduce_levels(inputs), stepped_tapes(record))
    frame = with_open_findings(levels_frame(inputs, reduced), open_findings(record))
    hits = _events_at(frame, time.strip().replace(" ", "T"))
    # All events at that time: two visits in one minute, or two accesses of a well, have an explanation each.
    explained = [_explanation(inputs, reduced, frame, int(row), unit) for row in hits]
    explained += _of_tests(record, well, time, unit)
    if not explained:
        raise _not_found(frame, well, time)
    return explained


def _of_tests(record: Snapshot, well: str, time: str, unit: str) -> list[Explanation]:
    """Return the explanations of the readings of pumping tests at a time."""
    # readings of tests are reduced by this package, so that they are known only when it is loaded
    from gwnet.analysis.pumping.readings import reading_inputs, reduce_readings

    inputs = reading_inputs(record, Selection.of([well]))
    if not len(inputs):
        return []
    reduced = reduce_readings(record, inputs)
    frame = levels_frame(inputs, reduced)
    hits = _events_at(frame, time.strip().replace(" ", "T"))
    return [_explanation(inputs, reduced, frame, int(row), unit) for row in hits]


def _events_at(frame: pd.DataFrame, wanted: str) -> NDArray[np.intp]:
    """Return the places of the events whose printed time begins so, else of those in the same minute."""
    hits = np.flatnonzero([str(text).startswith(wanted) for text in frame["measured_at"]])
    try:
        moment = dt.datetime.fromisoformat(wanted)
    except ValueError:
        return hits
    if len(hits) or moment.tzinfo is None:
        return hits
    minute = pd.Timestamp(moment).tz_convert("UTC").floor("min")
    # A level of which only the day is known has noon as its instant, which is no minute to be asked for.
    return np.flatnonzero(frame["time_known"] & (frame["measured_at_utc"].dt.floor("min") == minute))


def _not_found(frame: pd.DataFrame, well: str, time: str) -> NotFoundError:
    if frame.empty:
        message = f"There is no level event of well {well!r} on record."
        return NotFoundError(message, fix="See 'gwnet wells' for the wells on record.")
    days = frame["day"]
    wanted = pd.to_datetime(time.strip()[:10], errors="coerce")
    # Without a day to look near, the newest ones.
    order = (days - wanted).abs().sort_values(kind="stable").index[:3] if pd.notna(wanted) else frame.index[-3:]
    near = ", ".join(sorted(frame.loc[order, "measured_at"]))
    message = f"There is no level event of well {well!r} at {time!r}."
    return NotFoundError(message, fix=f"The nearest on record: {near}.")


class _Printer:
    """Writes lengths in the wanted unit."""

    def __init__(self, unit: str) -> None:
        self.unit = unit
        self.per = metres_per(unit)

    def __call__(self, metres: float, *, sign: bool = False) -> str:
        """Return a length with its unit."""
        if np.isnan(metres):
            return "not known"
        # Hundredths of a foot, as tapes in feet are read; a correction is smaller than that and shows a digit more.
        decimals = 2 if self.unit == "ft" and not sign else 3
        return f"{metres / self.per:{'+' if sign else ''}.{decimals}f} {self.unit}"


def _explanation(inputs: LevelInputs, reduced: Reduction, frame: pd.DataFrame, row: int, unit: str) -> Explanation:
    show = _Printer(unit)
    record, printed = inputs.records.iloc[row], frame.iloc[row]
    steps = [
        *_event_steps(record, printed, zone_of(str(inputs.sites.set_index("site")["time_zone"][record["site"]]))),
        *_reading_steps(inputs, reduced, row, show),
        *_correction_steps(inputs, reduced, row, show),
        *_point_steps(inputs, reduced, row, show),
        *_elevation_steps(inputs, reduced, row, show),
        *_uncertainty_steps(reduced, row, show),
    ]
    steps += [Step("finding", phrase, FINDINGS[phrase]) for phrase in FINDINGS if reduced.findings[phrase][row]]
    use = "yes" if printed["usable"] else f"no: {printed['unusable_reason']}"
    steps.append(Step("may enter maps and trends", use, f"quality {printed['quality']}, review {printed['review']}"))
    return Explanation(f"{record['site']} {record['well']} at {printed['measured_at']}", tuple(steps))


def _place(source: str, source_row: float) -> str:
    if not source:
        return ""
    return f"{source}, row {int(source_row)}" if not pd.isna(source_row) else source


def _event_steps(record: pd.Series, printed: pd.Series, zone: dt.tzinfo) -> list[Step]:
    by = ", ".join(text for text in (record["observer"], record["instrument"], record["method"]) if text)
    recorded = f"recorded {_local(record['recorded_at_utc'], zone)} by {record['recorded_by']}"
    if record["reason"]:
        recorded += f": {record['reason']}"
    steps = [
        Step("event", f"{printed['status']}, access {record['access']}", _place(record["source"], record["source_row"]))
    ]
    if record["round"]:
        by_day = "by its day, within the dates of the round" if record["round"] != record["round_on_record"] else ""
        steps.append(Step("round", record["round"], by_day))
    steps.append(Step("read by", by or "not known", recorded))
    if record["notes"]:
        steps.append(Step("remark", record["notes"], ""))
    return steps


def _reading_steps(inputs: LevelInputs, reduced: Reduction, row: int, show: _Printer) -> list[Step]:
    readings = inputs.readings[inputs.readings["record_id"] == inputs.records["record_id"].iloc[row]]
    steps = []
    for reading in readings.sort_values(["quantity", "ordinal"]).itertuples():
        name = str(reading.quantity).replace("_", " ")
        steps.append(Step(f"reading {reading.ordinal}: {name}", f"{reading.written} {reading.unit}", "as written"))
    count = int(reduced.repeats.count[row])
    if set(TAPE_READINGS) <= set(readings["quantity"]):
        depth = show(float(inputs.depth_to_water_m[row, 0]))
        steps.append(Step("depth by steel tape", depth, "tape at the mark less tape at the water"))
    if count:
        chosen = inputs.records["chosen_reading"].iloc[row]
        if not pd.isna(chosen):
            rule = f"reading {int(chosen)} was chosen"
        elif count == 1:
            rule = "one reading"
        else:
            spread, allowed = show(float(reduced.repeats.spread_m[row])), show(float(inputs.tolerance_m[row]))
            verb = "disagree" if reduced.repeats.disagree[row] else "agree, averaged"
            rule = f"{count} readings {verb}; spread {spread}, tolerance {allowed}"
        steps.append(Step("depth as read", show(float(reduced.repeats.depth_m[row])), rule))
    return steps


def _correction_steps(inputs: LevelInputs, reduced: Reduction, row: int, show: _Printer) -> list[Step]:
    if not reduced.repeats.count[row]:
        return []
    stretch, steps = reduced.stretch, [_check_step(inputs, reduced, row, show)]
    for what, metres, source in (
        ("temperature correction", stretch.temperature_m, stretch.temperature_from),
        ("tension correction", stretch.tension_m, stretch.tension_from),
    ):
        if source[row]:
            steps.append(Step(what, show(float(metres[row]), sign=True), str(source[row])))
    return steps


def _check_step(inputs: LevelInputs, reduced: Reduction, row: int, show: _Printer) -> Step:
    number = int(reduced.tape.check[row])
    if number < 0:
        return Step("tape correction", show(0.0, sign=True), "no tape check on file before that day")
    instrument, day = int(reduced.tape.check_instrument[number]), reduced.tape.check_day[number].item()
    checks = inputs.tape_checks
    used = checks[(checks["instrument_id"] == instrument) & (checks["checked_on"] == day)]
    places = "; ".join(dict.fromkeys(_place(s, r) for s, r in zip(used["source"], used["source_row"], strict=True)))
    where = f"check of {used['instrument'].iloc[0]} on {day.isoformat()}: {places}"
    return Step("tape correction", show(float(reduced.tape.correction_m[row]), sign=True), where)


def _point_steps(inputs: LevelInputs, reduced: Reduction, row: int, show: _Printer) -> list[Step]:
    index = int(reduced.point.index[row])
    if index < 0:
        count = int(reduced.point.count[row])
        return [Step("measuring point", "none" if count == 0 else f"{count} in force", "expected exactly one")]
    point = inputs.measuring_points.iloc[index]
    zone = zone_of(str(inputs.sites.set_index("site")["time_zone"][point["site"]]))
    since, until = (_local(point[f"valid_{name}_utc"], zone) for name in ("from", "until"))
    survey = ", ".join(str(v) for v in (point["survey_method"], point["surveyed_by"], point["surveyed_on"]) if v)
    place = _place(point["source"], point["source_row"])
    datum = f" above {point['vertical_datum']}" if point["vertical_datum"] else ""
    recorded = f"recorded {_local(point['recorded_at_utc'], zone)} by {point['recorded_by']}"
    if point["reason"]:
        recorded += f": {point['reason']}"
    steps = [
        Step("measuring point", f"in force from {since}{f' until {until}' if until else ''}", place),
        Step(
            "measuring point elevation",
            f"{show(float(point['elevation_m']))}{datum}",
            "; ".join(t for t in (survey, recorded) if t),
        ),
    ]
    if not np.isnan(reduced.height_above_ground_m[row]):
        steps.append(Step("height above ground", show(float(reduced.height_above_ground_m[row]), sign=True), ""))
    return steps


def _local(moment: pd.Timestamp, zone: dt.tzinfo) -> str:
    """Return an instant as local time to the minute; empty for none."""
    return "" if pd.isna(moment) else f"{moment.tz_convert(zone):%Y-%m-%d %H:%M}"


def _elevation_steps(inputs: LevelInputs, reduced: Reduction, row: int, show: _Printer) -> list[Step]:
    bound = str(reduced.bound[row])
    head, final = float(reduced.uncorrected_elevation_m[row]), float(reduced.water_elevation_m[row])
    # Water below the screen was read: its own number is printed, and beside it the bound for the aquifer.
    below_screen = bound and head != float(reduced.bound_elevation_m[row])
    if bound and not below_screen:
        rule = "shallower of screen bottom and sounded depth" if bound == "<=" else "water above the measuring point"
        return [Step("water elevation", f"{bound} {show(final)}", f"a bound: {rule}")]
    steps = []
    if not np.isnan(reduced.depth_to_water_m[row]):
        steps.append(Step("depth to water", show(float(reduced.depth_to_water_m[row])), "below the measuring point"))
    if not np.isnan(reduced.depth_below_ground_m[row]):
        steps.append(Step("depth below ground", show(float(reduced.depth_below_ground_m[row])), ""))
    rule = "measuring point less depth to water"
    if not np.isnan(inputs.water_elevation_m[row]):
        rule = "as read"
    elif not np.isnan(inputs.depth_below_ground_m[row]):
        rule = "ground less depth below ground"
    thickness = float(reduced.product_thickness_m[row])
    if not np.isnan(thickness):
        density = inputs.records["product_relative_density"].iloc[row]
        steps.append(Step("water elevation, uncorrected", show(head), rule))
        rule = f"plus {show(thickness)} of product at relative density {density:g}"
    steps.append(Step("water elevation", show(final), rule))
    if below_screen:
        limit = show(float(reduced.bound_elevation_m[row]))
        steps.append(Step("head of the aquifer", f"{bound} {limit}", "a bound: bottom of the lowest screen"))
    return steps


def _uncertainty_steps(reduced: Reduction, row: int, show: _Printer) -> list[Step]:
    if np.isnan(reduced.uncertainty_m[row]):
        return []
    parts = []
    for field in fields(reduced.parts):
        value = float(getattr(reduced.parts, field.name)[row])
        if value > 0:
            parts.append(f"{_PART_NAMES[field.name]} {show(value)}")
    return [
        Step("uncertainty (95 %)", f"± {show(float(reduced.uncertainty_m[row]))}", "; ".join(parts)),
        Step("accuracy", str(reduced.accuracy_from[row]), "see 'gwnet help accuracy'"),
    ]
