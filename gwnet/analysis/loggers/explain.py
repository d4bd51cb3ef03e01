"""How one head of a logger was worked out, step by step, back to the file that its sample came from."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
from sqlalchemy import Connection

from gwnet.analysis.levels.explain import Explanation, Step, explain
from gwnet.analysis.loggers.anchor import PARTS
from gwnet.analysis.loggers.channels import LoggerRecord, gather_loggers
from gwnet.analysis.loggers.correction_history import said
from gwnet.analysis.loggers.heads import OUT_REASONS, LoggerHeads, heads_of
from gwnet.clock import offset_minutes, zone_of
from gwnet.errors import ClockError, NotFoundError
from gwnet.hydro.arrays import MICROSECONDS
from gwnet.store.snapshot import Snapshot
from gwnet.units import from_pascals, metres_per

#: The nearest sample is explained when it is no farther from the time asked for than this [s].
_NEAREST_S = 86_400.0


def explain_head(
    connection: Connection,
    well: str,
    time: str,
    *,
    site: str | None = None,
    known_on: dt.datetime | None = None,
    unit: str = "m",
) -> list[Explanation]:
    """Explain the head of the logger sample nearest to a time.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    well : str
        Code of the well.
    time : str
        Local date (noon is meant) or local time in ISO 8601, with offset or without.
    site : str, optional
        Code of the site, where several have a well of that code.
    known_on : datetime.datetime, optional
        Record as known at this time.
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
    record = gather_loggers(connection, wells=[well], site=site, known_on=known_on)
    found = []
    for one in heads_of(record):
        moment = _moment(time, _zone(record, one.site))
        away_s = np.abs((one.time_utc - moment).astype(np.int64)) / MICROSECONDS
        place = int(np.argmin(away_s))
        if away_s[place] <= _NEAREST_S:
            found.append(_explanation(record, one, place, unit))
    if not found:
        message = f"No logger of well {well!r} has a sample within a day of {time!r}."
        raise NotFoundError(message, fix="'gwnet logger status' tells what each covers.")
    return found


def explain_level(
    connection: Connection,
    well: str,
    time: str,
    *,
    site: str | None = None,
    known_on: dt.datetime | None = None,
    unit: str = "m",
) -> list[Explanation]:
    """Explain the levels of a well at a time: those read by hand, else the head of the nearest logger sample.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    well : str
        Code of the well.
    time : str
        Local date, or local time in ISO 8601, with offset or without.
    site : str, optional
        Code of the site, where several have a well of that code.
    known_on : datetime.datetime, optional
        Record as known at this time.
    unit : str, optional
        Unit of the printed lengths, m unless given.

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
        return explain(Snapshot(connection, known_on, site), well, time, unit=unit)
    except NotFoundError as by_hand:
        try:
            return explain_head(connection, well, time, site=site, known_on=known_on, unit=unit)
        except (NotFoundError, ClockError):
            raise by_hand from None


def _zone(record: LoggerRecord, site: str) -> str:
    return str(record.sites.set_index("site")["time_zone"][site])


def _moment(time: str, zone: str) -> np.datetime64:
    """Return the instant that a local time stands for; noon for a date."""
    text = time.strip().replace(" ", "T")
    try:
        given = dt.datetime.fromisoformat(text + "T12:00" if len(text) <= 10 else text)
    except ValueError:
        message = f"Not a date or time: {time!r}."
        raise ClockError(message, fix="Write YYYY-MM-DD, or YYYY-MM-DDTHH:MM.") from None
    if given.tzinfo is None:
        given = given.replace(tzinfo=zone_of(zone))
    return np.datetime64(given.astimezone(dt.UTC).replace(tzinfo=None), "us")


def _explanation(record: LoggerRecord, one: LoggerHeads, place: int, unit: str) -> Explanation:
    zone = _zone(record, one.site)
    local = one.time_utc[place] + offset_minutes(one.time_utc[place : place + 1], zone).astype("timedelta64[m]")[0]
    title = f"{one.site} {one.well}, logger {one.instrument} at {np.datetime_as_string(local, unit='s')} ({zone})"
    steps = [
        *_sample_steps(record, one, place),
        *_pressure_steps(one, place),
        *_level_steps(one, place, unit),
        *_uncertainty_steps(one, place, unit),
    ]
    reason = OUT_REASONS[int(one.out[place])]
    steps.append(Step("serves as a level", f"no: {reason}" if reason else "yes", _rows_said(one, ("exclusion",))))
    steps += [Step(f"correction history {number}", text, "") for number, text in enumerate(one.steps, 1)]
    return Explanation(title, tuple(steps))


def _sample_steps(record: LoggerRecord, one: LoggerHeads, place: int) -> list[Step]:
    channel = one.level.channel
    stamp = channel.file_time_utc[place]
    rows = record.downloads
    rows = rows[
        (rows["instrument"] == channel.instrument) & (rows["quantity"] == channel.quantity) & (rows["added"] > 0)
    ]
    moment = pd.Timestamp(stamp, tz="UTC")
    rows = rows[(rows["first_utc"] <= moment) & (rows["last_utc"] >= moment)]
    files = "; ".join(
        f"{row.file}, layout {row.layout}, zone {row.zone}, recorded {row.recorded_at_utc:%Y-%m-%d %H:%M} UTC by "
        f"{row.recorded_by}"
        for row in rows.itertuples()
    )
    value = channel.as_read[place]
    in_unit = _in_file_unit(value, channel.quantity, channel.unit)
    steps = [
        Step("sample", f"{in_unit} {channel.unit} of {channel.quantity}", files),
        Step("time in the file", f"{np.datetime_as_string(stamp, unit='s')} UTC", "as the layout reads it"),
    ]
    if stamp != one.time_utc[place]:
        true = f"{np.datetime_as_string(one.time_utc[place], unit='s')} UTC"
        steps.append(Step("time put right", true, _rows_said(one, ("clock shift", "clock drift"))))
    if channel.value[place] != value and not np.isnan(value):
        steps.append(Step("scaled", f"{channel.value[place]:.6g}", _rows_said(one, ("scale",))))
    return steps


def _in_file_unit(value: float, quantity: str, unit: str) -> str:
    if np.isnan(value):
        return "no value in"
    if quantity.endswith("pressure"):
        return f"{from_pascals(float(value), unit):.6g}"
    return f"{value / metres_per(unit):.6g}"


def _rows_said(one: LoggerHeads, kinds: tuple[str, ...]) -> str:
    rows = one.level.channel.correction_history.rows
    return "; ".join(
        f"{said(row.kind, row.parameters, row.start_utc, row.end_utc)}, by {row.recorded_by}: {row.reason}"
        for row in rows[rows["kind"].isin(kinds)].itertuples()
    )


def _pressure_steps(one: LoggerHeads, place: int) -> list[Step]:
    level = one.level
    if not one.quantity.endswith("pressure"):
        return []
    steps = [Step("pressure", f"{level.channel.value[place]:.1f} Pa", "")]
    if one.quantity == "absolute pressure":
        air = float(level.air_pa[place])
        away = float(level.air_away_s[place])
        near = "at that very moment" if away == 0 else f"nearest sample {away / 60:.4g} min away"
        said_of = f"of {one.barometer or 'no barometer'}, {near}" if not np.isnan(air) else "none near enough in time"
        steps.append(Step("less air pressure", "not known" if np.isnan(air) else f"{air:.1f} Pa", said_of))
    density, temperature = float(level.density_kg_m3[place]), float(level.temperature_degc[place])
    by = "" if np.isnan(temperature) else f"at {temperature:.2f} degC"
    steps.append(Step("density of the water", f"{density:.3f} kg/m3", by))
    steps.append(Step("gravity", f"{level.gravity_m_s2:.5f} m/s2", ""))
    return steps


def _level_steps(one: LoggerHeads, place: int, unit: str) -> list[Step]:
    per = metres_per(unit)
    level, correction = one.sensor_level_m[place] / per, one.tied.correction_m[place] / per
    word = "column above the sensor" if one.quantity.endswith("pressure") else "level at the sensor"
    steps = [Step(word, _shown(level, unit), _rows_said(one, ("step",)))]
    by = _ties(one, place, unit)
    if not np.isnan(correction):
        steps.append(Step("added", _shown(correction, unit, sign=True), by))
    final = one.tied.water_elevation_m[place] / per
    rule = "" if np.isnan(final) else "level plus what was added"
    if one.level.channel.correction_history.of("efficiency").shape[0]:
        rule += ", the answer to the air taken out"
    steps.append(Step("water elevation", _shown(final, unit), rule))
    return steps


def _ties(one: LoggerHeads, place: int, unit: str) -> str:
    """Return what ties a sample: the manual readings on either side, or the hanging depth."""
    if one.tied.by_hanging_depth[place]:
        return "hanging depth and measuring point alone; no manual reading ties it"
    hand = one.hand[one.hand["offset_m"].notna()]
    if hand.empty:
        return ""
    per = metres_per(unit)
    when = hand["measured_at_utc"].dt.tz_localize(None).to_numpy(dtype="datetime64[us]")
    after = int(np.searchsorted(when, one.time_utc[place]))
    sides = sorted({min(max(number, 0), len(hand) - 1) for number in (after - 1, after)})
    return "manual readings of " + " and ".join(
        f"{hand['measured_at'].iloc[number]} ({_shown(hand['water_elevation_m'].iloc[number] / per, unit)}, offset "
        f"{_shown(hand['offset_m'].iloc[number] / per, unit)})"
        for number in sides
    )


def _uncertainty_steps(one: LoggerHeads, place: int, unit: str) -> list[Step]:
    total = float(one.uncertainty_m[place])
    if np.isnan(total):
        return []
    per = metres_per(unit)
    parts = [
        f"{name} {_shown(float(one.tied.parts[key][place]) / per, unit)}"
        for key, name in PARTS.items()
        if one.tied.parts[key][place] > 0
    ]
    return [Step("uncertainty (95 %)", f"± {_shown(total / per, unit)}", "; ".join(parts))]


def _shown(value: float, unit: str, *, sign: bool = False) -> str:
    return "not known" if np.isnan(value) else f"{value:{'+' if sign else ''}.3f} {unit}"
