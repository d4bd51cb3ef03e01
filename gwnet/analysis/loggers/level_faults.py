"""Spikes, odd ends and steps of the level at one sensor; the findings and the heads that they keep out are of the same.

Each is worked out once, from the level with the corrections on record applied, so that what was acted on is gone. What
a person dismissed is left out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from gwnet.analysis.loggers.correction_history import OUT_REASONS
from gwnet.analysis.loggers.sensor_level import SensorLevel
from gwnet.clock import to_instant, to_instants
from gwnet.hydro.arrays import MICROSECONDS, Floats, Instants
from gwnet.hydro.loggers.dense_series import usual_interval_s
from gwnet.hydro.loggers.faults import (
    Spikes,
    Steps,
    confirm_steps,
    find_odd_ends,
    find_saw_tooth,
    find_spikes,
    find_steps,
)

if TYPE_CHECKING:
    from gwnet.analysis.loggers.heads import LoggerHeads

#: How long after the rate of a pumping test changed a step is of the water [s] (project default).
_AFTER_SWITCH_S: Final = 3600.0

_NO_AIR: Final = OUT_REASONS.index("no air pressure")


@dataclass(frozen=True)
class LevelFaults:
    """What the level at one sensor shows.

    Attributes
    ----------
    spikes, ends : gwnet.hydro.loggers.faults.Spikes
        Samples that stand off both neighbours, and those at the ends of runs that stand off the samples beside them.
    steps : gwnet.hydro.loggers.faults.Steps
        Changes that stay.
    cleaned_m : numpy.ndarray, shape (n,)
        The level without spikes, odd ends and samples that did not measure the water [m].
    """

    spikes: Spikes
    ends: Spikes
    steps: Steps
    cleaned_m: Floats

    def outliers(self) -> tuple[tuple[str, int, int, float], ...]:
        """Return spikes and odd ends: rule, places of the first and last sample, and how far they stand off [m]."""
        return tuple(
            (rule, int(first), int(last), float(size))
            for rule, part in (("spike", self.spikes), ("end of a file", self.ends))
            for first, last, size in zip(part.first, part.last, part.size, strict=True)
        )


@dataclass(frozen=True)
class OpenSteps:
    """Steps that nothing on record explains.

    Attributes
    ----------
    place : numpy.ndarray of int64, shape (k,)
        First sample after each.
    size_m : numpy.ndarray, shape (k,)
        Size of each [m].
    is_of_sensor : numpy.ndarray of bool, shape (k,)
        Whether manual readings show that the sensor moved.
    moved_m : numpy.ndarray, shape (k,)
        How far the offsets of manual readings moved across it; NaN for none on one side [m].
    teeth : numpy.ndarray of bool, shape (k,)
        Whether it is one of the teeth of a saw.
    """

    place: NDArray[np.int64]
    size_m: Floats
    is_of_sensor: NDArray[np.bool_]
    moved_m: Floats
    teeth: NDArray[np.bool_]


def find_level_faults(
    level: SensorLevel, gone: NDArray[np.bool_], *, least_m: float, switched: Instants | None = None
) -> LevelFaults:
    """Return spikes, odd ends and steps of the level at a sensor.

    Parameters
    ----------
    level : gwnet.analysis.loggers.sensor_level.SensorLevel
        Level at the sensor.
    gone : numpy.ndarray of bool, shape (n,)
        Samples that did not measure the water.
    least_m : float
        Smaller ones are not looked at [m].
    switched : numpy.ndarray of datetime64[us], optional
        When rates of pumping tests of the site changed. A step within an hour after that, or within three intervals of
        the sensor where that is longer, is of the water and no fault (project default).

    Notes
    -----
    The ends of an absolute sensor are looked at as they are where they have no air pressure, all of it where it has
    none at all: air does not jump either.
    """
    channel, when = level.channel, level.channel.time_utc
    interval = usual_interval_s(when)
    # Three intervals, as one lost sample is no gap across which the water had time to move.
    longest_gap_s = 3 * interval if interval == interval else 0.0
    cleaned = np.where(gone | (level.out > 0) | np.isnan(channel.value), np.nan, level.level_m)
    without_air = np.isnan(cleaned) & ~gone & (level.out == _NO_AIR)
    # By the median, as density changes along the series by parts in ten thousand only.
    raw = np.where(gone, np.nan, channel.value) * float(np.nanmedian(level.metres_per_pascal()))
    if np.isnan(cleaned).all() and channel.quantity == "absolute pressure":
        cleaned, without_air = raw, np.zeros(raw.size, dtype=bool)
    spikes, ends = _outliers(when, cleaned, longest_gap_s, least_m)
    if without_air.any():
        # ends alone: single samples at the sensor's limit look like spikes where no air is taken off
        ends = _joined(ends, _outliers(when, raw, longest_gap_s, least_m)[1], without_air)
    steps = find_steps(when, cleaned, longest_gap_s=longest_gap_s)
    big = np.abs(steps.size) >= least_m
    # A step may be a slipped cable as well: dismissing either dismisses both.
    big &= ~np.array([_is_dismissed(level, ("step", "slipped cable"), at, at) for at in steps.place], dtype=bool)
    if switched is not None and switched.size:
        # A pump that was switched moves the water in steps, as it should.
        big &= ~_follows(when[steps.place], switched, max(longest_gap_s, _AFTER_SWITCH_S))
    return LevelFaults(
        _without_dismissed(level, "spike", spikes),
        _without_dismissed(level, "end of a file", ends),
        Steps(steps.place[big], steps.size[big], steps.limit[big]),
        cleaned,
    )


def find_open_steps(heads: LoggerHeads, *, tolerance_m: float) -> OpenSteps:
    """Return the steps of a deployment that neither manual readings nor the record explain.

    Parameters
    ----------
    heads : gwnet.analysis.loggers.heads.LoggerHeads
        Heads over the whole deployment.
    tolerance_m : float
        What manual readings and sensor may disagree by [m].
    """
    steps = heads.state.faults.steps
    verdict, moved = confirm_steps(
        heads.time_utc[steps.place],
        steps.size,
        to_instants(heads.manual["measured_at_utc"]),
        heads.manual["offset_m"].to_numpy(dtype=np.float64),
        tolerance_m=tolerance_m,
    )
    # else the water moved, or the move is on record
    is_open = (verdict >= 0) & ~np.array(
        [is_corrected_at(heads, int(place), "restart") for place in steps.place], dtype=bool
    )
    place, size, verdict, moved = steps.place[is_open], steps.size[is_open], verdict[is_open], moved[is_open]
    undecided = np.flatnonzero(verdict == 0)
    teeth = np.zeros(place.size, dtype=bool)
    teeth[undecided[find_saw_tooth(heads.state.faults.cleaned_m, place[undecided], size[undecided])]] = True
    return OpenSteps(place, size, verdict > 0, moved, teeth)


def _follows(when: Instants, switched: Instants, within_s: float) -> NDArray[np.bool_]:
    """Return which moments come within some seconds after one of others."""
    at = np.sort(switched)
    place = np.searchsorted(at, when, side="right") - 1
    since = (when - at[np.maximum(place, 0)]).astype(np.int64) / MICROSECONDS
    return np.asarray((place >= 0) & (since <= within_s), dtype=bool)


def _outliers(when: Instants, series: Floats, longest_gap_s: float, least_m: float) -> tuple[Spikes, Spikes]:
    """Return spikes and odd ends of a series, and take them out of it."""
    spikes = _large(find_spikes(series), least_m)
    _blank(series, spikes)
    ends = _large(find_odd_ends(when, series, longest_gap_s=longest_gap_s), least_m)
    _blank(series, ends)
    return spikes, ends


def _joined(found: Spikes, more: Spikes, where: NDArray[np.bool_]) -> Spikes:
    """Return outliers with those of another series that lie where the first has no samples."""
    kept = where[more.first] & where[more.last]
    first = np.concatenate([found.first, more.first[kept]])
    order = np.argsort(first, kind="stable")
    last, size, limit = (
        np.concatenate([getattr(found, name), getattr(more, name)[kept]])[order] for name in ("last", "size", "limit")
    )
    return Spikes(first[order], last, size, limit)


def _large(found: Spikes, least_m: float) -> Spikes:
    kept = np.abs(found.size) >= least_m
    return Spikes(found.first[kept], found.last[kept], found.size[kept], found.limit[kept])


def _blank(series: Floats, found: Spikes) -> None:
    for first, last in zip(found.first, found.last, strict=True):
        series[first : last + 1] = np.nan


def _without_dismissed(level: SensorLevel, rule: str, found: Spikes) -> Spikes:
    kept = ~np.array(
        [_is_dismissed(level, (rule,), *edges) for edges in zip(found.first, found.last, strict=True)], dtype=bool
    )
    return Spikes(found.first[kept], found.last[kept], found.size[kept], found.limit[kept])


def _is_dismissed(level: SensorLevel, rules: tuple[str, ...], first: int, last: int) -> bool:
    when, history = level.channel.time_utc, level.channel.correction_history
    return any(history.is_dismissed(rule, when[first], when[last]) for rule in rules)


def is_corrected_at(heads: LoggerHeads, place: int, *kinds: str) -> bool:
    """Return whether a correction on record begins or ends at a sample or between it and the one before.

    Parameters
    ----------
    heads : gwnet.analysis.loggers.heads.LoggerHeads
        Heads over the whole deployment.
    place : int
        The sample.
    *kinds : str
        Kinds of correction that count.
    """
    history = heads.level.channel.correction_history
    rows = history.rows[history.rows["kind"].isin(kinds)]
    edges = np.array([to_instant(edge) for name in ("start_utc", "end_utc") for edge in rows[name]], "datetime64[us]")
    before = heads.time_utc[max(place - 1, 0)]
    return bool(((edges > before) & (edges <= heads.time_utc[place])).any())
