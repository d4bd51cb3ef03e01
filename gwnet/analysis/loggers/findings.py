"""What looks wrong in the series of loggers, and the correction that would fix it; a person decides.

Every finding is worked out from the series as the correction history on record leaves it, so that one that was acted
on is gone.

Findings are not stored. The name of one is a digest of rule, place, span and suggestion. The plainest rule reports
first (bottomed out before flat before out of water), and an interval that half overlaps one already reported is not
reported again. A step is left to the manual readings on both sides: without them it is reported as one that nobody can
judge. A spike is one to three samples that come back; water that comes back as fast looks the same, and a person must
say which it was.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from sqlalchemy import Connection

from gwnet.analysis.checks.limits import limits_of
from gwnet.analysis.loggers.channels import LoggerRecord, gather_loggers
from gwnet.analysis.loggers.clocks import clock_findings, clock_of
from gwnet.analysis.loggers.correction_history import CAUSES
from gwnet.analysis.loggers.heads import OUT_REASONS, LoggerHeads, each_head
from gwnet.analysis.loggers.suggestion import LoggerFinding, around, as_frame
from gwnet.constants import (
    BATTERY_LOW_PERCENT,
    BATTERY_LOW_V,
    FLAT_WITH_AIR_S,
    FLAT_WITHOUT_AIR_S,
    GAP_TIMES_INTERVAL,
)
from gwnet.hydro.arrays import Floats
from gwnet.hydro.loggers.dense_series import find_gaps, usual_interval_s
from gwnet.hydro.loggers.faults import confirm_steps, find_spikes, find_steps
from gwnet.hydro.loggers.unusable_intervals import (
    Intervals,
    find_flat,
    find_frozen,
    find_odd_intervals,
    find_out_of_water,
    find_over_range,
    find_pinned,
    least_step,
)
from gwnet.store.fetch import samples as fetch_samples

#: Rules of the findings, and what each looks for.
RULES: Final = {
    "clock": "times that fit those of the barometer only when shifted: wrong zone, summer time, clock set anew",
    "bottomed out": "rests at the least value that it ever has",
    "flat": "one value for longer than resolution and noise allow",
    "out of water": "as much pressure as the air",
    "frozen": "water at or below 0 degC",
    "over range": "more water than the instrument is made for",
    "spike": "samples that stand off both neighbours",
    "step": "a change from one sample to the next that stays, and that no manual reading explains",
    "slipped cable": "such a change that manual readings show to be the sensor's",
    "gap": "no samples for longer than the interval",
    "interval": "samples closer together or farther apart than usual",
    "no air pressure": "samples of an absolute sensor without an air pressure",
    "manual reading": "a manual reading that does not fit the others",
    "drift": "drift that is large beside the movement of the water",
    "not anchored": "samples that nothing ties to an elevation, or the hanging depth alone",
    "battery": "a battery that runs low",
    "conflict": "two downloads that differ at the same instants",
}

#: Which of `OUT_REASONS` a person gave.
BY_PERSON: Final = np.array([reason in CAUSES for reason in OUT_REASONS])


def findings(
    connection: Connection,
    wells: Sequence[str] | None = None,
    site: str | None = None,
    known_on: dt.datetime | None = None,
) -> pd.DataFrame:
    """Return what looks wrong in the series of the loggers.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    wells : sequence of str, optional
        Only these wells; all unless given.
    site : str, optional
        Only this site.
    known_on : datetime.datetime, optional
        Record as known at this time.

    Returns
    -------
    pandas.DataFrame
        Columns of `gwnet.analysis.loggers.suggestion.FINDING_COLUMNS`, by site, well, instrument and time. The
        suggestion is the command that would apply the correction; it wants a reason.
    """
    record = gather_loggers(connection, wells=None if wells is None else list(wells), site=site, known_on=known_on)
    return as_frame(findings_of(record, each_head(record)))


def findings_of(record: LoggerRecord, found: Iterable[LoggerHeads]) -> list[LoggerFinding]:
    """Return the findings about deployments whose heads were worked out.

    Parameters
    ----------
    record : gwnet.analysis.loggers.channels.LoggerRecord
        What is on record.
    found : iterable of LoggerHeads
        Heads over whole deployments; gone through once, none is kept.

    Returns
    -------
    list of LoggerFinding
        By site, well, instrument and time.
    """
    made: list[LoggerFinding] = []
    clocks, places = [], {}
    for one in found:
        clocks.append(clock_of(record, one))
        made += _of_deployment(record, one)
        places[one.instrument] = (one.site, one.well)
    made += clock_findings(each for each in clocks if each is not None)
    made += _conflicts(record, places)
    never = np.datetime64("1900-01-01", "us")
    return sorted(
        made,
        key=lambda each: (
            each.site,
            each.well,
            each.instrument,
            never if np.isnat(each.start_utc) else each.start_utc,
            each.rule,
        ),
    )


def _of_deployment(record: LoggerRecord, one: LoggerHeads) -> Iterator[LoggerFinding]:
    """Yield the findings of one deployment."""
    channel = one.level.channel
    limits = _limits(record, one.site)
    excluded = BY_PERSON[one.tied.out]
    raw = np.where(excluded, np.nan, channel.value)
    level = np.where(excluded | (one.level.out > 0), np.nan, one.level.level_m)
    per_metre = _raw_per_metre(one)
    gone = excluded.copy()
    for rule, spells in _spells(record, one, raw, level):
        yield from _exclusions(one, rule, spells, raw, gone)
        for first, last in zip(spells.first, spells.last, strict=True):
            gone[first : last + 1] = True
    jumps = list(_spikes_and_steps(one, np.where(gone, np.nan, channel.value), per_metre, limits))
    yield from jumps
    yield from _intervals(one)
    yield from _air(one)
    yield from _manual_readings(one, limits, stepped=any(each.kind == "step" for each in jumps))
    yield from _battery(record, one)


def _limits(record: LoggerRecord, site: str) -> dict[str, float]:
    """Return the limits of a site: its own, else the defaults."""
    return limits_of(record.sites[record.sites["site"] == site].iloc[0])[0]


def _raw_per_metre(one: LoggerHeads) -> float:
    """Return how many of the channel's SI units one metre of level is."""
    if not one.quantity.endswith("pressure"):
        return 1.0
    return 1.0 / float(np.nanmedian(one.level.metres_per_pascal()))


def _spells(record: LoggerRecord, one: LoggerHeads, raw: Floats, level: Floats) -> Iterator[tuple[str, Intervals]]:
    """Yield the spells in which the sensor did not measure the water, the plainest rule first."""
    when = one.time_utc
    step = least_step(raw)
    yield "bottomed out", find_pinned(when, raw, resolution=step)
    longest = FLAT_WITH_AIR_S if one.quantity == "absolute pressure" else FLAT_WITHOUT_AIR_S
    yield "flat", find_flat(when, raw, least_s=longest, resolution=step)
    if one.quantity.endswith("pressure") or one.quantity == "water column":
        yield "out of water", find_out_of_water(when, level)
        limit = _range_m(record, one.instrument)
        if limit == limit:
            yield "over range", find_over_range(when, level, range_m=limit)
    water = record.channel(one.instrument, "water temperature", _aware(when[0]), _aware(when[-1], 1))
    if water is not None:
        cold = find_frozen(water.time_utc, water.value)
        if cold.first.size:
            yield "frozen", _moved(cold, water.time_utc, when)


def _aware(moment: np.datetime64, seconds: int = 0) -> pd.Timestamp:
    return pd.Timestamp(moment, tz="UTC") + pd.Timedelta(seconds=seconds)


def _moved(spells: Intervals, from_when: NDArray[np.datetime64], to_when: NDArray[np.datetime64]) -> Intervals:
    """Return spells of one series as places in another."""
    first = np.searchsorted(to_when, from_when[spells.first], side="left")
    last = np.searchsorted(to_when, from_when[spells.last], side="right") - 1
    kept = last >= first
    return Intervals(
        first[kept].astype(np.int64),
        last[kept].astype(np.int64),
        spells.count[kept],
        spells.duration_s[kept],
        spells.value[kept],
    )


def _range_m(record: LoggerRecord, instrument: str) -> float:
    rows = record.instruments[record.instruments["instrument"] == instrument]
    return float(rows["range_m"].iloc[0]) if len(rows) and not pd.isna(rows["range_m"].iloc[0]) else float("nan")


_SAID: Final = {
    "bottomed out": "{samples} at the least value ever read, for {hours:.4g} h",
    "flat": "{samples} in a row with the same value, for {hours:.4g} h",
    "out of water": "{samples} with no water above the sensor (median {value:.3f} m)",
    "over range": "{samples} above the range of the instrument (median {value:.3f} m)",
    "frozen": "{samples} of water at or below 0 degC (median {value:.2f} degC)",
}


def _samples(count: int) -> str:
    return "1 sample" if count == 1 else f"{count} samples"


def _exclusions(
    one: LoggerHeads, rule: str, spells: Intervals, raw: Floats, gone: NDArray[np.bool_]
) -> Iterator[LoggerFinding]:
    """Yield a finding with an exclusion for each spell that no plainer rule told already."""
    for number in range(spells.first.size):
        first, last = int(spells.first[number]), int(spells.last[number])
        inside = ~np.isnan(raw[first : last + 1])
        if not inside.any() or gone[first : last + 1][inside].mean() > 0.5:
            continue
        words = _SAID[rule].format(
            samples=_samples(int(spells.count[number])),
            hours=float(spells.duration_s[number]) / 3600,
            value=float(spells.value[number]),
        )
        yield _told(one, rule, first, last, f"{words}.", "exclusion", {"cause": rule})


def _told(
    one: LoggerHeads,
    rule: str,
    first: int,
    last: int,
    message: str,
    kind: str = "",
    parameters: dict[str, Any] | None = None,
    *,
    open_end: bool = False,
) -> LoggerFinding:
    """Return a finding about some samples of a deployment, with its correction over just these samples."""
    start, end = one.time_utc[first], one.time_utc[last]
    begins, ends = around(start, end)
    nat = np.datetime64("NaT", "us")
    if not kind:
        begins = ends = nat
    return LoggerFinding(
        one.site,
        one.well,
        one.instrument,
        one.quantity,
        rule,
        start,
        end,
        message,
        kind,
        parameters or {},
        begins,
        nat if open_end else ends,
    )


def _spikes_and_steps(
    one: LoggerHeads, raw: Floats, per_metre: float, limits: Mapping[str, float]
) -> Iterator[LoggerFinding]:
    """Yield spikes and steps of the level, told in metres; air and water do not spike, so the raw series serves."""
    level = np.where(np.isnan(raw) | (one.level.out > 0), np.nan, one.level.level_m)
    series = level if one.quantity == "absolute pressure" and not np.isnan(level).all() else raw / per_metre
    spikes = find_spikes(series)
    cleaned = series.copy()
    for number in range(spikes.first.size):
        first, last = int(spikes.first[number]), int(spikes.last[number])
        cleaned[first : last + 1] = np.nan
        size = float(spikes.size[number])
        if abs(size) >= limits["logger_fault_m"]:
            count = last - first + 1
            perhaps = "taken out of the water?" if size < 0 else "a bad value?"
            message = f"{_samples(count)} {size:+.3f} m off both neighbours: {perhaps}"
            yield _told(one, "spike", first, last, message, "exclusion", {"cause": "spike"})
    interval = usual_interval_s(one.time_utc)
    steps = find_steps(one.time_utc, cleaned, longest_gap_s=3 * interval if interval == interval else 0.0)
    big = np.flatnonzero(np.abs(steps.size) >= limits["logger_fault_m"])
    verdict, moved = confirm_steps(
        one.time_utc[steps.place[big]],
        steps.size[big],
        one.hand["measured_at_utc"].dt.tz_localize(None).to_numpy(dtype="datetime64[us]"),
        one.hand["offset_m"].to_numpy(dtype=np.float64),
        tolerance_m=limits["logger_residual_m"],
    )
    for number, place in enumerate(steps.place[big].tolist()):
        size = float(steps.size[big][number])
        if verdict[number] < 0 or _restarted(one, place):
            continue  # the water moved, or the move is on record
        rule = "slipped cable" if verdict[number] > 0 else "step"
        tells = (
            f"manual readings on both sides moved by {float(moved[number]):+.3f} m against it: the sensor moved"
            if verdict[number] > 0
            else "no manual readings on both sides tell whether sensor or water moved"
        )
        message = f"The level steps by {size:+.3f} m and stays; {tells}."
        yield _told(one, rule, place, place, message, "step", {"amount_m": round(-size, 4)}, open_end=True)


def _restarted(one: LoggerHeads, place: int) -> bool:
    """Return whether anchoring starts anew at a sample or between it and the one before."""
    restarts = one.level.channel.correction_history.restarts()
    before = one.time_utc[max(place - 1, 0)]
    return bool(((restarts > before) & (restarts <= one.time_utc[place])).any())


def _intervals(one: LoggerHeads) -> Iterator[LoggerFinding]:
    """Yield gaps and spells of another interval."""
    interval = usual_interval_s(one.time_utc)
    if interval != interval:
        return
    value = one.level.channel.value
    odd = find_odd_intervals(one.time_utc)
    in_spell = np.zeros(len(one), dtype=bool)
    for number in range(odd.first.size):
        first, last = int(odd.first[number]), int(odd.last[number])
        in_spell[first:last] = True
        message = (
            f"{int(odd.count[number])} samples {odd.value[number] / 60:g} min apart instead of {interval / 60:g} min."
        )
        yield _told(one, "interval", first, last, message)
    gaps = find_gaps(one.time_utc, value, longest_gap_s=GAP_TIMES_INTERVAL * interval)
    for number in np.flatnonzero(~in_spell[gaps.before]).tolist():
        hours = float(gaps.duration_s[number]) / 3600
        message = f"No sample for {hours:.4g} h, where one is due every {interval / 60:g} min."
        yield _told(one, "gap", int(gaps.before[number]), int(gaps.after[number]), message)


def _air(one: LoggerHeads) -> Iterator[LoggerFinding]:
    """Yield where an absolute sensor has no air pressure, and what nothing ties to an elevation."""
    out = one.tied.out
    for rule, reason, fix in (
        ("no air pressure", "no air pressure", "load the barometer's files, or name one in the deployment"),
        ("not anchored", "not anchored", "a manual reading, or hanging depth and measuring point, would tie them"),
    ):
        places = np.flatnonzero(out == OUT_REASONS.index(reason))
        if places.size:
            message = f"{_samples(places.size)} without a level: {reason}; {fix}."
            yield _told(one, rule, int(places[0]), int(places[-1]), message)
    hung = np.flatnonzero(one.tied.by_hanging_depth & (out == 0))
    if hung.size and one.quantity != "water elevation":
        message = f"{_samples(hung.size)} by the hanging depth alone: no manual reading ties them."
        yield _told(one, "not anchored", int(hung[0]), int(hung[-1]), message)


def _manual_readings(one: LoggerHeads, limits: Mapping[str, float], *, stepped: bool) -> Iterator[LoggerFinding]:
    """Yield manual readings that do not fit the others of their hanging, and drift that is large.

    Where the sensor stepped the step comes first: readings on its two sides cannot agree until it is dealt with.
    """
    hand = one.hand
    left = np.abs(hand["leave_one_out_residual_m"].to_numpy(dtype=np.float64))
    allowed = np.maximum(limits["logger_residual_m"], 1.5 * hand["uncertainty_m"].to_numpy(dtype=np.float64))
    for number in np.unique(hand["hanging"].to_numpy(dtype=np.int64)):
        mine = np.flatnonzero((hand["hanging"] == number).to_numpy() & ~np.isnan(left))
        if mine.size < 3 or not (left[mine] > allowed[mine]).any():
            continue
        worst = int(mine[np.argmax(left[mine])])
        row = hand.iloc[worst]
        message = (
            f"The manual reading of {row['measured_at']} (event {row['event_id']}) is "
            f"{row['leave_one_out_residual_m']:+.3f} m off what the others give: slip, drift, clock, barometer, itself."
        )
        moment = np.datetime64(row["measured_at_utc"].tz_localize(None).to_datetime64(), "us")
        yield LoggerFinding(
            one.site,
            one.well,
            one.instrument,
            one.quantity,
            "manual reading",
            moment,
            moment,
            message,
            "" if stepped else "anchoring",
            {} if stepped else {"leave_out": [int(row["event_id"])]},
        )
    shares = one.hangings.drift_share
    for number in np.flatnonzero(np.nan_to_num(shares) >= limits["logger_drift_share"]):
        spread = float(one.hangings.offset_spread_m[number])
        message = (
            f"The offsets of the manual readings spread over {spread:.3f} m, {shares[number]:.0%} of the movement of "
            f"the water ({float(one.hangings.drift_m_per_year[number]):+.3f} m/year): too much to rely on?"
        )
        if spread >= limits["logger_residual_m"]:
            yield LoggerFinding(
                one.site,
                one.well,
                one.instrument,
                one.quantity,
                "drift",
                one.hangings.start_utc[number],
                one.hangings.end_utc[number],
                message,
            )


def _battery(record: LoggerRecord, one: LoggerHeads) -> Iterator[LoggerFinding]:
    """Yield a battery that was low at its last sample."""
    told = battery(record, one.instrument, _aware(one.time_utc[0]), _aware(one.time_utc[-1], 1))
    if told is not None and told[2]:
        message = f"The battery stood at {told[0]:g} {told[1]} at the last sample: change it at the next visit."
        last = len(one) - 1
        yield _told(one, "battery", last, last, message)


def battery(
    record: LoggerRecord, instrument: str, start: pd.Timestamp | None, end: pd.Timestamp | None
) -> tuple[float, str, bool] | None:
    """Return the last battery value of an instrument over a span.

    Parameters
    ----------
    record : gwnet.analysis.loggers.channels.LoggerRecord
        What is on record.
    instrument : str
        Code of the instrument.
    start, end : pandas.Timestamp or None
        Half-open span; None for open.

    Returns
    -------
    tuple or None
        Value, unit and whether it is low (at or below 20 %, or 3 V; project default); None where none is on record.
    """
    channel = record.channel(instrument, "battery", start, end)
    if channel is None:
        return None
    known = channel.value[~np.isnan(channel.value)]
    if known.size == 0:
        return None
    limit = BATTERY_LOW_PERCENT if channel.unit == "%" else BATTERY_LOW_V
    return float(known[-1]), channel.unit, bool(known[-1] <= limit)


def _conflicts(record: LoggerRecord, places: Mapping[str, tuple[str, str]]) -> Iterator[LoggerFinding]:
    """Yield, for each file, that it differs from what is on record."""
    table = fetch_samples.conflicts(record.connection, record.known_on)
    table = table[table["instrument"].isin(places)]
    for (instrument, quantity, file), rows in table.groupby(["instrument", "quantity", "file"], sort=True):
        site, well = places[str(instrument)]
        first, last = (
            np.datetime64(edge.tz_convert("UTC").tz_localize(None).to_datetime64(), "us")
            for edge in (rows["time_utc"].min(), rows["time_utc"].max())
        )
        message = f"{_samples(len(rows))} of {file} differ from those on record, which stay: another clock or unit?"
        yield LoggerFinding(site, well, str(instrument), str(quantity), "conflict", first, last, message)
