"""The rules by which something looks wrong in the series of one logger, each declared once."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet import constants
from gwnet.analysis.checks.limits import limits_of
from gwnet.analysis.loggers.channels import LoggerRecord
from gwnet.analysis.loggers.correction_history import OUT_REASONS
from gwnet.analysis.loggers.correction_kinds import CAUSES
from gwnet.analysis.loggers.level_faults import OpenSteps, find_open_steps
from gwnet.analysis.loggers.suggestion import NAT, LoggerFinding, count_samples, span_around
from gwnet.constants import BATTERY_LOW_PERCENT, BATTERY_LOW_V, GAP_TIMES_INTERVAL
from gwnet.hydro.arrays import Floats
from gwnet.hydro.loggers.dense_series import find_gaps, usual_interval_s
from gwnet.hydro.loggers.unusable_intervals import Intervals, find_odd_intervals

if TYPE_CHECKING:
    from gwnet.analysis.loggers.heads import LoggerHeads


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
    keeps_out : str
        Which samples give no level until somebody decides; empty for none.
    """

    looks_for: str
    limits: str
    suggests: str = ""
    message: str = ""
    keeps_out: str = ""


#: Rules of the findings.
RULES: Final[dict[str, Rule]] = {
    "clock": Rule(
        "times that fit those of the barometer only when shifted: wrong zone, summer time, clock set anew",
        f"correlation of changes over ±26 h at least {constants.CLOCK_LEAST_CORRELATION:g}, and "
        f"{constants.CLOCK_MARGIN:g} above any other shift; {constants.CLOCK_LEAST_PAIRS:g} pairs; "
        f"{constants.CLOCK_WINDOW_DAYS:g}-day windows for jumps; a quarter of an hour or more",
        "clock shift",
        keeps_out="the samples",
    ),
    "bottomed out": Rule(
        "rests at the least value that it ever has",
        f"{constants.PINNED_TIMES_BESIDE:g} times more samples than right above it; 2 hours",
        "exclusion",
        "{samples} at the least value ever read, for {hours:.4g} h",
        keeps_out="the samples, which are bounds",
    ),
    "upper limit": Rule(
        "rests at the largest value that it ever has: its range is exceeded, or the well overflows",
        f"{constants.PINNED_TIMES_BESIDE:g} times more samples than right below it; 2 hours",
        "exclusion",
        "{samples} at the largest value ever read, for {hours:.4g} h",
        keeps_out="the samples of an absolute sensor",
    ),
    "flat": Rule(
        "one value for longer than resolution and noise allow",
        "half a day with air pressure in the value, a week without; "
        f"{constants.FLAT_TIMES_CHANCE:g} times the longest run by chance",
        "exclusion",
        "{samples} in a row with the same value, for {hours:.4g} h",
        keeps_out="the samples of an absolute sensor",
    ),
    "out of water": Rule(
        "as much pressure as the air",
        f"{constants.OUT_OF_WATER_M:g} m; {constants.LEAST_SAMPLES:g} samples",
        "exclusion",
        "{samples} with no water above the sensor (median {value:.3f} m)",
        keeps_out="the samples, which are bounds",
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
        keeps_out="the samples",
    ),
    "spike": Rule(
        "samples far from both neighbours",
        f"{constants.SPIKE_TIMES_NOISE:g} times the usual change, {constants.LEAST_FAULT_M:g} m; "
        f"at most {constants.SPIKE_LONGEST:g} samples",
        "exclusion",
        keeps_out="the samples",
    ),
    "step": Rule(
        "a change from one sample to the next that stays, and that no manual reading explains",
        f"{constants.STEP_TIMES_NOISE:g} times the usual change, 3 times those beside it, "
        f"{constants.LEAST_FAULT_M:g} m",
        "step",
        keeps_out="what was anchored across it",
    ),
    "slipped cable": Rule(
        "such a change that manual readings show to be the sensor's",
        "as step, within 0.05 m or a quarter of it",
        "step",
        keeps_out="what was anchored across it",
    ),
    "end of a file": Rule(
        "the first or last samples before a gap, or of all, that stand off those beside them",
        f"{constants.SPIKE_TIMES_NOISE:g} times the usual change, 3 times those beside it, "
        f"{constants.LEAST_FAULT_M:g} m; at most {constants.SPIKE_LONGEST:g} samples",
        "exclusion",
        keeps_out="the samples",
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
        keeps_out="what no two manual readings enclose",
    ),
    "not anchored": Rule("samples that nothing anchors to an elevation, or the hanging depth alone", "any sample"),
    "battery": Rule("a battery that runs low", f"{BATTERY_LOW_PERCENT:g} % or {BATTERY_LOW_V:g} V"),
    "serial number": Rule("a file whose serial number is not that of its instrument on record", "any file"),
    "conflict": Rule("two downloads that differ at the same instants", "any instant"),
}

#: Which of `OUT_REASONS` a person gave.
BY_PERSON: Final = np.array([reason in CAUSES for reason in OUT_REASONS])


def describe_logger_findings() -> str:
    """Return the rules of the findings as a Markdown table.

    Returns
    -------
    str
        One row a rule: what it looks for, its limits, the kind of correction that it suggests, and which samples give
        no level while it is open.
    """
    lines = ["| rule | looks for | limits | suggests | keeps out |", "| --- | --- | --- | --- | --- |"]
    lines += [
        f"| {name} | {rule.looks_for} | {rule.limits} | {rule.suggests or 'nothing'} | {rule.keeps_out or 'nothing'} |"
        for name, rule in RULES.items()
    ]
    return "\n".join(lines)


def _aware(moment: np.datetime64, seconds: int = 0) -> pd.Timestamp:
    return pd.Timestamp(moment, tz="UTC") + pd.Timedelta(seconds=seconds)


def find_in_deployment(loggers: LoggerRecord, heads: LoggerHeads) -> Iterator[LoggerFinding]:
    """Yield what looks wrong in one deployment by itself.

    Parameters as `gwnet.analysis.loggers`.

    Yields
    ------
    LoggerFinding
        The findings, rule by rule.
    """
    channel = heads.level.channel
    limits = limits_of(loggers.record.of_site(heads.site).settings)[0]
    # What a person excluded is decided, and must not be found again.
    excluded = BY_PERSON[heads.anchored.out]
    raw = np.where(excluded, np.nan, channel.value)
    gone = excluded.copy()
    for rule, intervals in heads.state.intervals:
        yield from _exclusions(heads, rule, intervals, raw, gone)
        for first, last in zip(intervals.first, intervals.last, strict=True):
            gone[first : last + 1] = True
    yield from _spikes_and_steps(heads, limits)
    yield from _intervals(heads)
    yield from _without_level(heads)
    yield from _battery(loggers, heads)


def _exclusions(
    heads: LoggerHeads, rule: str, intervals: Intervals, raw: Floats, gone: NDArray[np.bool_]
) -> Iterator[LoggerFinding]:
    """Yield a finding with an exclusion for each interval that no plainer rule reported already."""
    for number in range(intervals.first.size):
        first, last = int(intervals.first[number]), int(intervals.last[number])
        inside = ~np.isnan(raw[first : last + 1])
        # A plainer rule reported most of it already: one finding for one cause.
        if not inside.any() or gone[first : last + 1][inside].mean() > 0.5:
            continue
        words = RULES[rule].message.format(
            samples=count_samples(int(intervals.count[number])),
            hours=float(intervals.duration_s[number]) / 3600,
            value=float(intervals.value[number]),
        )
        # The causes that a person can give know no "upper limit"; its cause is the range.
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


def _spikes_and_steps(heads: LoggerHeads, limits: Mapping[str, float]) -> Iterator[LoggerFinding]:
    """Yield spikes, odd ends and steps of the level."""
    for rule, first, last, size in heads.state.faults.outliers():
        perhaps = "taken out of the water?" if size < 0 else "a bad value?"
        where = "off both neighbours" if rule == "spike" else "off the samples beside the end of a run"
        message = f"{count_samples(last - first + 1)} {size:+.3f} m {where}: {perhaps}"
        yield _finding(heads, rule, first, last, message, {"cause": "spike"})
    steps = find_open_steps(heads, tolerance_m=limits["logger_residual_m"])
    if steps.teeth.any():
        places, sizes = steps.place[steps.teeth], steps.size_m[steps.teeth]
        message = (
            f"{places.size} steps of {float(np.median(sizes)):+.3f} m (median), and the level comes back between them: "
            f"pumping near by, or a sensor that fails? Adding up steps would be wrong."
        )
        yield _finding(heads, "saw-tooth", int(places[0]), int(places[-1]), message)
    for number in np.flatnonzero(~steps.teeth).tolist():
        yield step_finding(heads, steps, number)


def step_finding(heads: LoggerHeads, steps: OpenSteps, number: int) -> LoggerFinding:
    """Return the finding about one step.

    Parameters
    ----------
    heads : gwnet.analysis.loggers.heads.LoggerHeads
        Heads over the whole deployment.
    steps : gwnet.analysis.loggers.level_faults.OpenSteps
        Its open steps.
    number : int
        Which of them.
    """
    place, size = int(steps.place[number]), float(steps.size_m[number])
    is_of_sensor = bool(steps.is_of_sensor[number])
    evidence = (
        f"manual readings on both sides moved by {float(steps.moved_m[number]):+.3f} m against it: the sensor moved"
        if is_of_sensor
        else "no manual readings on both sides show whether sensor or water moved"
    )
    message = f"The level steps by {size:+.3f} m and stays; {evidence}."
    rule = "slipped cable" if is_of_sensor else "step"
    # Open to the end: a sensor that moved stays where it is until it moves again.
    return _finding(heads, rule, place, place, message, {"amount_m": round(-size, 4)}, is_open=True)


def _intervals(heads: LoggerHeads) -> Iterator[LoggerFinding]:
    """Yield gaps and runs of another interval."""
    interval = usual_interval_s(heads.time_utc)
    if interval != interval:
        return
    odd = find_odd_intervals(heads.time_utc)
    in_run = np.zeros(len(heads), dtype=bool)
    for number in range(odd.first.size):
        first, last = int(odd.first[number]), int(odd.last[number])
        # Samples farther apart within such a run are its interval, no gaps.
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
