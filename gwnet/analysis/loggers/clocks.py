"""Clocks of loggers compared with those of their barometers: wrong zones, and jumps such as summer time.

Changes are compared, less the mean course of the day, because whatever only repeats agrees a day later as well; that no
shift can be determined is an answer. A jump is placed where a file or summer time starts within the bracket, since
loggers are set at visits.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from gwnet.analysis.loggers.barometers import barometer_channel
from gwnet.analysis.loggers.channels import Channel, LoggerRecord
from gwnet.analysis.loggers.suggestion import NAT, LoggerFinding, describe_moment, span_around
from gwnet.clock import offset_minutes, to_instant, to_instants
from gwnet.hydro.arrays import Floats
from gwnet.hydro.loggers.clock_shift import ClockJump, ClockShift, find_clock_jumps, find_clock_shift

if TYPE_CHECKING:
    from gwnet.analysis.loggers.heads import LoggerHeads

#: Shifts shorter than this are no wrong zone and not reported [s].
_LEAST_S: Final = 900.0


@dataclass(frozen=True)
class _Compared:
    """One sensor beside its barometer, while its samples are at hand."""

    heads: LoggerHeads
    air: Channel
    shift: ClockShift
    jumps: Sequence[ClockJump]


@dataclass(frozen=True)
class Clock:
    """What the clock of one deployment shows beside that of its barometer; no samples.

    Attributes
    ----------
    site, well, instrument : str
        What was installed where.
    shift : gwnet.hydro.loggers.clock_shift.ClockShift
        Shift over the whole deployment.
    has_jumped : bool
        Whether the clock jumped on the way.
    findings : tuple of LoggerFinding
        Findings about the sensor, should the barometer not be at fault.
    of_barometer : LoggerFinding
        Finding about the barometer, should all its sensors share the shift; its message names no wells yet.
    """

    site: str
    well: str
    instrument: str
    shift: ClockShift
    has_jumped: bool
    findings: tuple[LoggerFinding, ...]
    of_barometer: LoggerFinding


def compare_clock(loggers: LoggerRecord, heads: LoggerHeads) -> Clock | None:
    """Return what the clock of one deployment shows; kept for being asked for again.

    Parameters
    ----------
    loggers : gwnet.analysis.loggers.channels.LoggerRecord
        What is on record.
    heads : LoggerHeads
        Heads of the deployment.

    Returns
    -------
    Clock or None
        None where it reads no absolute pressure, or no barometer is beside it.
    """
    if heads.deployment_id not in loggers.clocks:
        loggers.clocks[heads.deployment_id] = _look_at_clock(loggers, heads)
    clock: Clock | None = loggers.clocks[heads.deployment_id]
    return clock


def _look_at_clock(loggers: LoggerRecord, heads: LoggerHeads) -> Clock | None:
    each = _compare(loggers, heads)
    if each is None:
        return None
    findings = _of_jumps(loggers, each) if each.jumps else _of_shift(loggers, each)
    place = (heads.site, heads.well, heads.instrument)
    # without samples: those of a whole network would not fit into memory at once
    return Clock(*place, each.shift, bool(each.jumps), tuple(findings), _of_barometer(each))


def find_clock_errors(clocks: Iterable[Clock]) -> Iterator[LoggerFinding]:
    """Yield what the clocks of absolute sensors show beside those of their barometers.

    Parameters
    ----------
    clocks : iterable of Clock
        Clocks of deployments, from `compare_clock`.

    Yields
    ------
    LoggerFinding
        A clock shift for each span whose clock differs by a quarter of an hour or more. Where all sensors of one
        barometer differ by the same time, the finding is about the barometer's clock.
    """
    compared = list(clocks)
    for barometer in sorted({each.of_barometer.instrument for each in compared}):
        mine = [each for each in compared if each.of_barometer.instrument == barometer]
        shared = _shared_shift(mine)
        if shared is not None:
            yield _shared_finding(mine, shared)
            continue
        for each in mine:
            yield from each.findings


def _compare(loggers: LoggerRecord, heads: LoggerHeads) -> _Compared | None:
    channel = heads.level.channel
    if channel.quantity != "absolute pressure" or not heads.barometer:
        return None
    air = barometer_channel(loggers, heads.barometer, channel.time_utc)
    if air is None:
        return None
    arguments = (channel.time_utc, _included(channel), air.time_utc, _included(air))
    # A file that begins at the end of the span has no sample here.
    places = [place for place in _file_starts(loggers, channel) if place < len(channel)]
    jumps = find_clock_jumps(*arguments, starts_utc=channel.time_utc[places])
    return _Compared(heads, air, find_clock_shift(*arguments), jumps)


def _included(channel: Channel) -> Floats:
    """Return the values that nobody excluded."""
    return np.where(channel.correction_history.find_exclusions(channel.time_utc) == 0, channel.value, np.nan)


def _is_wrong(shift: ClockShift) -> bool:
    # A shift smaller than the step is one that the interval cannot show.
    return shift.determined and abs(shift.shift_s) >= max(_LEAST_S, shift.step_s)


def _shared_shift(mine: Sequence[Clock]) -> float | None:
    """Return the shift that two or more sensors of one barometer share throughout; None for none."""
    # A sensor whose clock jumped shows two shifts, and says nothing of the barometer's.
    known = [each.shift for each in mine if each.shift.determined and not each.has_jumped]
    shifts = {shift.shift_s for shift in known}
    several = len({each.instrument for each in mine}) > 1 and len(known) == len(mine)
    # All and not most of them: a single sensor that agrees with the barometer clears it.
    return shifts.pop() if several and len(shifts) == 1 and _is_wrong(known[0]) else None


def _hours(seconds: float) -> str:
    return f"{seconds / 3600:+.4g} h"


def _of_barometer(each: _Compared) -> LoggerFinding:
    """Return the finding about a barometer without what only all its sensors together show."""
    air = each.air
    place = (each.heads.site, "", air.instrument, air.quantity)
    # Up to after the last sample, so that a file loaded later has a clock of its own.
    _, ends = span_around(air.file_time_utc[-1], air.file_time_utc[-1])
    return LoggerFinding(*place, "clock", air.time_utc[0], air.time_utc[-1], "", "clock shift", to_utc=ends)


def _shared_finding(mine: Sequence[Clock], shift_s: float) -> LoggerFinding:
    """Return the finding about a barometer whose sensors all share a shift."""
    finding = mine[0].of_barometer
    wells = ", ".join(sorted({each.well for each in mine}))
    message = (
        f"The times of barometer {finding.instrument} agree with those of all its sensors ({wells}) only when moved by "
        f"{_hours(-shift_s)}; one clock is more likely wrong than all."
    )
    ends = max(each.of_barometer.to_utc for each in mine)
    return replace(finding, message=message, parameters={"seconds": -shift_s}, to_utc=ends)


def _of_shift(loggers: LoggerRecord, each: _Compared) -> Iterator[LoggerFinding]:
    if not _is_wrong(each.shift):
        return
    message = (
        f"All times agree with those of barometer {each.air.instrument} only when moved by "
        f"{_hours(each.shift.shift_s)} ({each.shift.why}): a wrong zone, here or there."
    )
    yield _finding(loggers, each, message, each.shift.shift_s, 0, len(each.heads.level.channel))


def _of_jumps(loggers: LoggerRecord, each: _Compared) -> Iterator[LoggerFinding]:
    """Yield one finding for each span between jumps whose clock stands apart."""
    channel = each.heads.level.channel
    edges = [0, *(_place_of(loggers, each, jump) for jump in each.jumps), len(channel)]
    shifts = [each.jumps[0].before, *(jump.after for jump in each.jumps)]
    for number, shift in enumerate(shifts):
        first, end = edges[number], edges[number + 1]
        # Between two jumps the clock may be right; only spans that are off are reported.
        if not _is_wrong(shift) or end <= first:
            continue
        message = (
            f"Times from {describe_moment(channel.file_time_utc[first])} on agree with those of barometer "
            f"{each.air.instrument} only when moved by {_hours(shift.shift_s)} ({shift.why}), others as they are"
            f"{_describe_start(loggers, each, first)}."
        )
        yield _finding(loggers, each, message, shift.shift_s, first, end)


def _finding(
    loggers: LoggerRecord, each: _Compared, message: str, shift_s: float, first: int, end: int
) -> LoggerFinding:
    """Return a finding about the samples from a first one to before an end, with the shift over just these."""
    heads = each.heads
    when = heads.level.channel.file_time_utc
    begins, ends = _edges_of_deployment(loggers, heads, shift_s)
    # A jump inside begins at its first sample; at the ends the deployment says how far the clock reaches.
    if first > 0:
        begins, _ = span_around(when[first], when[first])
    if end < when.size:
        _, ends = span_around(when[end - 1], when[end - 1])
    return LoggerFinding(
        heads.site,
        heads.well,
        heads.instrument,
        heads.quantity,
        "clock",
        when[first],
        when[end - 1],
        message,
        "clock shift",
        {"seconds": shift_s},
        begins,
        ends,
    )


def _edges_of_deployment(
    loggers: LoggerRecord, heads: LoggerHeads, shift_s: float
) -> tuple[np.datetime64, np.datetime64]:
    """Return when a deployment begins and ends by such a clock; open where it is the sensor's first.

    One that goes on ends after its last sample: the clock of a file that is loaded later may be right.
    """
    rows = loggers.deployments_of(heads.instrument)
    mine = rows[rows["deployment_id"] == heads.deployment_id].iloc[0]
    shift = np.timedelta64(round(shift_s), "s")
    earlier = (rows["installed_at_utc"] < mine["installed_at_utc"]).any()
    removed = to_instant(mine["removed_at_utc"])
    last = heads.level.channel.file_time_utc[-1]
    return (
        to_instant(mine["installed_at_utc"]) - shift if earlier else NAT,
        span_around(last, last)[1] if np.isnat(removed) else removed - shift,
    )


def _place_of(loggers: LoggerRecord, each: _Compared, jump: ClockJump) -> int:
    """Return the sample at which a jump is put: where a file or summer time starts near by, else as found."""
    channel = each.heads.level.channel
    place_found = int(np.searchsorted(channel.time_utc, jump.moment_utc))
    likely = [*_file_starts(loggers, channel), *_zone_changes(loggers, each)]
    inside = [
        place
        for place in likely
        if 0 < place < len(channel) and jump.earliest_utc <= channel.time_utc[place] <= jump.latest_utc
    ]
    # Loggers are set at visits and at changes of summer time, so such a moment near by is likelier than the best fit.
    return min(inside, key=lambda place: abs(place - place_found), default=place_found)


def _file_starts(loggers: LoggerRecord, channel: Channel) -> list[int]:
    """Return the places of samples at which a download starts."""
    starts = to_instants(loggers.downloads_of(channel)["first_utc"].dropna())
    return [int(place) for place in np.searchsorted(channel.file_time_utc, starts)]


def _zone_changes(loggers: LoggerRecord, each: _Compared) -> list[int]:
    """Return the places of samples at which the clocks of the site change."""
    when = each.heads.level.channel.file_time_utc
    offsets = offset_minutes(when, loggers.zone_of(each.heads.site))
    # The first sample after the change.
    return [int(place) + 1 for place in np.flatnonzero(np.diff(offsets))]


def _describe_start(loggers: LoggerRecord, each: _Compared, place: int) -> str:
    """Return what happens at the start of a span, where something does."""
    if place and place in _zone_changes(loggers, each):
        return ": the day on which local clocks change"
    return ": a new file starts there" if place and place in _file_starts(loggers, each.heads.level.channel) else ""
