"""Drawdowns of the wells of a test, and what the analyses take: rates, drawdowns and dimensions as arrays."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np
import pandas as pd

from gwnet.analysis.pumping.gather import GatheredTest
from gwnet.analysis.pumping.others import rates_of_other
from gwnet.clock import zone_of
from gwnet.errors import AnalysisError, SettingsError
from gwnet.hydro.pumping import OtherPumping, PumpingGeometry, PumpingRates, WellDrawdown
from gwnet.hydro.pumping.drawdown import days_since_change, drawdown_from_depths
from gwnet.hydro.pumping.straight_lines import equivalent_days, recovery_ratio
from gwnet.units import MINUTES_PER_DAY, SECONDS_PER_DAY

Background = Literal["mean", "line"]

#: Columns of the drawdowns that are printed.
DRAWDOWN_COLUMNS: Final = tuple(
    (
        "test well distance_m measured_at elapsed_min since_change_min rate_l_s source passed depth_to_water_m "
        "water_elevation_m air_correction_m static_elevation_m drawdown_m uncertainty_m recovery_ratio equivalent_min"
    ).split()
)

#: Columns of the levels before a test.
STATIC_COLUMNS: Final = tuple(
    (
        "test well background n static_elevation_m static_depth_m uncertainty_m slope_m_per_day "
        "slope_uncertainty_m_per_day barometer barometric_efficiency largest_air_correction_m air_not_known note"
    ).split()
)

#: Source of a drawdown that is no level.
_GIVEN: Final = "drawdown as given"


@dataclass(frozen=True, eq=False)
class PumpingDrawdowns:
    """Drawdowns of a test.

    Attributes
    ----------
    table : pandas.DataFrame
        Columns of `DRAWDOWN_COLUMNS`, by well (the pumped one first) and time. Drawdown is positive down; its
        uncertainty is the 95 % half-width of reading and static level together. Where the source gives a drawdown and
        no level, it is that. water_elevation_m is the level as it stood in the well, air_correction_m what is added to
        it so that the effect of the change of air pressure since the start is out; NaN where nothing is. After the
        stop, recovery_ratio is t/t′ and equivalent_min the equivalent time of recovery.
    static : pandas.DataFrame
        Columns of `STATIC_COLUMNS`: the level before the test of each well, at the start of pumping, and its trend
        (positive upward); as a depth where no measuring point was in force. By which barometer and efficiency its
        levels were corrected for air pressure, the largest correction, and of how many no air pressure is known.
    without : tuple of str
        Wells with readings and no level before the test.
    """

    table: pd.DataFrame
    static: pd.DataFrame
    without: tuple[str, ...]


def work_out_drawdowns(
    test: GatheredTest, *, background: Background = "mean", thickness_m: float | None = None
) -> PumpingDrawdowns:
    """Return the drawdowns of the wells of a test.

    Parameters as `gwnet.analysis.pumping`.

    Parameters
    ----------
    background : {"mean", "line"}
        What the level would be without pumping: the mean of the levels before the start, or a line through them.
    thickness_m : float, optional
        Saturated thickness of an unconfined aquifer, for Jacob's correction of drawdowns; none unless given [m].

    Raises
    ------
    AnalysisError
        If no well has a level before the start.
    """
    tables, statics, without = [], [], []
    for well in test.read_wells:
        levels = test.levels[test.levels["well"] == well]
        given = levels["given_drawdown_m"].notna()
        read = levels[~given]
        # Without a level before the start there is nothing to draw down from.
        if len(read) and not (read["elapsed_min"] <= 0).any():
            without.append(well)
            read = read.iloc[:0]
        if len(read):
            made, static = _of_well(test, well, read, background, thickness_m)
            tables.append(made)
            statics.append(static)
        if given.any():
            tables.append(_as_given(levels[given]))
    if not tables:
        wells = ", ".join(without) or "any well"
        message = f"There is no level of {wells} in the {test.before_hours:g} h before the start of test {test.test}."
        raise AnalysisError(message, fix="Load the level read before the pump started, or widen the window (--before).")
    table = _dressed(test, pd.concat(tables, ignore_index=True))
    return PumpingDrawdowns(table, pd.DataFrame(statics, columns=list(STATIC_COLUMNS)), tuple(without))


def thickness_for(test: GatheredTest, thickness_m: float | None, *, is_corrected: bool) -> float | None:
    """Return the thickness by which drawdowns of an unconfined aquifer are corrected; None for no correction [m].

    Parameters as `gwnet.analysis.pumping`.

    Parameters
    ----------
    thickness_m : float or None
        Thickness, where not that on record [m].
    is_corrected : bool
        Whether a correction is asked for.

    Raises
    ------
    SettingsError
        If it is asked for and no thickness is known.
    """
    if not is_corrected:
        return None
    thickness = test.thickness_m if thickness_m is None else thickness_m
    if math.isnan(thickness):
        message = f"The thickness of the aquifer is not on record of test {test.test}."
        raise SettingsError(message, fix="Give it with --thickness, or load it in pumping_tests (aquifer_thickness).")
    return thickness


def _height(read: pd.DataFrame) -> tuple[pd.Series, bool]:
    """Return the height of the water, air pressure out, and whether it is an elevation; else it is minus the depth."""
    by_elevation: pd.Series = read["water_elevation_m"]
    is_elevation = bool(by_elevation.notna().any())
    # Where no elevation is known depths serve: a drawdown is a difference either way.
    height = by_elevation if is_elevation else -read["depth_to_water_m"]
    return height + read["air_correction_m"].fillna(0.0), is_elevation


def _of_well(
    test: GatheredTest, well: str, read: pd.DataFrame, background: Background, thickness_m: float | None
) -> tuple[pd.DataFrame, dict[str, Any]]:
    # One or the other for a whole well, as elevations and depths cannot be subtracted.
    height, is_elevation = _height(read)
    read, height = read[height.notna()], height[height.notna()]
    days = read["elapsed_min"].to_numpy(dtype=np.float64) / MINUTES_PER_DAY
    # The start itself as a moment without a reading: between readings the half-width of a line is no straight line.
    series = drawdown_from_depths(
        np.append(days, 0.0),
        np.append(-height.to_numpy(dtype=np.float64), np.nan),
        np.append(read["half_width_m"].to_numpy(dtype=np.float64), np.nan),
        background=background,
        window_days=(-test.before_hours / 24.0, 0.0),
        thickness_m=thickness_m,
    )
    *depths, at_start = series.static_depth_m.tolist()
    static = -np.array(depths) if is_elevation else np.full(days.size, np.nan)
    made = read.assign(
        static_elevation_m=static, drawdown_m=series.drawdown_m[:-1], uncertainty_m=series.half_width_m[:-1]
    )
    return made, {
        "test": test.test,
        "well": well,
        "background": background,
        "n": series.n_before,
        "static_elevation_m": -at_start if is_elevation else math.nan,
        "static_depth_m": math.nan if is_elevation else at_start,
        "uncertainty_m": float(series.static_half_width_m[-1]),
        "slope_m_per_day": math.nan if background == "mean" else -series.slope_m_d,
        "slope_uncertainty_m_per_day": series.slope_half_width_m_d,
        **_air_of(test, well),
        "note": series.note,
    }


def _air_of(test: GatheredTest, well: str) -> dict[str, Any]:
    """Return by what the levels of a well were corrected for air pressure."""
    air = next((air for air in test.air if air.well == well), None)
    return {
        "barometer": "" if air is None else air.barometer,
        "barometric_efficiency": math.nan if air is None else air.efficiency,
        "largest_air_correction_m": math.nan if air is None else air.largest_m,
        "air_not_known": 0 if air is None else len(air.without),
    }


def _as_given(levels: pd.DataFrame) -> pd.DataFrame:
    return levels.assign(
        static_elevation_m=np.nan,
        drawdown_m=levels["given_drawdown_m"],
        uncertainty_m=np.nan,
        source=_GIVEN,
    )


def _dressed(test: GatheredTest, table: pd.DataFrame) -> pd.DataFrame:
    """Return drawdowns with what is printed beside them."""
    place = {well: number for number, well in enumerate(test.wells["well"])}
    distance = test.wells.set_index("well")["distance_m"]
    days = table["elapsed_min"].to_numpy(dtype=np.float64) / MINUTES_PER_DAY
    try:
        rates: PumpingRates | None = rates_for_analysis(test)
    except AnalysisError:
        rates = None
    unknown = np.full(len(table), np.nan)
    since = unknown if rates is None else days_since_change(rates, days)
    rate = unknown if rates is None else rates.rate_at(days)
    ratio, equivalent = unknown, unknown
    if rates is not None and math.isfinite(rates.stop_days):
        ratio, equivalent = recovery_ratio(rates, days), equivalent_days(rates, days) * MINUTES_PER_DAY
    local = table["measured_at_utc"].dt.tz_convert(zone_of(test.zone))
    table = table.assign(
        test=test.test,
        distance_m=table["well"].map(distance),
        measured_at=[moment.isoformat(timespec="seconds") for moment in local],
        # Before the start no rate had changed.
        since_change_min=np.where(days >= 0.0, since * MINUTES_PER_DAY, np.nan),
        rate_l_s=rate * 1000.0 / SECONDS_PER_DAY,
        recovery_ratio=ratio,
        equivalent_min=equivalent,
        order=table["well"].map(place),
    )
    table = table.sort_values(["order", "elapsed_min"], kind="stable", ignore_index=True)
    return table[list(DRAWDOWN_COLUMNS)]


def rates_for_analysis(test: GatheredTest) -> PumpingRates:
    """Return the rates of the pumped well as the analyses take them; a rate of 0 follows when the pump stopped.

    Parameters as `gwnet.analysis.pumping`.

    Raises
    ------
    AnalysisError
        If no rate is on record, or they cannot be a history of rates.
    """
    # Of two rates from one moment one is a mistake, which has a finding; the last one counts.
    rates = test.rates[test.rates["well"] == test.well].drop_duplicates("elapsed_min", keep="last")
    if rates.empty:
        message = f"Test {test.test} has no rate of {test.well} on record."
        raise AnalysisError(message, fix="Load its rates in a table pumping_rates.")
    minutes = rates["elapsed_min"].to_numpy(dtype=np.float64)
    rate = rates["rate_l_s"].to_numpy(dtype=np.float64) * SECONDS_PER_DAY / 1000.0
    if math.isfinite(test.stop_min):
        running = minutes < test.stop_min
        # Rates after the stop are left out: the stop is what the crew saw.
        minutes, rate = np.append(minutes[running], test.stop_min), np.append(rate[running], 0.0)
    return PumpingRates(minutes / MINUTES_PER_DAY, rate)


def wells_for_analysis(
    test: GatheredTest,
    drawdowns: PumpingDrawdowns,
    wells: Sequence[str] | None = None,
    *,
    images_m: dict[str, float] | None = None,
    first_min: float | None = None,
    last_min: float | None = None,
    superposed: Sequence[str] = (),
) -> list[WellDrawdown]:
    """Return the drawdowns of wells as the analyses take them.

    Parameters as `gwnet.analysis.pumping`.

    Parameters
    ----------
    drawdowns : PumpingDrawdowns
        Drawdowns of the test.
    wells : sequence of str, optional
        Wells, in order; all with drawdowns unless given.
    images_m : dict of str to float, optional
        Distances of wells from the image of the pumped well [m].
    first_min, last_min : float, optional
        Only readings after and up to these minutes since the start.
    superposed : sequence of str, optional
        Other wells whose pumping is superposed.

    Raises
    ------
    NotFoundError
        If no pumping of a well to superpose is on record.
    AnalysisError
        If a well has no drawdown, or its distance or radius is not on record.
    """
    table = drawdowns.table
    # All or none: readings without a half-width beside others would have no weight.
    weighs = bool((table.loc[table["well"].isin(wells or table["well"]), "uncertainty_m"] > 0.0).all())
    made = []
    for well in wells or list(dict.fromkeys(table["well"])):
        rows = table[table["well"] == well]
        if rows.empty:
            message = f"{well} has no drawdown in test {test.test}."
            raise AnalysisError(message, fix="See 'gwnet pumping drawdown' for the wells that have one.")
        minute = rows["elapsed_min"].to_numpy(dtype=np.float64)
        # The first moment of a window is left out, the last is part of it.
        kept = np.ones(minute.size, dtype=bool)
        kept &= True if first_min is None else minute > first_min
        kept &= True if last_min is None else minute <= last_min
        width = rows["uncertainty_m"].to_numpy(dtype=np.float64)[kept]
        top, bottom = _open_interval(test, well)
        made.append(
            WellDrawdown(
                well,
                _distance(test, well),
                minute[kept] / MINUTES_PER_DAY,
                rows["drawdown_m"].to_numpy(dtype=np.float64)[kept],
                width if weighs else None,
                top_m=top,
                bottom_m=bottom,
                image_m=None if images_m is None else images_m.get(well),
                others=[_other(test, well, other) for other in superposed],
                # Of real levels only, as given drawdowns have no static level of their own.
                before_days=minute[(minute <= 0) & (rows["source"] != _GIVEN).to_numpy()] / MINUTES_PER_DAY,
                background=_background(drawdowns, well),
            )
        )
    return made


def _distance(test: GatheredTest, well: str) -> float:
    """Return the distance from the pumped well; of the pumped well the radius of its screen or bore."""
    row = test.row_of(well)
    value = float(row["radius_m"] if well == test.well else row["distance_m"])
    if math.isnan(value):
        what = "radius of the screen" if well == test.well else f"distance from {test.well}"
        message = f"The {what} of {well} is not on record."
        fix = "Load the diameter of its screen in a table construction." if well == test.well else "Give coordinates."
        raise AnalysisError(message, fix=fix)
    return value


def _background(drawdowns: PumpingDrawdowns, well: str) -> str:
    own = drawdowns.static.loc[drawdowns.static["well"] == well, "background"]
    return "mean" if own.empty else str(own.iloc[0])


def _other(test: GatheredTest, well: str, other: str) -> OtherPumping:
    """Return the pumping of another well as it acts on a well."""
    rates = rates_of_other(test.others, other)
    here, there = test.row_of(well), test.row_of(other)
    distance = math.hypot(here["easting_m"] - there["easting_m"], here["northing_m"] - there["northing_m"])
    if well == other:
        distance = float(there["radius_m"])
    if math.isnan(distance) or distance == 0.0:
        what = "radius of the screen" if well == other else f"distance from {well}"
        message = f"The {what} of {other}, whose pumping is to be superposed, is not on record."
        raise AnalysisError(message, fix="Load the diameter of its screen, or the coordinates of both wells.")
    top, bottom = _open_interval(test, other)
    return OtherPumping(other, distance, rates, top, bottom)


def static_depth_below_ground(test: GatheredTest, well: str) -> float:
    """Return the depth of the level before the test below ground; NaN where it is not known [m].

    Parameters as `gwnet.analysis.pumping`; ``well`` is one of its wells.
    """
    levels = test.levels[(test.levels["well"] == well) & (test.levels["elapsed_min"] <= 0)]
    elevation = levels["water_elevation_m"].mean()
    return float(test.row_of(well)["ground_elevation_m"]) - float(elevation)


def _open_interval(test: GatheredTest, well: str) -> tuple[float | None, float | None]:
    """Return top and bottom of the screen below the static level, within the thickness; None where not known."""
    row = test.row_of(well)
    static = static_depth_below_ground(test, well)
    top, bottom = float(row["screen_top_m"]) - static, float(row["screen_bottom_m"]) - static
    # A screen above the water, or an aquifer of unknown thickness: the whole thickness is taken as open.
    if math.isnan(top) or math.isnan(bottom) or math.isnan(test.thickness_m) or bottom <= 0.0:
        return None, None
    return max(top, 0.0), min(bottom, test.thickness_m)


def dimensions_for_analysis(
    test: GatheredTest, *, thickness_m: float | None = None, boundary: str = ""
) -> PumpingGeometry:
    """Return the dimensions of pumped well and aquifer that are on record.

    Parameters as `gwnet.analysis.pumping`.

    Parameters
    ----------
    thickness_m : float, optional
        Saturated thickness, where not that on record [m].
    boundary : str, optional
        ``barrier`` or ``recharge`` where a straight boundary is to be taken into account.
    """
    row = test.row_of(test.well)
    top, bottom = _open_interval(test, test.well)
    submerged = float(row["screen_bottom_m"]) - static_depth_below_ground(test, test.well)
    return PumpingGeometry(
        well_radius_m=_known(float(row["radius_m"])),
        casing_radius_m=_known(float(row["casing_radius_m"])),
        thickness_m=_known(test.thickness_m if thickness_m is None else thickness_m),
        screen_top_m=top,
        screen_bottom_m=bottom,
        submerged_m=_known(submerged),
        boundary=boundary,
    )


def _known(value: float) -> float | None:
    return None if math.isnan(value) else value
