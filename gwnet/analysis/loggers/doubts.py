"""Which samples give no level because a serious finding about them is open: decided here and nowhere else.

Spikes and odd ends are taken out before anchoring (`gwnet.analysis.loggers.sensor_state`). What is decided here needs
the anchored levels: steps, clocks and drift. A correction of the finding makes it go away; the correction ``keep``
dismisses it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.checks.limits import limits_of
from gwnet.analysis.loggers.channels import LoggerRecord, deployments_in
from gwnet.analysis.loggers.clocks import compare_clock
from gwnet.analysis.loggers.common_causes import common_visits, compare_step, look_at, look_near
from gwnet.analysis.loggers.correction_history import IN_DOUBT, OUT_REASONS
from gwnet.analysis.loggers.finding_rules import step_finding
from gwnet.analysis.loggers.level_faults import OpenSteps, find_open_steps, is_corrected_at
from gwnet.analysis.loggers.manual_fit import find_misfits
from gwnet.clock import to_instants
from gwnet.hydro.arrays import Instants

if TYPE_CHECKING:
    from gwnet.analysis.loggers.heads import LoggerHeads

#: The number of each reason that is given here.
_CODE: Final = {rule: OUT_REASONS.index(reason) for rule, reason in IN_DOUBT.items()}

#: Steps come back when together they are within this share of the largest (project default).
_BACK_SHARE: Final = 0.25


def find_doubts(
    loggers: LoggerRecord, heads: LoggerHeads, beside: Callable[[], Sequence[LoggerHeads]]
) -> NDArray[np.uint8]:
    """Return which samples of a deployment give no level until somebody decides about a finding.

    Parameters
    ----------
    loggers : gwnet.analysis.loggers.channels.LoggerRecord
        What is on record.
    heads : gwnet.analysis.loggers.heads.LoggerHeads
        Heads over the whole deployment, nothing of this kind taken out yet.
    beside : callable
        Gives such heads of the other deployments of the same site and barometer; called where drift is suspected.

    Returns
    -------
    numpy.ndarray of uint8, shape (n,)
        Place in `OUT_REASONS`; 0 for none.

    Notes
    -----
    A step that nobody explained leaves in doubt what was anchored across it: the samples between the manual readings
    on its two sides; with a reading before it alone those after it, with one after it alone those before it; with
    none those after it. Steps that come back leave what is between them in doubt. One that is smaller than the
    uncertainty of readings, sensor and air pressure does not matter, nor one that the water of another well shares. A
    clock leaves its span in doubt, drift the samples that no two manual readings enclose, unless a reading that does
    not fit the others makes it. Project default.
    """
    codes = np.zeros(len(heads), dtype=np.uint8)
    limits = limits_of(loggers.record.of_site(heads.site).settings)[0]
    steps = find_open_steps(heads, tolerance_m=limits["logger_residual_m"])
    # Teeth of a saw are pumping or a failing sensor; they are not taken for a shift.
    stepped_m = float(np.abs(steps.size_m[~steps.teeth]).max(initial=0.0))
    # In this order a clock replaces drift, and a step both: the reason given is the last.
    for span in _drifting(heads, limits, stepped_m, beside):
        codes[span] = _CODE["drift"]
    for first, last in _wrong_clocks(loggers, heads):
        when = heads.level.channel.file_time_utc
        codes[(when >= first) & (when <= last)] = _CODE["clock"]
    for rule, span in _stepped(loggers, heads, steps):
        codes[span] = _CODE[rule]
    # A sample that is out already keeps its own reason.
    codes[heads.out != 0] = 0
    return codes


def _stepped(loggers: LoggerRecord, heads: LoggerHeads, steps: OpenSteps) -> Iterator[tuple[str, NDArray[np.bool_]]]:
    """Yield the samples that open steps leave in doubt."""
    kept = [number for number in np.flatnonzero(~steps.teeth).tolist() if _matters(loggers, heads, steps, number)]
    read, of_reading, of_sample = _readings(heads)
    groups: dict[tuple[int, int, int], list[int]] = {}
    for number in kept:
        place = int(steps.place[number])
        mine = np.sort(read[of_reading == of_sample[place]])
        # Steps between the same two manual readings are judged together: only their sum shows at the readings.
        after = int(np.searchsorted(mine, heads.time_utc[place]))
        groups.setdefault((int(of_sample[place]), after, mine.size), []).append(number)
    for (installation, after, count), members in groups.items():
        mine = np.sort(read[of_reading == installation])
        first, last = (heads.time_utc[steps.place[members[edge]]] for edge in (0, -1))
        sizes = steps.size_m[members]
        # A sensor lifted and put back leaves levels on both sides sound.
        comes_back = len(members) > 1 and abs(float(sizes.sum())) <= _BACK_SHARE * float(np.abs(sizes).max())
        low, high = heads.time_utc[0], heads.time_utc[-1]
        if comes_back:
            # Half-open ends become the microsecond before, as the mask below includes both ends.
            low, high = first, last - np.timedelta64(1, "us")
        elif 0 < after < count and not _is_constant(heads):
            low, high = mine[after - 1], mine[after]
        elif after == count:
            low = first
        elif after == 0:
            high = last - np.timedelta64(1, "us")
        rule = "slipped cable" if steps.is_of_sensor[members].any() else "step"
        yield rule, (of_sample == installation) & (heads.time_utc >= low) & (heads.time_utc <= high)


def _matters(loggers: LoggerRecord, heads: LoggerHeads, steps: OpenSteps, number: int) -> bool:
    """Return whether a step is larger than the uncertainty of the heads, is not of water, and nobody dismissed it."""
    place = int(steps.place[number])
    if is_corrected_at(heads, place, "step", "scale"):
        return False  # a person moved the level there; that it steps now stays a finding
    parts = heads.anchored.parts
    # how well the sensor held is left out: the step itself has made that what it is
    known = [float(parts[name][place]) for name in ("manual_m", "sensor_m", "air_m", "hanging_m")]
    if heads.anchored.by_hanging_depth[place]:
        known.append(float(parts["hold_m"][place]))
    if abs(float(steps.size_m[number])) <= float(np.linalg.norm(known)):
        return False
    finding = step_finding(heads, steps, number)
    beside = look_near(loggers, _rows_of_site(loggers, heads.site), finding.start_utc)
    shared, moves_along = compare_step(finding, heads.barometer, beside)
    if shared is None:
        return bool(steps.is_of_sensor[number]) or not moves_along
    history = loggers.correction_history(shared.instrument, shared.quantity)
    return not history.is_dismissed(shared.rule, shared.start_utc, shared.end_utc)


def _rows_of_site(loggers: LoggerRecord, site: str) -> pd.DataFrame:
    rows = deployments_in(loggers.record)
    return rows[(rows["site"] == site) & (rows["kind"] != "barometer")]


def _is_constant(heads: LoggerHeads) -> bool:
    """Return whether manual readings on both sides of a step are averaged, so that the step is everywhere."""
    return not any("linear between" in step for step in heads.anchored.steps)


def _readings(heads: LoggerHeads) -> tuple[Instants, NDArray[np.int64], NDArray[np.int64]]:
    """Return when manual readings anchor, their installations, and that of each sample."""
    anchors = heads.manual[heads.manual["offset_m"].notna()]
    restarts = np.sort(heads.level.channel.correction_history.restarts())
    of_sample = np.searchsorted(restarts, heads.time_utc, side="right").astype(np.int64)
    read = to_instants(anchors["measured_at_utc"])
    return read, np.searchsorted(restarts, read, side="right").astype(np.int64), of_sample


def _wrong_clocks(loggers: LoggerRecord, heads: LoggerHeads) -> Iterator[tuple[np.datetime64, np.datetime64]]:
    """Yield the spans, by the clock of the file, of which the clock is in doubt."""
    clock = compare_clock(loggers, heads)
    if clock is None:
        return
    of_barometer = clock.of_barometer
    air = loggers.correction_history(of_barometer.instrument, of_barometer.quantity)
    if air.is_dismissed("clock", of_barometer.start_utc, of_barometer.end_utc):
        return
    for finding in clock.findings:
        if not heads.level.channel.correction_history.is_dismissed("clock", finding.start_utc, finding.end_utc):
            yield finding.start_utc, finding.end_utc


def _drifting(
    heads: LoggerHeads,
    limits: dict[str, float],
    stepped_m: float,
    beside: Callable[[], Sequence[LoggerHeads]],
) -> Iterator[NDArray[np.bool_]]:
    """Yield the samples of drifting installations that no two manual readings enclose."""
    # Other wells are worked out only where drift shows at all.
    if not list(_drifts(heads, limits, stepped_m, set())):
        return
    seen = [look_at(heads, limits), *(look_at(each, limits) for each in beside())]
    explained = {event for events, _ in common_visits(heads.site, heads.barometer, seen) for event in events}
    read, of_reading, of_sample = _readings(heads)
    for finding in _drifts(heads, limits, stepped_m, explained):
        if heads.level.channel.correction_history.is_dismissed("drift", finding.start_utc, finding.end_utc):
            continue
        mine = (heads.time_utc >= finding.start_utc) & (heads.time_utc <= finding.end_utc)
        readings = np.sort(read[np.isin(of_reading, of_sample[mine])])
        if readings.size and not _is_constant(heads):
            # Between the readings the linear correction has taken the drift out.
            mine &= (heads.time_utc < readings[0]) | (heads.time_utc > readings[-1])
        yield mine


def _drifts(heads: LoggerHeads, limits: dict[str, float], stepped_m: float, explained: set[int]) -> Iterator[Any]:
    place = (heads.site, heads.well, heads.instrument, heads.quantity)
    found = list(
        find_misfits(place, heads.manual, heads.installations, limits, stepped_m=stepped_m, explained=explained)
    )
    misfits = [finding.start_utc for finding in found if finding.rule == "manual reading"]
    # a reading that does not fit comes first: without it there may be no drift
    return (
        finding
        for finding in found
        if finding.rule == "drift" and not any(finding.start_utc <= each <= finding.end_utc for each in misfits)
    )
