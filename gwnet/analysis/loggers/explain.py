"""How one head of a logger was worked out, step by step, back to the file that its sample came from."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd

from gwnet.analysis.levels.explain import Explanation, Step, explain
from gwnet.analysis.loggers.anchor import PARTS
from gwnet.analysis.loggers.channels import LoggerRecord, deployments_in, loggers_of
from gwnet.analysis.loggers.correction_history import OUT_REASONS
from gwnet.analysis.loggers.heads import LoggerHeads, iterate_heads
from gwnet.analysis.loggers.sensor_state import is_at_limit
from gwnet.clock import instant_text, moment_text, offset_minutes, to_instant, to_instants, zone_of
from gwnet.errors import ClockError, NotFoundError
from gwnet.hydro.arrays import MICROSECONDS
from gwnet.store.snapshot import Snapshot
from gwnet.units import from_pascals, metres_per

#: The nearest sample is explained when it is no farther from the time asked for than this [s].
_NEAREST_S = 86_400.0


def explain_head(record: Snapshot, well: str, time: str, *, unit: str = "m") -> list[Explanation]:
    """Explain the head of the logger sample nearest to a time.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record, of one site or of all.
    well : str
        Code of the well.
    time : str
        Local date (noon is meant) or local time in ISO 8601, with offset or without.
    unit : str, optional
        Unit of the printed lengths, m unless given.

    Returns
    -------
    list of Explanation
        One for each logger with a sample within a day.

    Raises
    ------
    NotFoundError
        If no logger of that well has a sample within a day of that time.
    """
    explanations = []
    for heads in iterate_heads(record, deployments_in(record, [well])):
        moment = _moment(time, loggers_of(record).zone_of(heads.site))
        away_s = np.abs((heads.time_utc - moment).astype(np.int64)) / MICROSECONDS
        place = int(np.argmin(away_s))
        if away_s[place] <= _NEAREST_S:
            explanations.append(_explanation(loggers_of(record), heads, place, unit))
    if not explanations:
        message = f"No logger of well {well!r} has a sample within a day of {time!r}."
        raise NotFoundError(message, fix="'gwnet logger status' lists what each covers.")
    return explanations


def explain_level(record: Snapshot, well: str, time: str, *, unit: str = "m") -> list[Explanation]:
    """Explain the levels of a well at a time: manual readings, else the head of the nearest logger sample.

    Parameters as `gwnet.analysis.loggers.explain.explain_head`.

    Returns
    -------
    list of Explanation
        One for each event found, else one for each logger.

    Raises
    ------
    NotFoundError
        If neither an event nor a logger's sample is there; the nearest events are named.
    """
    try:
        return explain(record, well, time, unit=unit)
    except NotFoundError as no_reading:
        try:
            return explain_head(record, well, time, unit=unit)
        except (NotFoundError, ClockError):
            raise no_reading from None


def _moment(time: str, zone: str) -> np.datetime64:
    """Return the instant that a local time stands for; noon for a date."""
    text = time.strip().replace(" ", "T")
    try:
        # Noon for a date, so that the sample explained is one of that day.
        given = dt.datetime.fromisoformat(text + "T12:00" if len(text) <= 10 else text)
    except ValueError:
        message = f"Not a date or time: {time!r}."
        raise ClockError(message, fix="Write YYYY-MM-DD, or YYYY-MM-DDTHH:MM.") from None
    if given.tzinfo is None:
        # As the crew's watch showed it: a time without an offset is the site's.
        given = given.replace(tzinfo=zone_of(zone))
    return to_instant(given)


def _explanation(loggers: LoggerRecord, heads: LoggerHeads, place: int, unit: str) -> Explanation:
    zone = loggers.zone_of(heads.site)
    local = heads.time_utc[place] + offset_minutes(heads.time_utc[place : place + 1], zone).astype("timedelta64[m]")[0]
    title = f"{heads.site} {heads.well}, logger {heads.instrument} at {np.datetime_as_string(local, unit='s')} ({zone})"
    steps = [
        *_sample_steps(loggers, heads, place),
        *_pressure_steps(heads, place),
        *_level_steps(heads, place, unit),
        *_uncertainty_steps(heads, place, unit),
    ]
    reason = OUT_REASONS[int(heads.out[place])]
    shown = "yes" if not reason else f"no: {reason}"
    if not np.isnan(heads.bound_m[place]):
        shown += "; it is a bound, as of a dry well"
    by = _describe_rows(heads, ("exclusion", "keep"))
    if not np.isnan(heads.doubtful_m[place]):
        by = "; ".join(filter(None, (by, "correct or dismiss what 'gwnet logger findings' lists")))
    steps.append(Step("used as a level", shown, by))
    steps += [Step(f"correction history {number}", text, "") for number, text in enumerate(heads.steps, 1)]
    return Explanation(title, tuple(steps))


def _sample_steps(loggers: LoggerRecord, heads: LoggerHeads, place: int) -> list[Step]:
    channel = heads.level.channel
    stamp, zone = channel.file_time_utc[place], loggers.zone_of(heads.site)
    rows = loggers.downloads_of(channel)
    moment = pd.Timestamp(stamp, tz="UTC")
    # Of several files that cover the moment each may hold the sample; all are named.
    rows = rows[(rows["added"] > 0) & (rows["first_utc"] <= moment) & (rows["last_utc"] >= moment)]
    files = "; ".join(
        f"{row.file}, layout {row.layout}, zone {row.zone}, recorded "
        f"{moment_text(row.recorded_at_utc, zone, timespec='minutes')} by {row.recorded_by}"
        for row in rows.itertuples()
    )
    value = channel.as_read[place]
    in_unit = _in_file_unit(value, channel.quantity, channel.unit)
    steps = [
        Step("sample", f"{in_unit} {channel.unit} of {channel.quantity}", files),
        Step("time in the file", instant_text(stamp, zone), "as the layout reads it"),
    ]
    if stamp != heads.time_utc[place]:
        true = instant_text(heads.time_utc[place], zone)
        steps.append(Step("time corrected", true, _describe_rows(heads, ("clock shift", "clock drift"))))
    if channel.value[place] != value and not np.isnan(value):
        steps.append(Step("scaled", f"{channel.value[place]:.6g}", _describe_rows(heads, ("scale",))))
    return steps


def _in_file_unit(value: float, quantity: str, unit: str) -> str:
    if np.isnan(value):
        return "no value in"
    if quantity.endswith("pressure"):
        return f"{from_pascals(float(value), unit):.6g}"
    return f"{value / metres_per(unit):.6g}"


def _describe_rows(heads: LoggerHeads, kinds: tuple[str, ...]) -> str:
    history = heads.level.channel.correction_history
    rows = history.rows
    return "; ".join(
        f"{history.describe(row)}, by {row.recorded_by}: {row.reason}"
        for row in rows[rows["kind"].isin(kinds)].itertuples()
    )


def _pressure_steps(heads: LoggerHeads, place: int) -> list[Step]:
    level = heads.level
    if not heads.quantity.endswith("pressure"):
        return []
    steps = [Step("pressure", f"{level.channel.value[place]:.1f} Pa", "")]
    if heads.quantity == "absolute pressure":
        air = float(level.air_pa[place])
        away = float(level.air_away_s[place])
        near = "at that very moment" if away == 0 else f"nearest sample {away / 60:.4g} min away"
        source = f"of {heads.barometer or 'no barometer'}, {near}" if not np.isnan(air) else "none near enough in time"
        steps.append(Step("less air pressure", "not known" if np.isnan(air) else f"{air:.1f} Pa", source))
    density, temperature = float(level.density_kg_m3[place]), float(level.temperature_degc[place])
    by = "" if np.isnan(temperature) else f"at {temperature:.2f} degC"
    steps.append(Step("density of the water", f"{density:.3f} kg/m3", by))
    steps.append(Step("gravity", f"{level.gravity_m_s2:.5f} m/s2", ""))
    return steps


def _level_steps(heads: LoggerHeads, place: int, unit: str) -> list[Step]:
    per = metres_per(unit)
    level, correction = heads.sensor_level_m[place] / per, heads.anchored.correction_m[place] / per
    word = "column above the sensor" if heads.quantity.endswith("pressure") else "level at the sensor"
    steps = [Step(word, _shown(level, unit), _describe_rows(heads, ("step",)))]
    by = _anchors(heads, place, unit)
    if not np.isnan(correction):
        steps.append(Step("added", _shown(correction, unit, sign=True), by))
    if not np.isnan(heads.bound_m[place]):
        least = _shown(heads.state.least_water_m[place] / per, unit)
        rule = f"elevation of the sensor and {least}, with less of which above it a sensor counts as out of water"
        if is_at_limit(heads.out[place : place + 1])[0]:
            rule += "; or what was read at its limit, where that is more"
        steps.append(Step("water elevation", f"<= {_shown(heads.bound_m[place] / per, unit)}", rule))
        return steps
    if not np.isnan(heads.doubtful_m[place]):
        rule = f"kept out: {OUT_REASONS[int(heads.out[place])]}"
        steps.append(Step("water elevation", f"would be {_shown(heads.doubtful_m[place] / per, unit)}", rule))
        return steps
    final = heads.water_elevation_m[place] / per
    rule = "" if np.isnan(final) else "level plus what was added"
    response = heads.level.response_m[place]
    if response != 0:
        shown = _shown(response / per, unit, sign=True)
        steps.append(Step("response to air pressure", shown, _describe_rows(heads, ("efficiency",))))
        rule += ", the response to air pressure removed"
    steps.append(Step("water elevation", _shown(final, unit), rule))
    return steps


def _anchors(heads: LoggerHeads, place: int, unit: str) -> str:
    """Return what anchors a sample: the manual readings on either side, or the hanging depth."""
    if heads.anchored.by_hanging_depth[place]:
        return "hanging depth and measuring point alone; no manual reading anchors it"
    manual = heads.manual[heads.manual["offset_m"].notna()]
    if manual.empty:
        return ""
    per = metres_per(unit)
    when = to_instants(manual["measured_at_utc"])
    after = int(np.searchsorted(when, heads.time_utc[place]))
    # Before the first reading, or after the last, one reading alone anchors.
    sides = sorted({min(max(number, 0), len(manual) - 1) for number in (after - 1, after)})
    return "manual readings of " + " and ".join(
        f"{manual['measured_at'].iloc[number]} ({_shown(manual['water_elevation_m'].iloc[number] / per, unit)}, offset "
        f"{_shown(manual['offset_m'].iloc[number] / per, unit)})"
        for number in sides
    )


def _uncertainty_steps(heads: LoggerHeads, place: int, unit: str) -> list[Step]:
    total = float(heads.levels()[1][place])
    if np.isnan(total):
        return []
    per = metres_per(unit)
    parts = [
        f"{name} {_shown(float(heads.anchored.parts[key][place]) / per, unit)}"
        for key, name in PARTS.items()
        if heads.anchored.parts[key][place] > 0
    ]
    return [Step("uncertainty (95 %)", f"± {_shown(total / per, unit)}", "; ".join(parts))]


def _shown(value: float, unit: str, *, sign: bool = False) -> str:
    return "not known" if np.isnan(value) else f"{value:{'+' if sign else ''}.3f} {unit}"
