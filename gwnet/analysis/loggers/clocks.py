"""Clocks of loggers compared with those of their barometers: wrong zones, and jumps such as summer time.

Changes are compared, less the mean course of the day, because whatever only repeats agrees a day later as well; that no
shift can be determined is an answer. A jump is placed where a file or summer time starts within the bracket, since
loggers are set at visits.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from gwnet.analysis.loggers.channels import Channel, LoggerRecord
from gwnet.analysis.loggers.correction_history import instant
from gwnet.analysis.loggers.heads import LoggerHeads
from gwnet.analysis.loggers.sensor_level import barometer_channel
from gwnet.analysis.loggers.suggestion import LoggerFinding, around, at
from gwnet.clock import offset_minutes
from gwnet.hydro.arrays import Floats
from gwnet.hydro.loggers.clock_shift import ClockJump, ClockShift, find_clock_jumps, find_clock_shift

#: Shifts shorter than this are no wrong zone and not told [s].
_LEAST_S: Final = 900.0

_NAT: Final = np.datetime64("NaT", "us")


@dataclass(frozen=True)
class _Compared:
    """One sensor beside its barometer, while its samples are at hand."""

    one: LoggerHeads
    air: Channel
    shift: ClockShift
    jumps: Sequence[ClockJump]


@dataclass(frozen=True)
class Clock:
    """What the clock of one deployment shows beside that of its barometer; no samples.

    Attributes
    ----------
    site, well, instrument : str
        What hung where.
    shift : gwnet.hydro.loggers.clock_shift.ClockShift
        Shift over the whole deployment.
    jumped : bool
        Whether the clock jumped on the way.
    told : tuple of LoggerFinding
        Findings about the sensor, should the barometer not be at fault.
    of_barometer : LoggerFinding
        Finding about the barometer, should all its sensors share the shift; its message names no wells yet.
    """

    site: str
    well: str
    instrument: str
    shift: ClockShift
    jumped: bool
    told: tuple[LoggerFinding, ...]
    of_barometer: LoggerFinding


def clock_of(record: LoggerRecord, one: LoggerHeads) -> Clock | None:
    """Return what the clock of one deployment shows.

    Parameters
    ----------
    record : gwnet.analysis.loggers.channels.LoggerRecord
        What is on record.
    one : LoggerHeads
        Heads of the deployment.

    Returns
    -------
    Clock or None
        None where it reads no absolute pressure, or no barometer is beside it.
    """
    each = _compared(record, one)
    if each is None:
        return None
    told = _of_jumps(record, each) if each.jumps else _of_shift(record, each)
    return Clock(one.site, one.well, one.instrument, each.shift, bool(each.jumps), tuple(told), _of_barometer(each))


def clock_findings(clocks: Iterable[Clock]) -> Iterator[LoggerFinding]:
    """Yield what the clocks of absolute sensors show beside those of their barometers.

    Parameters
    ----------
    clocks : iterable of Clock
        Clocks of deployments, from `clock_of`.

    Yields
    ------
    LoggerFinding
        A clock shift for each span whose clock stands apart by a quarter of an hour or more. Where all sensors of one
        barometer stand apart by the same time, it is the barometer's clock that is told.
    """
    compared = list(clocks)
    for barometer in sorted({each.of_barometer.instrument for each in compared}):
        mine = [each for each in compared if each.of_barometer.instrument == barometer]
        shared = _shared_shift(mine)
        if shared is not None:
            yield _shared_finding(mine, shared)
            continue
        for each in mine:
            yield from each.told


def _compared(record: LoggerRecord, one: LoggerHeads) -> _Compared | None:
    channel = one.level.channel
    if channel.quantity != "absolute pressure" or not one.barometer:
        return None
    air = barometer_channel(record, one.barometer, channel.time_utc)
    if air is None:
        return None
    arguments = (channel.time_utc, _included(channel), air.time_utc, _included(air))
    return _Compared(one, air, find_clock_shift(*arguments), find_clock_jumps(*arguments))


def _included(channel: Channel) -> Floats:
    """Return the values that nobody excluded."""
    return np.where(channel.correction_history.excluded(channel.time_utc) == 0, channel.value, np.nan)


def _stands_apart(shift: ClockShift) -> bool:
    return shift.determined and abs(shift.shift_s) >= max(_LEAST_S, shift.step_s)


def _shared_shift(mine: Sequence[Clock]) -> float | None:
    """Return the shift that two or more sensors of one barometer share throughout; None for none."""
    told = [each.shift for each in mine if each.shift.determined and not each.jumped]
    shifts = {shift.shift_s for shift in told}
    several = len({each.instrument for each in mine}) > 1 and len(told) == len(mine)
    return shifts.pop() if several and len(shifts) == 1 and _stands_apart(told[0]) else None


def _hours(seconds: float) -> str:
    return f"{seconds / 3600:+.4g} h"


def _of_barometer(each: _Compared) -> LoggerFinding:
    """Return the finding about a barometer without what only all its sensors together tell."""
    air = each.air
    return LoggerFinding(
        each.one.site, "", air.instrument, air.quantity, "clock", air.time_utc[0], air.time_utc[-1], "", "clock shift"
    )


def _shared_finding(mine: Sequence[Clock], shift_s: float) -> LoggerFinding:
    """Return the finding about a barometer whose sensors all share a shift."""
    finding = mine[0].of_barometer
    wells = ", ".join(sorted({each.well for each in mine}))
    message = (
        f"The times of barometer {finding.instrument} agree with those of all its sensors ({wells}) only when moved by "
        f"{_hours(-shift_s)}; one clock is more likely wrong than all."
    )
    return replace(finding, message=message, parameters={"seconds": -shift_s})


def _of_shift(record: LoggerRecord, each: _Compared) -> Iterator[LoggerFinding]:
    if not _stands_apart(each.shift):
        return
    message = (
        f"All times agree with those of barometer {each.air.instrument} only when moved by "
        f"{_hours(each.shift.shift_s)} ({each.shift.why}): a wrong zone, here or there."
    )
    yield _finding(record, each, message, each.shift.shift_s, 0, len(each.one.level.channel))


def _of_jumps(record: LoggerRecord, each: _Compared) -> Iterator[LoggerFinding]:
    """Yield one finding for each span between jumps whose clock stands apart."""
    channel = each.one.level.channel
    edges = [0, *(_place_of(record, each, jump) for jump in each.jumps), len(channel)]
    shifts = [each.jumps[0].before, *(jump.after for jump in each.jumps)]
    for number, shift in enumerate(shifts):
        first, end = edges[number], edges[number + 1]
        if not _stands_apart(shift) or end <= first:
            continue
        message = (
            f"Times from {at(channel.file_time_utc[first])} on agree with those of barometer {each.air.instrument} "
            f"only when moved by {_hours(shift.shift_s)} ({shift.why}), others as they are"
            f"{_said_of(record, each, first)}."
        )
        yield _finding(record, each, message, shift.shift_s, first, end)


def _finding(
    record: LoggerRecord, each: _Compared, message: str, shift_s: float, first: int, end: int
) -> LoggerFinding:
    """Return a finding about the samples from a first one to before an end, with the shift over just these."""
    one = each.one
    when = one.level.channel.file_time_utc
    begins, ends = _edges_of_deployment(record, one, shift_s)
    if first > 0:
        begins, _ = around(when[first], when[first])
    if end < when.size:
        _, ends = around(when[end - 1], when[end - 1])
    return LoggerFinding(
        one.site,
        one.well,
        one.instrument,
        one.quantity,
        "clock",
        when[first],
        when[end - 1],
        message,
        "clock shift",
        {"seconds": shift_s},
        begins,
        ends,
    )


def _edges_of_deployment(record: LoggerRecord, one: LoggerHeads, shift_s: float) -> tuple[np.datetime64, np.datetime64]:
    """Return when a deployment begins and ends by such a clock; open where the sensor hung nowhere else."""
    rows = record.deployments[record.deployments["instrument"] == one.instrument]
    mine = rows[rows["deployment_id"] == one.deployment_id].iloc[0]
    shift = np.timedelta64(round(shift_s), "s")
    earlier = (rows["installed_at_utc"] < mine["installed_at_utc"]).any()
    later = (rows["installed_at_utc"] > mine["installed_at_utc"]).any()
    return (
        instant(mine["installed_at_utc"]) - shift if earlier else _NAT,
        instant(mine["removed_at_utc"]) - shift if later else _NAT,
    )


def _place_of(record: LoggerRecord, each: _Compared, jump: ClockJump) -> int:
    """Return the sample at which a jump is put: where a file or summer time starts near by, else as found."""
    channel = each.one.level.channel
    found = int(np.searchsorted(channel.time_utc, jump.moment_utc))
    likely = [*_file_starts(record, channel), *_zone_changes(record, each)]
    inside = [
        place
        for place in likely
        if 0 < place < len(channel) and jump.earliest_utc <= channel.time_utc[place] <= jump.latest_utc
    ]
    return min(inside, key=lambda place: abs(place - found), default=found)


def _file_starts(record: LoggerRecord, channel: Channel) -> list[int]:
    """Return the places of samples at which a download starts."""
    rows = record.downloads
    rows = rows[(rows["instrument"] == channel.instrument) & (rows["quantity"] == channel.quantity)]
    starts = rows["first_utc"].dropna().dt.tz_localize(None).to_numpy(dtype="datetime64[us]")
    return [int(place) for place in np.searchsorted(channel.file_time_utc, starts)]


def _zone_changes(record: LoggerRecord, each: _Compared) -> list[int]:
    """Return the places of samples at which the clocks of the site change."""
    zones = record.sites.set_index("site")["time_zone"]
    when = each.one.level.channel.file_time_utc
    offsets = offset_minutes(when, str(zones[each.one.site]))
    return [int(place) + 1 for place in np.flatnonzero(np.diff(offsets))]


def _said_of(record: LoggerRecord, each: _Compared, place: int) -> str:
    """Return what happens at the start of a span, where something does."""
    if place and place in _zone_changes(record, each):
        return ": the day on which local clocks change"
    return ": a new file starts there" if place and place in _file_starts(record, each.one.level.channel) else ""
