"""Levels at a sensor anchored to manual readings, or to its hanging depth where there are none, with uncertainty.

Anchoring is linear unless chosen: that sensors drift is known, that an offset is constant is an assumption.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.levels.default_accuracy import day_of, survey_defaults
from gwnet.analysis.loggers.channels import LoggerRecord
from gwnet.analysis.loggers.correction_history import OUT_REASONS
from gwnet.analysis.loggers.sensor_level import SensorLevel, sensor_accuracy_m
from gwnet.clock import to_instant, to_instants
from gwnet.constants import (
    DAYS_PER_YEAR,
    GAP_TIMES_INTERVAL,
    HANGING_DEPTH_ACCURACY_M,
    MANUAL_READING_EDGE_S,
    MANUAL_READING_GAP_S,
    NORMAL_95,
    UNCHECKED_SENSOR_M,
)
from gwnet.hydro.arrays import MICROSECONDS, Floats, Instants
from gwnet.hydro.loggers.dense_series import usual_interval_s
from gwnet.hydro.loggers.drift import AnchoredLevels, Installations, anchor_levels
from gwnet.hydro.reduction.uncertainty import combined_half_width
from gwnet.hydro.reduction.water import sensor_depth_to_water
from gwnet.units import SECONDS_PER_DAY

#: Columns of the frame of manual readings.
MANUAL_COLUMNS: Final = tuple(
    (
        "event_id measured_at measured_at_utc water_elevation_m uncertainty_m installation used sensor_at_reading_m "
        "offset_m shift_m residual_m leave_one_out_residual_m"
    ).split()
)

#: Parts of the uncertainty of a logger's level, and what they are called.
PARTS: Final = {
    "manual_m": "manual readings",
    "hold_m": "how well the sensor held between them",
    "sensor_m": "sensor",
    "air_m": "air pressure between samples of the barometer, of a stand-in or from sea level",
    "response_m": "limits of the response to air pressure that was removed",
    "since_m": "drift since the last manual reading",
    "hanging_m": "hanging depth and measuring point",
}

#: Statuses at which a manual reading is of the water level that the sensor measures.
_ANCHOR_STATUSES: Final = ("static", "flowing", "pumping", "recovering", "nearby pumping", "affected by surface water")

#: Findings that make a manual reading unfit to anchor a sensor.
_UNFIT: Final = (
    "repeats disagree",
    "no measuring point in force",
    "two measuring points in force",
    "measuring point in another datum",
    "product without density",
    "water below the screen",
)

_NOT_ANCHORED: Final = OUT_REASONS.index("not anchored")


@dataclass(frozen=True)
class Anchored:
    """Water elevations of one deployment.

    Attributes
    ----------
    water_elevation_m, uncertainty_m : numpy.ndarray, shape (n,)
        Water elevation and its 95 % half-width; NaN where the sample does not serve [m].
    correction_m : numpy.ndarray, shape (n,)
        What was added to the level at the sensor [m].
    parts : dict of str to numpy.ndarray
        Parts of the uncertainty by the names of `PARTS`, each of shape (n,) [m].
    out : numpy.ndarray of uint8, shape (n,)
        0, or the place in `gwnet.analysis.loggers.correction_history.OUT_REASONS`.
    by_hanging_depth : numpy.ndarray of bool, shape (n,)
        Where the elevation comes from the hanging depth alone.
    manual : pandas.DataFrame
        Manual readings with the columns of `MANUAL_COLUMNS`.
    installations : gwnet.hydro.loggers.drift.Installations
        What each installation shows.
    steps : tuple of str
        What was done, in words.
    """

    water_elevation_m: Floats
    uncertainty_m: Floats
    correction_m: Floats
    parts: dict[str, Floats]
    out: NDArray[np.uint8]
    by_hanging_depth: NDArray[np.bool_]
    manual: pd.DataFrame
    installations: Installations
    steps: tuple[str, ...]


def anchor(loggers: LoggerRecord, deployment: Any, level: SensorLevel, levels: pd.DataFrame) -> Anchored:
    """Anchor the levels of a sensor to the manual readings of its well.

    Parameters
    ----------
    loggers : gwnet.analysis.loggers.channels.LoggerRecord
        What is on record.
    deployment : named tuple
        Row of `gwnet.store.fetch.samples.deployments`.
    level : gwnet.analysis.loggers.sensor_level.SensorLevel
        Level at the sensor.
    levels : pandas.DataFrame
        Levels of `gwnet.analysis.levels.table.levels` that hold those of the well.

    Returns
    -------
    Anchored
        Water elevations and what they rest on.

    Notes
    -----
    Manual readings of the same well and access count whose time of day is known, that give a number, were not rejected
    or held on review, are neither suspect nor poor, and met the water itself. Linear unless chosen otherwise. An
    installation without one goes by its hanging depth and the measuring point in force; without these its samples are
    not anchored. The
    uncertainty is the root sum of squares of its parts: the manual readings' own, linear between them; how well the
    sensor held, 1.96 times the root mean square of the leave-one-out residuals, half of that for linear anchoring
    (leaving a reading out doubles the time that is interpolated over), `gwnet.constants.UNCHECKED_SENSOR_M` for a
    installation with one reading; the sensor's accuracy; air pressure that was interpolated; the drift of the
    installation times the time since its last manual reading. These rules are our project default.
    """
    channel = level.channel
    settings = channel.correction_history.settings("anchoring", deployment.installed_at_utc, deployment.removed_at_utc)
    method = str(settings.get("method", "linear"))
    manual = _manual_readings(levels, deployment, channel.time_utc, settings.get("leave_out", []))
    # Samples that are out for a reason must not anchor: a spike at a visit would shift a whole interval.
    used_level = np.where(level.out == 0, level.level_m, np.nan)
    interval = usual_interval_s(channel.time_utc)
    anchored = anchor_levels(
        channel.time_utc,
        used_level,
        to_instants(manual["measured_at_utc"]),
        # With "none" no reading counts, so that the hanging depth does.
        np.where(manual["used"] & (method != "none"), manual["water_elevation_m"], np.nan),
        method="constant" if method == "constant" else "linear",
        # Of a logger that is read once a day a reading falls between samples a day apart.
        longest_gap_s=max(MANUAL_READING_GAP_S, GAP_TIMES_INTERVAL * interval if interval == interval else 0.0),
        restart_utc=channel.correction_history.restarts(),
        edge_s=MANUAL_READING_EDGE_S,
    )
    manual = manual.assign(
        installation=anchored.reading_installation,
        sensor_at_reading_m=anchored.sensor_at_reading_m,
        offset_m=anchored.offset_m,
        shift_m=anchored.shift_m,
        residual_m=anchored.residual_m,
        leave_one_out_residual_m=anchored.leave_one_out_residual_m,
    )[list(MANUAL_COLUMNS)]
    by_depth_m, by_depth_accuracy = _elevation_by_depth(loggers, deployment, level)
    by_hanging = np.isnan(anchored.correction_m) & ~np.isnan(by_depth_m)
    correction = np.where(by_hanging, by_depth_m - level.level_m, anchored.correction_m)
    parts = _parts(loggers, deployment, level, anchored, manual, by_hanging, by_depth_accuracy, method)
    elevation = used_level + correction + level.response_m
    out = level.out.copy()
    out[(out == 0) & np.isnan(elevation)] = _NOT_ANCHORED
    combined = np.where(np.isnan(elevation), np.nan, combined_half_width(*parts.values()))
    return Anchored(
        water_elevation_m=elevation,
        uncertainty_m=combined,
        correction_m=correction,
        parts=parts,
        out=out,
        by_hanging_depth=by_hanging,
        manual=manual,
        installations=anchored.installations,
        steps=_describe(deployment, anchored, manual, by_hanging, method),
    )


def _manual_readings(table: pd.DataFrame, deployment: Any, when: Instants, leave_out: list[int]) -> pd.DataFrame:
    """Return the manual readings of a deployment's well and access while the sensor recorded."""
    rows = table[
        (table["site"] == deployment.site)
        & (table["well"] == deployment.well)
        & (table["access"] == deployment.access)
        & table["time_known"]
        & (table["bound"] == "")
        & table["water_elevation_m"].notna()
        & table["status"].isin(_ANCHOR_STATUSES)
    ]
    # A reading just before the first or after the last sample is as good as one between.
    edge = np.timedelta64(int(MANUAL_READING_EDGE_S * MICROSECONDS), "us")
    times = to_instants(rows["measured_at_utc"])
    rows = rows[(times >= when[0] - edge) & (times <= when[-1] + edge)]
    fit = ~rows["quality"].isin(["suspect", "poor"]) & ~rows["review"].isin(["rejected", "on hold"])
    unfit = rows["finding"].map(lambda text: any(phrase in text for phrase in _UNFIT)).astype(bool)
    chosen = ~rows["event_id"].isin(leave_out)
    kept = rows[["event_id", "measured_at", "measured_at_utc", "water_elevation_m", "uncertainty_m"]]
    kept = kept.assign(used=(fit & ~unfit & chosen).to_numpy(dtype=bool))
    # In the order of time, which the interpolation of their uncertainty takes for granted.
    return kept.sort_values("measured_at_utc", kind="stable", ignore_index=True)


def _elevation_by_depth(loggers: LoggerRecord, deployment: Any, level: SensorLevel) -> tuple[Floats, Floats]:
    """Return the water elevation by hanging depth and measuring point, and the accuracy of the latter."""
    when = level.channel.time_utc
    nothing = np.full(when.size, np.nan)
    quantity = level.channel.quantity
    if quantity == "water elevation":
        # it is an elevation already, and needs no measuring point
        return level.level_m, np.zeros(when.size)
    if quantity == "depth to water":
        depth = -level.level_m  # positive upward, as all levels at a sensor are
    elif pd.isna(deployment.hanging_depth_m):
        return nothing, nothing
    else:
        depth = sensor_depth_to_water(float(deployment.hanging_depth_m), level.level_m)
    points = loggers.record.measuring_points
    points = points[
        (points["site"] == deployment.site)
        & (points["well"] == deployment.well)
        & (points["access"] == deployment.access)
    ]
    elevation, accuracy, count = nothing.copy(), nothing.copy(), np.zeros(when.size, dtype=np.int64)
    for point in points.itertuples():
        start, end = to_instant(point.valid_from_utc), to_instant(point.valid_until_utc)
        # Half-open, as everywhere: a point counts from its first moment to before its last.
        here = (when >= start) & (np.isnat(end) | (when < end))
        elevation[here] = point.elevation_m
        accuracy[here] = _survey_accuracy(point, when[here]) if pd.isna(point.accuracy_m) else point.accuracy_m
        count[here] += 1
    # Two points in force give no elevation: which one holds is for a person to say.
    return np.where(count == 1, elevation - depth, np.nan), accuracy


def _survey_accuracy(point: Any, when: Instants) -> Floats:
    """Return what the survey of a measuring point is taken to be accurate to at each moment [m]."""
    known = point.valid_from_utc if pd.isna(point.surveyed_on) else point.surveyed_on
    method = np.full(when.size, point.survey_method or "", dtype=object)
    surveyed = np.repeat(day_of(pd.Series([known], dtype=object)), when.size)
    return survey_defaults(method, surveyed, when.astype("datetime64[D]"))[0]


def _parts(
    loggers: LoggerRecord,
    deployment: Any,
    level: SensorLevel,
    anchored: AnchoredLevels,
    manual: pd.DataFrame,
    by_hanging: NDArray[np.bool_],
    by_depth_accuracy: Floats,
    method: str,
) -> dict[str, Floats]:
    """Return the parts of the uncertainty, each a 95 % half-width."""
    count = level.level_m.size
    parts = {name: np.zeros(count) for name in PARTS}
    seconds = level.channel.time_utc.astype(np.int64) / MICROSECONDS
    read_seconds = to_instants(manual["measured_at_utc"]).astype(np.int64) / MICROSECONDS
    for number in range(anchored.installations.readings.size):
        mine = anchored.installation == number
        served = ((manual["installation"] == number) & manual["offset_m"].notna()).to_numpy()
        if not mine.any() or not served.any():
            continue
        at = read_seconds[served]
        parts["manual_m"][mine] = np.interp(seconds[mine], at, manual["uncertainty_m"].to_numpy()[served])
        parts["hold_m"][mine] = _hold(manual["leave_one_out_residual_m"].to_numpy()[served], method)
        drift = anchored.installations.drift_m_per_year[number]
        # Time since the last reading, or before the first: between two readings drift is interpolated.
        beyond_s = np.maximum(np.maximum(seconds[mine] - at[-1], at[0] - seconds[mine]), 0.0)
        rate = 0.0 if np.isnan(drift) else abs(float(drift)) / (DAYS_PER_YEAR * SECONDS_PER_DAY)
        parts["since_m"][mine] = rate * beyond_s
    parts["hanging_m"][by_hanging] = np.hypot(by_depth_accuracy[by_hanging], HANGING_DEPTH_ACCURACY_M)
    # Nothing shows how well a sensor holds that was never compared.
    parts["hold_m"][by_hanging] = UNCHECKED_SENSOR_M
    parts["sensor_m"][:] = sensor_accuracy_m(loggers, deployment.instrument)
    parts["air_m"] = level.air_half_width_m()
    parts["response_m"] = level.response_half_width_m
    return parts


def _hold(residual_m: Floats, method: str) -> float:
    """Return how well a sensor held between the manual readings of one installation."""
    known = residual_m[~np.isnan(residual_m)]
    if known.size == 0:
        return UNCHECKED_SENSOR_M
    spread = NORMAL_95 * float(np.sqrt(np.mean(np.square(known))))
    # Halved: leaving a reading out doubles the time over which the rest interpolates.
    return spread if method == "constant" else spread / 2


def _describe(
    deployment: Any,
    anchored: AnchoredLevels,
    manual: pd.DataFrame,
    by_hanging: NDArray[np.bool_],
    method: str,
) -> tuple[str, ...]:
    """Return how levels were anchored, in words."""
    lines = []
    served = manual["offset_m"].notna()
    if served.any():
        word = "linear between" if method == "linear" else "the mean offset of"
        installations = int((anchored.installations.readings > 0).sum())
        span = f" in {installations} installations" if installations > 1 else ""
        lines.append(f"anchored to manual readings: {word} {int(served.sum())}{span}")
    if (~manual["used"]).any():
        lines.append(f"{int((~manual['used']).sum())} manual readings not used: left out, unfit or rejected")
    if by_hanging.any():
        depth = "" if pd.isna(deployment.hanging_depth_m) else f" of {deployment.hanging_depth_m:g} m"
        lines.append(
            f"{int(by_hanging.sum())} samples by the hanging depth{depth} alone: no manual reading anchors them"
        )
    return tuple(lines)
