"""The rules by which something looks wrong in the series of one logger, each declared once."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet import constants
from gwnet.analysis.checks.limits import limits_of
from gwnet.analysis.loggers.channels import LoggerRecord
from gwnet.analysis.loggers.correction_history import OUT_REASONS
from gwnet.analysis.loggers.correction_kinds import CAUSES
from gwnet.analysis.loggers.heads import LoggerHeads
from gwnet.analysis.loggers.suggestion import NAT, LoggerFinding, count_samples, span_around
from gwnet.clock import to_instants
from gwnet.constants import BATTERY_LOW_PERCENT, BATTERY_LOW_V, GAP_TIMES_INTERVAL
from gwnet.hydro.arrays import Floats
from gwnet.hydro.loggers.dense_series import find_gaps, usual_interval_s
from gwnet.hydro.loggers.faults import confirm_steps, find_odd_ends, find_saw_tooth, find_spikes, find_steps
from gwnet.hydro.loggers.unusable_intervals import Intervals, find_odd_intervals


@dataclass(frozen=True)
class Rule:
    """One rule by which something looks wrong.

    Attributes
    ----------
    looks_for, limits : str
        What it looks for, and from when on.
    suggests : str
        Kind of correction that it suggests; empty for none.
    message : str
        Message about an interval of samples, for rules that find such.
    """

    looks_for: str
    limits: str
    suggests: str = ""
    message: str = ""


#: Rules of the findings.
RULES: Final[dict[str, Rule]] = {
    "clock": Rule(
        "times that fit those of the barometer only when shifted: wrong zone, summer time, clock set anew",
        f"correlation of changes over ±26 h at least {constants.CLOCK_LEAST_CORRELATION:g}, and "
        f"{constants.CLOCK_MARGIN:g} above any other shift; {constants.CLOCK_LEAST_PAIRS:g} pairs; "
        f"{constants.CLOCK_WINDOW_DAYS:g}-day windows for jumps; a quarter of an hour or more",
        "clock shift",
    ),
    "bottomed out": Rule(
        "rests at the least value that it ever has",
        f"{constants.PINNED_TIMES_BESIDE:g} times more samples than right above it; 2 hours",
        "exclusion",
        "{samples} at the least value ever read, for {hours:.4g} h",
    ),
    "upper limit": Rule(
        "rests at the largest value that it ever has: its range is exceeded, or the well overflows",
        f"{constants.PINNED_TIMES_BESIDE:g} times more samples than right below it; 2 hours",
        "exclusion",
        "{samples} at the largest value ever read, for {hours:.4g} h",
    ),
    "flat": Rule(
        "one value for longer than resolution and noise allow",
        "half a day with air pressure in the value, a week without; "
        f"{constants.FLAT_TIMES_CHANCE:g} times the longest run by chance",
        "exclusion",
        "{samples} in a row with the same value, for {hours:.4g} h",
    ),
    "out of water": Rule(
        "as much pressure as the air",
        f"{constants.OUT_OF_WATER_M:g} m; {constants.LEAST_SAMPLES:g} samples",
        "exclusion",
        "{samples} with no water above the sensor (median {value:.3f} m)",
    ),
    "frozen": Rule(
        "water at or below 0 degC",
        f"{constants.LEAST_SAMPLES:g} samples",
        "exclusion",
        "{samples} of water at or below 0 degC (median {value:.2f} degC)",
    ),
    "over range": Rule(
        "more water than the instrument is made for",
        "the instrument's `range`; 1 sample",
        "exclusion",
        "{samples} above the range of the instrument (median {value:.3f} m)",
    ),
    "spike": Rule(
        "samples far from both neighbours",
        f"{constants.SPIKE_TIMES_NOISE:g} times the usual change, {constants.LEAST_FAULT_M:g} m; "
        f"at most {constants.SPIKE_LONGEST:g} samples",
        "exclusion",
    ),
    "step": Rule(
        "a change from one sample to the next that stays, and that no manual reading explains",
        f"{constants.STEP_TIMES_NOISE:g} times the usual change, 3 times those beside it, "
        f"{constants.LEAST_FAULT_M:g} m",
        "step",
    ),
    "slipped cable": Rule(
        "such a change that manual readings show to be the sensor's",
        "as step, within 0.05 m or a quarter of it",
        "step",
    ),
    "end of a file": Rule(
        "the first or last samples before a gap, or of all, that stand off those beside them",
        f"{constants.SPIKE_TIMES_NOISE:g} times the usual change, 3 times those beside it, "
        f"{constants.LEAST_FAULT_M:g} m; at most {constants.SPIKE_LONGEST:g} samples",
        "exclusion",
    ),
    "saw-tooth": Rule(
        "steps the same way between which the level comes back: pumping, or a sensor that fails",
        "4 steps, together 3 times what the level changes by over them",
    ),
    "common cause": Rule(
        "steps or misfits of the same length at all wells of a barometer at once",
        f"2 wells; within {constants.LEAST_FAULT_M:g} m or a fifth",
    ),
    "gap": Rule("no samples for longer than the interval", f"{GAP_TIMES_INTERVAL:g} intervals"),
    "interval": Rule("samples closer together or farther apart than usual", "10 samples"),
    "no air pressure": Rule("samples that need an air pressure and have none, one run a finding", "any sample"),
    "barometer gap": Rule(
        "no air pressure for longer than is interpolated over, one gap a finding",
        f"{constants.BAROMETER_GAP_S / 3600:g} hours, or {GAP_TIMES_INTERVAL:g} intervals of the barometer",
    ),
    "manual reading": Rule(
        "a manual reading that does not fit the others",
        f"{constants.RESIDUAL_LIMIT_M:g} m or 1.5 half-widths",
        "anchoring",
    ),
    "drift": Rule(
        "drift that is large beside the movement of the water",
        f"{constants.DRIFT_SHARE_LIMIT:g} of the movement of the water",
    ),
    "not anchored": Rule("samples that nothing anchors to an elevation, or the hanging depth alone", "any sample"),
    "battery": Rule("a battery that runs low", f"{BATTERY_LOW_PERCENT:g} % or {BATTERY_LOW_V:g} V"),
    "conflict": Rule("two downloads that differ at the same instants", "any instant"),
}

#: Which of `OUT_REASONS` a person gave.
BY_PERSON: Final = np.array([reason in CAUSES for reason in OUT_REASONS])


def describe_logger_findings() -> str:
    """Return the rules of the findings as a Markdown table.

    Returns
    -------
    str
        One row a rule: what it looks for, its limits, and the kind of correction that it suggests.
    """
    lines = ["| rule | looks for | limits | suggests |", "| --- | --- | --- | --- |"]
    lines += [
        f"| {name} | {rule.looks_for} | {rule.limits} | {rule.suggests or 'nothing'} |" for name, rule in RULES.items()
    ]
    return "\n".join(lines)


def _aware(moment: np.datetime64, seconds: int = 0) -> pd.Timestamp:
    return pd.Timestamp(moment, tz="UTC") + pd.Timedelta(seconds=seconds)


def find_in_deployment(loggers: LoggerRecord, heads: LoggerHeads) -> Iterator[LoggerFinding]:
    """Yield what looks wrong in one deployment by itself.

    Parameters
    ----------
    loggers : gwnet.analysis.loggers.channels.LoggerRecord
        What is on record.
    heads : gwnet.analysis.loggers.heads.LoggerHeads
        Heads over the whole deployment.

    Yields
    ------
    LoggerFinding
        The findings, rule by rule.
    """
    channel = heads.level.channel
    limits = limits_of(loggers.record.of_site(heads.site).settings)[0]
    excluded = BY_PERSON[heads.anchored.out]
    raw = np.where(excluded, np.nan, channel.value)
    per_metre = _raw_per_metre(heads)
    gone = excluded.copy()
    for rule, intervals in heads.state.intervals:
        yield from _exclusions(heads, rule, intervals, raw, gone)
        for first, last in zip(intervals.first, intervals.last, strict=True):
            gone[first : last + 1] = True
    yield from _spikes_and_steps(heads, np.where(gone, np.nan, channel.value), per_metre, limits)
    yield from _intervals(heads)
    yield from _without_level(heads)
    yield from _battery(loggers, heads)


def _raw_per_metre(heads: LoggerHeads) -> float:
    """Return how many of the channel's SI units one metre of level is."""
    if not heads.quantity.endswith("pressure"):
        return 1.0
    return 1.0 / float(np.nanmedian(heads.level.metres_per_pascal()))


def _exclusions(
    heads: LoggerHeads, rule: str, intervals: Intervals, raw: Floats, gone: NDArray[np.bool_]
) -> Iterator[LoggerFinding]:
    """Yield a finding with an exclusion for each interval that no plainer rule reported already."""
    for number in range(intervals.first.size):
        first, last = int(intervals.first[number]), int(intervals.last[number])
        inside = ~np.isnan(raw[first : last + 1])
        if not inside.any() or gone[first : last + 1][inside].mean() > 0.5:
            continue
        words = RULES[rule].message.format(
            samples=count_samples(int(intervals.count[number])),
            hours=float(intervals.duration_s[number]) / 3600,
            value=float(intervals.value[number]),
        )
        cause = "over range" if rule == "upper limit" else rule
        yield _finding(heads, rule, first, last, f"{words}.", {"cause": cause})


def _finding(
    heads: LoggerHeads,
    rule: str,
    first: int,
    last: int,
    message: str,
    parameters: dict[str, Any] | None = None,
    *,
    is_open: bool = False,
) -> LoggerFinding:
    """Return a finding about some samples of a deployment, with its correction over just these samples, or open."""
    start, end = heads.time_utc[first], heads.time_utc[last]
    begins, ends = span_around(start, end) if parameters else (NAT, NAT)
    return LoggerFinding(
        heads.site,
        heads.well,
        heads.instrument,
        heads.quantity,
        rule,
        start,
        end,
        message,
        RULES[rule].suggests if parameters else "",
        parameters or {},
        begins,
        NAT if is_open else ends,
    )


def _spikes_and_steps(
    heads: LoggerHeads, raw: Floats, per_metre: float, limits: Mapping[str, float]
) -> Iterator[LoggerFinding]:
    """Yield spikes and steps of the level in metres; air and water do not spike, so the raw series serves."""
    level = np.where(np.isnan(raw) | (heads.level.out > 0), np.nan, heads.level.level_m)
    series = level if heads.quantity == "absolute pressure" and not np.isnan(level).all() else raw / per_metre
    spikes = find_spikes(series)
    cleaned = series.copy()
    for number in range(spikes.first.size):
        first, last = int(spikes.first[number]), int(spikes.last[number])
        cleaned[first : last + 1] = np.nan
        size = float(spikes.size[number])
        if abs(size) >= limits["logger_fault_m"]:
            perhaps = "taken out of the water?" if size < 0 else "a bad value?"
            message = f"{count_samples(last - first + 1)} {size:+.3f} m off both neighbours: {perhaps}"
            yield _finding(heads, "spike", first, last, message, {"cause": "spike"})
    interval = usual_interval_s(heads.time_utc)
    longest_gap_s = 3 * interval if interval == interval else 0.0
    ends = find_odd_ends(heads.time_utc, cleaned, longest_gap_s=longest_gap_s)
    for number in np.flatnonzero(np.abs(ends.size) >= limits["logger_fault_m"]).tolist():
        first, last, size = int(ends.first[number]), int(ends.last[number]), float(ends.size[number])
        cleaned[first : last + 1] = np.nan
        perhaps = "taken out of the water?" if size < 0 else "a bad value?"
        message = f"{count_samples(last - first + 1)} at the end of a run of samples {size:+.3f} m off: {perhaps}"
        yield _finding(heads, "end of a file", first, last, message, {"cause": "spike"})
    steps = find_steps(heads.time_utc, cleaned, longest_gap_s=longest_gap_s)
    big = np.flatnonzero(np.abs(steps.size) >= limits["logger_fault_m"])
    verdict, moved = confirm_steps(
        heads.time_utc[steps.place[big]],
        steps.size[big],
        to_instants(heads.manual["measured_at_utc"]),
        heads.manual["offset_m"].to_numpy(dtype=np.float64),
        tolerance_m=limits["logger_residual_m"],
    )
    open_steps = [
        number
        for number, place in enumerate(steps.place[big].tolist())
        if verdict[number] >= 0 and not _is_restarted(heads, place)  # else the water moved, or the move is on record
    ]
    undecided = np.array([number for number in open_steps if verdict[number] == 0], dtype=np.int64)
    teeth = find_saw_tooth(cleaned, steps.place[big][undecided], steps.size[big][undecided])
    if teeth.size:
        places, sizes = steps.place[big][undecided[teeth]], steps.size[big][undecided[teeth]]
        message = (
            f"{teeth.size} steps of {float(np.median(sizes)):+.3f} m (median), and the level comes back between them: "
            f"pumping near by, or a sensor that fails? Adding up steps would be wrong."
        )
        yield _finding(heads, "saw-tooth", int(places[0]), int(places[-1]), message)
    explained = set(undecided[teeth].tolist())
    for number in open_steps:
        if number in explained:
            continue
        place, size = int(steps.place[big][number]), float(steps.size[big][number])
        rule = "slipped cable" if verdict[number] > 0 else "step"
        evidence = (
            f"manual readings on both sides moved by {float(moved[number]):+.3f} m against it: the sensor moved"
            if verdict[number] > 0
            else "no manual readings on both sides show whether sensor or water moved"
        )
        message = f"The level steps by {size:+.3f} m and stays; {evidence}."
        yield _finding(heads, rule, place, place, message, {"amount_m": round(-size, 4)}, is_open=True)


def _is_restarted(heads: LoggerHeads, place: int) -> bool:
    """Return whether anchoring starts anew at a sample or between it and the one before."""
    restarts = heads.level.channel.correction_history.restarts()
    before = heads.time_utc[max(place - 1, 0)]
    return bool(((restarts > before) & (restarts <= heads.time_utc[place])).any())


def _intervals(heads: LoggerHeads) -> Iterator[LoggerFinding]:
    """Yield gaps and runs of another interval."""
    interval = usual_interval_s(heads.time_utc)
    if interval != interval:
        return
    odd = find_odd_intervals(heads.time_utc)
    in_run = np.zeros(len(heads), dtype=bool)
    for number in range(odd.first.size):
        first, last = int(odd.first[number]), int(odd.last[number])
        in_run[first:last] = True
        message = (
            f"{int(odd.count[number])} samples {odd.value[number] / 60:g} min apart instead of {interval / 60:g} min."
        )
        yield _finding(heads, "interval", first, last, message)
    gaps = find_gaps(heads.time_utc, heads.level.channel.value, longest_gap_s=GAP_TIMES_INTERVAL * interval)
    for number in np.flatnonzero(~in_run[gaps.before]).tolist():
        hours = float(gaps.duration_s[number]) / 3600
        message = f"No sample for {hours:.4g} h, where one is due every {interval / 60:g} min."
        yield _finding(heads, "gap", int(gaps.before[number]), int(gaps.after[number]), message)


def _without_level(heads: LoggerHeads) -> Iterator[LoggerFinding]:
    """Yield what nothing anchors to an elevation."""
    out = heads.anchored.out
    places = np.flatnonzero(out == OUT_REASONS.index("not anchored"))
    if places.size:
        fix = "a manual reading, or hanging depth and measuring point, would anchor them"
        message = f"{count_samples(places.size)} without a level: not anchored; {fix}."
        yield _finding(heads, "not anchored", int(places[0]), int(places[-1]), message)
    by_depth = np.flatnonzero(heads.anchored.by_hanging_depth & (out == 0))
    if by_depth.size and heads.quantity != "water elevation":
        message = f"{count_samples(by_depth.size)} by the hanging depth alone: no manual reading anchors them."
        yield _finding(heads, "not anchored", int(by_depth[0]), int(by_depth[-1]), message)


def _battery(loggers: LoggerRecord, heads: LoggerHeads) -> Iterator[LoggerFinding]:
    """Yield a battery that was low at its last sample."""
    charge = battery(loggers, heads.instrument, _aware(heads.time_utc[0]), _aware(heads.time_utc[-1], 1))
    if charge is not None and charge[2]:
        message = f"The battery was at {charge[0]:g} {charge[1]} at the last sample: change it at the next visit."
        last = len(heads) - 1
        yield _finding(heads, "battery", last, last, message)


def battery(
    loggers: LoggerRecord, instrument: str, start: pd.Timestamp | None, end: pd.Timestamp | None
) -> tuple[float, str, bool] | None:
    """Return the last battery value of an instrument over a span.

    Parameters as `gwnet.analysis.loggers`.

    Parameters
    ----------
    start, end : pandas.Timestamp or None
        Half-open span; None for open.

    Returns
    -------
    tuple or None
        Value, unit and whether it is low (at or below 20 %, or 3 V; project default); None where none is on record.
    """
    channel = loggers.channel(instrument, "battery", start, end)
    if channel is None:
        return None
    known = channel.value[~np.isnan(channel.value)]
    if known.size == 0:
        return None
    limit = BATTERY_LOW_PERCENT if channel.unit == "%" else BATTERY_LOW_V
    return float(known[-1]), channel.unit, bool(known[-1] <= limit)
