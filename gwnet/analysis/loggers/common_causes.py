"""What happens at several wells of a site at once has one cause, and is one finding.

Sensors that share a barometer all step, or all miss their manual readings, by the same length when the air pressure is
wrong. Water that rises at several wells after rain or with a river steps at none of the sensors. So what single
deployments show is compared across the wells of a site before a person reads it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.loggers.channels import LoggerRecord
from gwnet.analysis.loggers.manual_fit import find_misfits
from gwnet.analysis.loggers.sensor_level import SensorLevel, sensor_level
from gwnet.analysis.loggers.suggestion import LoggerFinding
from gwnet.clock import to_instants
from gwnet.constants import LEAST_FAULT_M
from gwnet.hydro.arrays import Floats
from gwnet.hydro.loggers.drift import Installations

if TYPE_CHECKING:
    from gwnet.analysis.loggers.heads import LoggerHeads

RULE: Final = "common cause"

#: Departures of several wells are the same within this share of their median, and at least 3 cm (project default).
_SAME_SHARE: Final = 0.2

#: Another well moves along when it moves by this share of a step, the same way (project default).
_ALONG_SHARE: Final = 0.3

#: ... and by so many times its usual change in three hours (project default).
_ALONG_TIMES_NOISE: Final = 5.0

#: How much of a series is looked at around a step [d]: 200 hours and more.
_NEAR_DAYS: Final = 10

#: Manual readings within this time belong to one visit of the site.
_VISIT: Final = np.timedelta64(36, "h")


@dataclass(frozen=True)
class Seen:
    """What of one deployment is compared with those of other wells.

    Attributes
    ----------
    place : tuple of str
        Site, well, instrument and quantity.
    barometer : str
        Whose air pressure was subtracted; empty for none.
    hour : numpy.ndarray of int64, shape (h,)
        Hours since 1970-01-01 UTC that have a sample, rising.
    level_m : numpy.ndarray of float32, shape (h,)
        Last level at the sensor in each [m].
    manual : pandas.DataFrame
        Manual readings.
    installations : gwnet.hydro.loggers.drift.Installations or None
        What each installation shows; None where only levels are looked at.
    limits : mapping of str to float
        Limits of the checks of the site.
    """

    place: tuple[str, str, str, str]
    barometer: str
    hour: NDArray[np.int64]
    level_m: NDArray[np.float32]
    manual: pd.DataFrame
    installations: Installations | None
    limits: Mapping[str, float]

    def __len__(self) -> int:
        """Return the number of hours."""
        return int(self.hour.size)

    def change_at(self, moment: np.datetime64) -> tuple[float, float]:
        """Return how far the level moves across a moment.

        Parameters as `gwnet.analysis.loggers`.

        Returns
        -------
        tuple of float
            The change from the hour before to the hour after it, and the usual change in as long a time, without a
            sign; NaN where there is no level within six hours [m].
        """
        at = int(moment.astype("datetime64[h]").astype(np.int64))
        before = int(np.searchsorted(self.hour, at, side="left")) - 1
        after = int(np.searchsorted(self.hour, at + 1, side="left"))
        # Hours too far apart show what the water did in between, not a step.
        if before < 0 or after >= self.hour.size or self.hour[after] - self.hour[before] > 6:
            return float("nan"), float("nan")
        near = self.level_m[max(before - 200, 0) : after + 200].astype(np.float64)
        # Over three hours, as is the change across a moment that falls between hours.
        usual = float(np.median(np.abs(near[3:] - near[:-3]))) if near.size > 6 else 0.0
        return float(self.level_m[after]) - float(self.level_m[before]), usual


def look_at(heads: LoggerHeads, limits: Mapping[str, float]) -> Seen:
    """Return what of a deployment is compared with those of other wells; about 12 bytes an hour.

    Parameters
    ----------
    heads : gwnet.analysis.loggers.heads.LoggerHeads
        Heads of the deployment.
    limits : mapping of str to float
        Limits of the checks of the site.

    Returns
    -------
    Seen
        Levels by the hour, and the manual readings.
    """
    return Seen(
        (heads.site, heads.well, heads.instrument, heads.quantity),
        heads.barometer,
        *_by_hour(heads.level),
        heads.manual,
        heads.installations,
        limits,
    )


def look_near(loggers: LoggerRecord, deployments: pd.DataFrame, moment: np.datetime64) -> list[Seen]:
    """Return the levels of deployments around a moment, without manual readings; kept for being asked for again.

    Parameters as `gwnet.analysis.loggers`.

    Parameters
    ----------
    deployments : pandas.DataFrame
        Rows of `gwnet.analysis.loggers.channels.deployments_in`.
    """
    day = pd.Timestamp(moment.astype("datetime64[D]"), tz="UTC")
    low, high = day - pd.Timedelta(days=_NEAR_DAYS), day + pd.Timedelta(days=_NEAR_DAYS + 1)
    seen = []
    for row in deployments.itertuples():
        # A window of days around, so that a deployment of years is not worked out for one step.
        end = high if pd.isna(row.removed_at_utc) else min(row.removed_at_utc, high)
        near = row._replace(installed_at_utc=max(row.installed_at_utc, low), removed_at_utc=end)
        if near.installed_at_utc < near.removed_at_utc:
            found = loggers.near_levels.once((row.deployment_id, day), partial(_near, loggers, near))
            seen += [found] if len(found) else []
    return seen


def _near(loggers: LoggerRecord, row: Any) -> Seen:
    """Return the level of a deployment by the hour; empty where there is none."""
    level = sensor_level(loggers, row)
    nothing = (np.empty(0, np.int64), np.empty(0, np.float32))
    barometer, quantity = ("", "") if level is None else (level.barometer, level.channel.quantity)
    hours = nothing if level is None else _by_hour(level)
    return Seen((row.site, row.well, row.instrument, quantity), barometer, *hours, pd.DataFrame(), None, {})


def _by_hour(level: SensorLevel) -> tuple[NDArray[np.int64], NDArray[np.float32]]:
    """Return the hours that have a sample, and the last level of each."""
    known = (level.out == 0) & ~np.isnan(level.level_m)
    hours = level.channel.time_utc[known].astype("datetime64[h]").astype(np.int64)
    # The last of each hour, so that a change across an hour is of samples before and after it.
    last = np.flatnonzero(np.diff(hours, append=hours[-1] + 1 if hours.size else 0))
    # float32 takes half the memory and holds levels to a tenth of a millimetre.
    return hours[last], level.level_m[known][last].astype(np.float32)


def find_across_wells(seen: Sequence[Seen], findings: Sequence[LoggerFinding]) -> list[LoggerFinding]:
    """Return findings with those of one cause put into one, those of moving water left out, and misfits added.

    Parameters
    ----------
    seen : sequence of Seen
        Every deployment.
    findings : sequence of LoggerFinding
        What each shows by itself.

    Returns
    -------
    list of LoggerFinding
        In no order.
    """
    kept, common = _sort_steps(seen, findings)
    for site, barometer in sorted({(each.place[0], each.barometer) for each in seen}):
        mine = [each for each in seen if (each.place[0], each.barometer) == (site, barometer)]
        common += [finding for _, finding in common_visits(site, barometer, mine)]
    merged = list(_together(common))
    explained = _read_within(merged, seen)
    stepped: dict[str, float] = {}
    for finding in kept:
        if finding.rule in ("step", "slipped cable"):
            size = abs(float(finding.parameters["amount_m"]))
            # The largest step of an instrument explains misfits of its readings up to that length.
            stepped[finding.instrument] = max(size, stepped.get(finding.instrument, 0.0))
    for each in seen:
        if each.installations is None:
            continue
        kept += find_misfits(
            each.place,
            each.manual,
            each.installations,
            each.limits,
            stepped_m=stepped.get(each.place[2], 0.0),
            explained=explained,
        )
    return [*kept, *merged]


def _sort_steps(
    seen: Sequence[Seen], findings: Sequence[LoggerFinding]
) -> tuple[list[LoggerFinding], list[LoggerFinding]]:
    """Return findings without steps that are of the water or of a barometer, and those about barometers."""
    kept: list[LoggerFinding] = []
    common: list[LoggerFinding] = []
    for finding in findings:
        if finding.rule not in ("step", "slipped cable"):
            kept.append(finding)
            continue
        own = next(each for each in seen if each.place[:3] == (finding.site, finding.well, finding.instrument))
        shared, moves_along = compare_step(finding, own.barometer, seen)
        if shared is not None:
            common.append(shared)
        elif finding.rule == "slipped cable" or not moves_along:
            kept.append(finding)
    return kept, common


def _read_within(common: Sequence[LoggerFinding], seen: Sequence[Seen]) -> set[int]:
    """Return the manual readings made while a barometer was off."""
    events: set[int] = set()
    for finding in common:
        for each in seen:
            if (each.place[0], each.barometer) == (finding.site, finding.instrument):
                when = to_instants(each.manual["measured_at_utc"])
                events |= set(
                    each.manual["event_id"][(when >= finding.start_utc) & (when <= finding.end_utc)].astype(int)
                )
    return events


def compare_step(finding: LoggerFinding, barometer: str, seen: Sequence[Seen]) -> tuple[LoggerFinding | None, bool]:
    """Return the common cause of a step, and whether the water of another well moves along with it.

    Parameters
    ----------
    finding : LoggerFinding
        A step of one deployment.
    barometer : str
        Whose air pressure was subtracted there; empty for none.
    seen : sequence of Seen
        Levels of the deployments of the site.

    Returns
    -------
    tuple
        Finding about the barometer, None where the step is not shared; and whether the water moves.
    """
    # A correction takes the step back, so the step is its amount with the other sign.
    size = -float(finding.parameters["amount_m"])
    changes = []
    moves_along = False
    for each in seen:
        # Another series of the same instrument would confirm itself.
        if each.place[0] != finding.site or each.place[2] == finding.instrument:
            continue
        change, usual = each.change_at(finding.start_utc)
        if np.isnan(change):
            continue
        if each.barometer and each.barometer == barometer:
            changes.append((each.place[1], change))
        if change * size > 0 and abs(change) >= max(_ALONG_SHARE * abs(size), _ALONG_TIMES_NOISE * usual):
            moves_along = True
    alike = _are_alike(np.array([size, *(change for _, change in changes)]))
    if not changes or not alike:
        # One well alone cannot show whether its barometer or its sensor stepped.
        return None, moves_along
    wells = sorted({finding.well, *(well for well, _ in changes)})
    message = (
        f"The levels at {', '.join(wells)}, all that this barometer serves then, step by {size:+.3f} m together: the "
        f"air pressure rather than every sensor."
    )
    return _about_barometer(finding.site, barometer, finding.start_utc, finding.end_utc, message, -size), True


def _about_barometer(
    site: str, barometer: str, start: np.datetime64, end: np.datetime64, message: str, off_m: float
) -> LoggerFinding:
    return LoggerFinding(site, "", barometer, "air pressure", RULE, start, end, message, "", {"off_m": round(off_m, 3)})


def _are_alike(lengths: Floats) -> bool:
    """Return whether lengths are the same within what is allowed, and worth a word."""
    middle = float(np.median(lengths))
    allowed = max(LEAST_FAULT_M, _SAME_SHARE * abs(middle))
    return abs(middle) >= LEAST_FAULT_M and bool((np.abs(lengths - middle) <= allowed).all())


def common_visits(site: str, barometer: str, seen: Sequence[Seen]) -> Iterator[tuple[set[int], LoggerFinding]]:
    """Yield visits at which all wells miss by the same length, with the events of the readings.

    Parameters
    ----------
    site, barometer : str
        Site, and whose air pressure was subtracted at its wells.
    seen : sequence of Seen
        Their deployments, with manual readings.

    Yields
    ------
    tuple
        Numbers of the level events, and the finding about the barometer.
    """
    rows = [
        part.assign(well=each.place[1], limit=each.limits["logger_residual_m"])
        for each in seen
        if len(part := _departures(each.manual))
    ]
    if len(rows) < 2:
        return
    table = pd.concat(rows, ignore_index=True)
    when = to_instants(table["measured_at_utc"])
    order = np.argsort(when, kind="stable")
    # A pause longer than a visit begins the next one; rounds over midnight stay one.
    visit = np.cumsum(np.diff(when[order], prepend=when[order[0]]) > _VISIT)
    for number in np.unique(visit):
        mine = table.iloc[order[visit == number]]
        # One departure a well, or a well that was read often would outvote the others.
        departures = mine.groupby("well")["departure_m"].median().to_numpy(dtype=np.float64)
        limit = max(float(mine["limit"].max()), float(mine["uncertainty_m"].max()))
        if departures.size < 2 or abs(np.median(departures)) < limit or not _are_alike(departures):
            continue
        middle = float(np.median(departures))
        cause = f"the air pressure of {barometer}" if barometer else "the tape"
        day = str(mine["measured_at"].iloc[0])[:10]
        message = (
            f"The manual readings of {', '.join(sorted(mine['well'].unique()))} on {day} all stand {middle:+.3f} m off "
            f"their loggers: one cause, {cause} of that day before any drift."
        )
        moments = to_instants(mine["measured_at_utc"])
        finding = _about_barometer(site, barometer, moments.min(), moments.max(), message, middle)
        yield set(mine["event_id"].astype(int)), finding


def _departures(manual: pd.DataFrame) -> pd.DataFrame:
    """Return the readings whose offset departs from the median of three or more of their installation."""
    offsets = manual.groupby("installation")["offset_m"]
    # The median of two readings lies in their middle: both would depart alike.
    enough = (offsets.transform("count") >= 3) & manual["offset_m"].notna()
    departure = manual["offset_m"] - offsets.transform("median")
    return manual.assign(departure_m=departure)[enough]


def _together(common: Sequence[LoggerFinding]) -> Iterator[LoggerFinding]:
    """Yield common causes with those of one barometer that are the same as one: all wells, or there and back."""
    for barometer in sorted({(each.site, each.instrument) for each in common}):
        mine = sorted((c for c in common if (c.site, c.instrument) == barometer), key=lambda each: each.start_utc)
        merged: list[LoggerFinding] = []
        for each in mine:
            if merged and _is_same(merged[-1], each):
                # One cause may show as a step at each of its ends and as readings between: one
                # finding with the whole span.
                merged[-1] = replace(merged[-1], end_utc=max(merged[-1].end_utc, each.end_utc))
            else:
                merged.append(each)
        yield from (replace(each, parameters={}) for each in merged)


def _is_same(before: LoggerFinding, each: LoggerFinding) -> bool:
    """Return whether a finding is that before it: the same moment, or the way back of the same length."""
    off, other = (float(finding.parameters["off_m"]) for finding in (before, each))
    soon = each.start_utc - before.end_utc <= np.timedelta64(14, "D")
    return bool(soon and _are_alike(np.abs([off, other])))
