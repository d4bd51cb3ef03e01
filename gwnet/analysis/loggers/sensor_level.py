"""From samples to the level at a sensor: unit, air, density and gravity, then the corrections on record."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.levels.places import latitude_of
from gwnet.analysis.loggers.air_response import describe_air, remove_air_response
from gwnet.analysis.loggers.barometers import air_pressure
from gwnet.analysis.loggers.channels import LEVEL_QUANTITIES, Channel, LoggerRecord
from gwnet.analysis.loggers.correction_history import OUT_REASONS, CorrectionHistory
from gwnet.analysis.loggers.correction_kinds import KINDS, describe_response
from gwnet.constants import (
    AIR_PRESSURE_RATE_PA_S,
    BAROMETER_GAP_S,
    CONVENTIONAL_WATER_DENSITY_KG_M3,
    LOGGER_ACCURACY_M,
    STANDARD_GRAVITY_M_S2,
    TEMPERATURE_GAP_S,
)
from gwnet.hydro.arrays import Floats
from gwnet.hydro.loggers.barometric import without_air
from gwnet.hydro.loggers.dense_series import interpolate_at
from gwnet.hydro.reduction.water import normal_gravity, water_column, water_density

_NO_VALUE, _NO_AIR, _NO_DENSITY = (
    OUT_REASONS.index(reason) for reason in ("no value", "no air pressure", "no density")
)


@dataclass(frozen=True)
class SensorLevel:
    """Level at one sensor in one deployment, not yet anchored.

    Attributes
    ----------
    channel : gwnet.analysis.loggers.channels.Channel
        What the level comes from.
    level_m : numpy.ndarray, shape (n,)
        Column of water above the sensor, or another level positive upward; steps added, nothing excluded [m].
    column_m : numpy.ndarray, shape (n,)
        Column of water above the sensor before steps were added; NaN where the quantity has no sensor's zero [m].
    out : numpy.ndarray of uint8, shape (n,)
        0, or the place in `OUT_REASONS` of why the sample does not serve.
    air_pa : numpy.ndarray, shape (n,)
        Air pressure at the well; NaN where there is none [Pa].
    air_away_s : numpy.ndarray, shape (n,)
        Time to the nearest sample of the barometer; 0 where no air pressure is subtracted [s].
    air_gap_s : float
        Longest time between two samples of the barometer that is interpolated over [s].
    air_half_width_pa : numpy.ndarray, shape (n,)
        95 % half-width that a stand-in for the barometer or a reduction from sea level adds [Pa].
    barometer : str
        Instrument that the air pressure comes from; empty for none.
    temperature_degc : numpy.ndarray, shape (n,)
        Temperature that the density goes by; NaN where it goes by none [degC].
    density_kg_m3 : numpy.ndarray, shape (n,)
        Density of the water [kg/m3].
    gravity_m_s2 : float
        Gravity at the well [m/s2].
    response_m, response_half_width_m : numpy.ndarray, shape (n,)
        What is added so that the response to air pressure is taken out, and its 95 % half-width; 0 where no correction
        does so [m].
    steps : tuple of str
        What was done, in words.
    """

    channel: Channel
    level_m: Floats
    column_m: Floats
    out: NDArray[np.uint8]
    air_pa: Floats
    air_away_s: Floats
    air_gap_s: float
    air_half_width_pa: Floats
    barometer: str
    temperature_degc: Floats
    density_kg_m3: Floats
    gravity_m_s2: float
    response_m: Floats
    response_half_width_m: Floats
    steps: tuple[str, ...]

    def metres_per_pascal(self) -> Floats:
        """Return how many metres of the well's water one pascal is [m/Pa]."""
        return np.asarray(1.0 / (self.density_kg_m3 * self.gravity_m_s2), dtype=np.float64)

    def air_half_width_m(self) -> Floats:
        """Return what the air pressure between samples or of a stand-in may be out by, 95 % half-width [m]."""
        if not self.barometer:
            return np.zeros(self.level_m.size)
        # Beyond the gap there is no air pressure at all, so no more than the gap can count.
        away = np.minimum(self.air_away_s, self.air_gap_s)
        half_width_pa = np.hypot(AIR_PRESSURE_RATE_PA_S * away, self.air_half_width_pa)
        return np.asarray(half_width_pa * self.metres_per_pascal(), dtype=np.float64)


def sensor_level(loggers: LoggerRecord, deployment: Any) -> SensorLevel | None:
    """Work out the level at a sensor over one deployment.

    Parameters
    ----------
    loggers : gwnet.analysis.loggers.channels.LoggerRecord
        What is on record.
    deployment : named tuple
        Row of `gwnet.store.fetch.samples.deployments`.

    Returns
    -------
    SensorLevel or None
        None where no sample of a level is on record in that time.

    Notes
    -----
    Samples of the deployment by their true time; clock, unit, factor; less the air for an absolute sensor; density by
    the water temperature where that is on record, else the conventional 1000 kg/m3, unless a density was chosen;
    gravity by latitude and height where the well has coordinates, else the standard one; steps added; exclusions
    marked. An absolute sensor without air pressure at a moment has no level there.
    """
    channel = _level_channel(loggers, deployment)
    if channel is None:
        return None
    count = len(channel)
    nothing = np.full(count, np.nan)
    level = SensorLevel(
        channel=channel,
        level_m=channel.value,
        column_m=channel.value if channel.quantity == "water column" else nothing,
        out=np.where(np.isnan(channel.value), _NO_VALUE, 0).astype(np.uint8),
        air_pa=nothing,
        air_away_s=np.zeros(count),
        air_gap_s=BAROMETER_GAP_S,
        air_half_width_pa=np.zeros(count),
        barometer="",
        temperature_degc=nothing,
        density_kg_m3=np.full(count, CONVENTIONAL_WATER_DENSITY_KG_M3),
        gravity_m_s2=STANDARD_GRAVITY_M_S2,
        response_m=np.zeros(count),
        response_half_width_m=np.zeros(count),
        steps=_describe_samples(loggers, channel),
    )
    if channel.quantity.endswith("pressure"):
        level = _column(loggers, deployment, level)
    elif channel.quantity == "depth to water":
        level = replace(level, level_m=-level.level_m, steps=(*level.steps, "level: less the depth to water"))
    return _corrected(_with_response(loggers, deployment, level))


def sensor_accuracy_m(loggers: LoggerRecord, instrument: str) -> float:
    """Return the accuracy on record of an instrument, else its resolution, else what is asked of one.

    Parameters as `gwnet.analysis.loggers`.

    Returns
    -------
    float
        95 % half-width [m].
    """
    numbers = (loggers.instrument_number(instrument, column) for column in ("accuracy_m", "resolution_m"))
    # NaN equals nothing, not even itself
    return next((number for number in numbers if number == number), LOGGER_ACCURACY_M)


def _level_channel(loggers: LoggerRecord, deployment: Any) -> Channel | None:
    """Return the best quantity that gives a level in that time."""
    for quantity in LEVEL_QUANTITIES:
        channel = loggers.channel(
            deployment.instrument, quantity, deployment.installed_at_utc, deployment.removed_at_utc
        )
        if channel is not None:
            return channel
    return None


def _column(loggers: LoggerRecord, deployment: Any, level: SensorLevel) -> SensorLevel:
    """Return the level as a column of water from a pressure."""
    channel, out = level.channel, level.out.copy()
    steps = list(level.steps)
    pressure = channel.value
    if channel.quantity == "absolute pressure":
        air = air_pressure(loggers, deployment, channel.time_utc)
        pressure = without_air(pressure, air.pressure_pa)
        # What is out already keeps its reason.
        out[(out == 0) & np.isnan(air.pressure_pa)] = _NO_AIR
        steps += air.steps
        without = int((out == _NO_AIR).sum())
        if without:
            steps.append(f"{without} samples without an air pressure have no level")
        level = replace(
            level,
            air_pa=air.pressure_pa,
            air_away_s=air.away_s,
            air_gap_s=air.gap_s,
            air_half_width_pa=air.half_width_pa,
            barometer=deployment.barometer,
        )
    settings = channel.correction_history.settings("density", deployment.installed_at_utc, deployment.removed_at_utc)
    gravity, gravity_step = _gravity(loggers, deployment, settings)
    temperature, density, density_step = _density(loggers, channel, settings)
    out[(out == 0) & np.isnan(density)] = _NO_DENSITY
    column = water_column(pressure, density_kg_m3=density, gravity_m_s2=gravity)
    steps += [density_step, gravity_step]
    return replace(
        level,
        level_m=column,
        column_m=column,
        out=out,
        temperature_degc=temperature,
        density_kg_m3=density,
        gravity_m_s2=gravity,
        steps=tuple(steps),
    )


def _with_response(loggers: LoggerRecord, deployment: Any, level: SensorLevel) -> SensorLevel:
    """Return the level with what takes its response to air pressure out, where a correction on record does so."""
    settings = level.channel.correction_history.settings(
        "efficiency", deployment.installed_at_utc, deployment.removed_at_utc
    )
    if not settings:
        return level
    if level.channel.quantity != "absolute pressure":
        air = air_pressure(loggers, deployment, level.channel.time_utc)
        level = replace(level, air_pa=air.pressure_pa, steps=(*level.steps, *describe_air(air)))
    if np.isnan(level.air_pa).all():
        return level  # nothing to remove it by; the steps say that no air pressure is on record
    per_pascal = level.metres_per_pascal()
    response = remove_air_response(
        *(loggers, deployment, settings, level.channel.time_utc),
        *(level.air_pa * per_pascal, float(np.nanmedian(per_pascal))),
    )
    words = (
        f"late response to air pressure removed: {describe_response(settings)}"
        if "response" in settings
        else f"response to air pressure removed with a barometric efficiency of {float(settings['value']):g}"
    )
    # Without the air the response of that moment is not known, and a level with it left in would differ.
    missing = np.isnan(response.level_m)
    out = level.out.copy()
    out[(out == 0) & missing] = _NO_AIR
    lacking = int(((level.out == 0) & missing).sum())
    words += f"; {lacking} samples without the air pressure for it have no level" if lacking else ""
    return replace(
        level,
        out=out,
        response_m=response.level_m,
        # NaN would spread into the sum of all parts
        response_half_width_m=np.where(missing, 0.0, response.half_width_m),
        steps=(*level.steps, words),
    )


def _density(loggers: LoggerRecord, channel: Channel, settings: dict[str, Any]) -> tuple[Floats, Floats, str]:
    """Return the temperature and density of the water at the samples."""
    count = len(channel)
    if "kg_m3" in settings:
        chosen = float(settings["kg_m3"])
        return np.full(count, np.nan), np.full(count, chosen), f"density {chosen:g} kg/m3, as chosen"
    wanted = settings.get("temperature", "series")
    if wanted != "series":
        density = water_density(float(wanted))
        description = f"density {float(density):.2f} kg/m3 at {float(wanted):g} degC, as chosen"
        return np.full(count, float(wanted)), np.full(count, float(density)), description
    span = (pd.Timestamp(channel.time_utc[0], tz="UTC"), pd.Timestamp(channel.time_utc[-1], tz="UTC"))
    # Half-open span: a microsecond more takes in the sample at the end itself.
    water = loggers.channel(channel.instrument, "water temperature", span[0], span[1] + pd.Timedelta(microseconds=1))
    if water is None or np.isnan(water.value).all():
        usual = CONVENTIONAL_WATER_DENSITY_KG_M3
        description = f"density {usual:g} kg/m3, conventional: no water temperature is on record"
        return np.full(count, np.nan), np.full(count, usual), description
    temperature = interpolate_at(channel.time_utc, water.time_utc, water.value, longest_gap_s=TEMPERATURE_GAP_S)
    # The median of the record serves a gap: a wrong degree at 10 °C is one part in ten thousand.
    middle = float(np.nanmedian(water.value))
    missing = np.isnan(temperature)
    temperature = np.where(missing, middle, temperature)
    density = water_density(temperature)
    description = (
        f"density by the water temperature (median {middle:.1f} degC: {float(water_density(middle)):.2f} kg/m3)"
    )
    if missing.any():
        description += f"; the median for {int(missing.sum())} samples without a temperature within a day"
    return temperature, density, description


def _gravity(loggers: LoggerRecord, deployment: Any, settings: dict[str, Any]) -> tuple[float, str]:
    """Return gravity at the well."""
    if "gravity_m_s2" in settings:
        return float(settings["gravity_m_s2"]), f"gravity {float(settings['gravity_m_s2']):g} m/s2, as chosen"
    well = _well(loggers, deployment.site, deployment.well)
    crs = loggers.record.of_site(deployment.site).settings["crs"]
    latitude = float("nan") if well is None or crs is None else latitude_of(well, str(crs))
    if well is None or np.isnan(latitude):
        return STANDARD_GRAVITY_M_S2, f"gravity {STANDARD_GRAVITY_M_S2:g} m/s2, the standard one: no coordinates"
    # Without a ground elevation sea level: 100 m are 3e-4 m/s2, a third of a millimetre in 10 m of water.
    height = 0.0 if pd.isna(well["ground_elevation_m"]) else float(well["ground_elevation_m"])
    gravity = float(normal_gravity(latitude, height))
    return gravity, f"gravity {gravity:.5f} m/s2 at latitude {latitude:.3f} and {height:.0f} m"


def _well(loggers: LoggerRecord, site: str, well: str) -> pd.Series | None:
    wells = loggers.record.wells
    rows = wells[(wells["site"] == site) & (wells["well"] == well)]
    return rows.iloc[0] if len(rows) else None


def _corrected(level: SensorLevel) -> SensorLevel:
    """Return the level with the steps on record added and the exclusions marked."""
    channel = level.channel
    # Steps are of the level, so they come after the pressure was turned into it.
    stepped = channel.correction_history.apply_steps(channel.time_utc, level.level_m)
    excluded = channel.correction_history.find_exclusions(channel.time_utc)
    out = np.where(excluded > 0, excluded, level.out).astype(np.uint8)
    steps = (
        *level.steps,
        *(
            _describe_row(channel.correction_history, row)
            for row in channel.correction_history.rows.itertuples()
            if row.kind in {"step", "exclusion", "keep", "restart"}
        ),
    )
    return replace(level, level_m=stepped, out=out, steps=steps)


def _describe_samples(loggers: LoggerRecord, channel: Channel) -> tuple[str, ...]:
    """Return what the samples are and where they come from, in words."""
    first, last = (np.datetime_as_string(edge, unit="m").replace("T", " ") for edge in channel.time_utc[[0, -1]])
    files = ", ".join(download_files(loggers, channel))
    description = f"{len(channel)} samples of {channel.quantity} [{channel.unit}], {first} to {last} UTC"
    lines = [description + (f", from {files}" if files else "")]
    lines += _describe_corrections(channel)
    if channel.overlapping:
        lines.append(f"{channel.overlapping} samples left out: the corrected clock brings them onto others")
    return tuple(lines)


def download_files(loggers: LoggerRecord, channel: Channel) -> tuple[str, ...]:
    """Return the files that a channel's samples came from.

    Parameters
    ----------
    loggers : gwnet.analysis.loggers.channels.LoggerRecord
        What is on record.
    channel : gwnet.analysis.loggers.channels.Channel
        The channel.
    """
    rows = loggers.downloads_of(channel)
    rows = rows[rows["added"] > 0]
    first, last = (pd.Timestamp(edge, tz="UTC") for edge in channel.file_time_utc[[0, -1]])
    rows = rows[(rows["first_utc"] <= last) & (rows["last_utc"] >= first)]
    return tuple(dict.fromkeys(str(file) for file in rows["file"] if file))


def _describe_corrections(channel: Channel) -> list[str]:
    history = channel.correction_history
    return [_describe_row(history, row) for row in history.rows.itertuples() if KINDS[row.kind].per_segment]


def _describe_row(history: CorrectionHistory, row: Any) -> str:
    words = history.describe(row)
    return f"{words} (correction {row.correction_id} by {row.recorded_by}: {row.reason})"
