"""Barometric efficiency of wells with loggers, with limits; whether the response is removed is a person's choice."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any, Final

import numpy as np
import pandas as pd

from gwnet.analysis.loggers.barometers import air_pressure, barometer_channel
from gwnet.analysis.loggers.channels import LoggerRecord, deployments_in, loggers_of
from gwnet.analysis.loggers.heads import LoggerHeads, iterate_heads
from gwnet.constants import GAP_TIMES_INTERVAL
from gwnet.errors import AnalysisError
from gwnet.hydro.arrays import MICROSECONDS, Floats, Instants
from gwnet.hydro.loggers.barometric import clark_efficiency, regression_efficiency
from gwnet.hydro.loggers.deconvolution import TIDES, BarometricResponse, deconvolve_response
from gwnet.hydro.loggers.dense_series import interpolate_at, usual_interval_s
from gwnet.hydro.loggers.unusable_intervals import least_step
from gwnet.store.snapshot import Snapshot

#: Spans of changes that are compared [h], so that a late answer shows.
SPANS_H: Final = (1, 6, 24)

#: Ways of working out an efficiency, in the order of the columns.
METHODS: Final = (
    *("clark", "regression_of_changes", "regression_of_levels"),
    *(f"changes_{hours}h" for hours in SPANS_H),
    "deconvolution",
)

#: Columns of `estimate_efficiencies`.
EFFICIENCY_COLUMNS: Final = (
    *"site well instrument barometer every_hours pairs".split(),
    *(f"{method}{part}" for method in METHODS for part in ("", "_lower", "_upper")),
    *"correlation_of_changes lag_hours applied_efficiency note".split(),
)

#: Columns of `estimate_responses`.
RESPONSE_COLUMNS: Final = tuple(
    (
        "site well instrument barometer input lag_hours response response_lower response_upper amplitude_m "
        "amplitude_lower_m amplitude_upper_m phase_deg phase_lower_deg phase_upper_deg note"
    ).split()
)

#: Lags of the deconvolution unless others are asked for, and the most [h].
USUAL_LAG_H: Final = 24.0
LONGEST_LAG_H: Final = 240.0

#: Efficiencies outside 0 to 1 by more than this, or by more than their half-width, are not given (project default).
_BEYOND: Final = 0.05

#: Differences of efficiencies smaller than this are not worth a warning (project default).
_LEAST_DIFFERENCE: Final = 0.05

#: Share of the variance of the changes of air pressure that may come from its resolution (project default).
_RESOLUTION_SHARE: Final = 0.05


@dataclass(frozen=True)
class _Pair:
    """Levels and air pressure of one deployment at even moments."""

    heads: LoggerHeads
    deployment: Any
    step_s: float
    when: Instants
    level_m: Floats
    air_m: Floats
    resolution_m: float


def estimate_efficiencies(
    record: Snapshot,
    wells: Sequence[str] | None = None,
    *,
    every_hours: float = 1.0,
    lag_hours: float = USUAL_LAG_H,
    tides: bool = False,
) -> pd.DataFrame:
    """Return the barometric efficiency of each deployment by several methods, each with its 95 % limits.

    Parameters as `gwnet.analysis.loggers`.

    Parameters
    ----------
    every_hours : float, optional
        Step at which levels and air pressure are compared, an hour unless given; never less than the interval [h].
    lag_hours : float, optional
        Time within which a well may answer, for the deconvolution; a day unless given [h].
    tides : bool, optional
        Whether the deconvolution fits earth tides beside the air pressure.

    Returns
    -------
    pandas.DataFrame
        Columns of `EFFICIENCY_COLUMNS`, one row a deployment with an air pressure. ``clark``, the regressions of
        changes from step to step, of levels, and of changes over 1, 6 and 24 hours, and ``deconvolution``, the response
        at the longest lag, each with ``_lower`` and ``_upper``. ``applied_efficiency`` is the one on record, of a
        late response that at its longest lag, which is removed from the heads, NaN for none; the others are of levels
        before that. ``note`` has warnings.

    Raises
    ------
    AnalysisError
        If the step or the lag does not serve.

    Notes
    -----
    `gwnet.hydro.loggers.barometric.clark_efficiency`, `gwnet.hydro.loggers.barometric.regression_efficiency` and
    `gwnet.hydro.loggers.deconvolution.deconvolve_response`. The methods differ: Clark weighs a trend of the level
    least; changes suffer from noise and from late responses; levels as they are count every season as a response. A
    value outside 0 to 1 by more than 0.05 or more than its half-width is impossible and is not given; the note says
    what it was. Any sensor is compared with the barometer that its deployment names.
    """
    rows = [_efficiencies(pair, lag_hours, tides=tides) for pair in _pairs(record, wells, every_hours, lag_hours)]
    return pd.DataFrame(rows, columns=list(EFFICIENCY_COLUMNS))


def estimate_responses(
    record: Snapshot,
    wells: Sequence[str] | None = None,
    *,
    every_hours: float = 1.0,
    lag_hours: float = USUAL_LAG_H,
    tides: bool = False,
) -> pd.DataFrame:
    """Return the response of each deployment to a step of air pressure, one row a lag, and to earth tides.

    Parameters as `gwnet.analysis.loggers`.

    Parameters
    ----------
    every_hours, lag_hours, tides : float, float, bool, optional
        As `estimate_efficiencies`.

    Returns
    -------
    pandas.DataFrame
        Columns of `RESPONSE_COLUMNS`. Rows with the input ``air pressure`` have the response up to a lag, rows with the
        name of a tide amplitude and phase, the phase at 2000-01-01 12:00 UTC.

    Raises
    ------
    AnalysisError
        If the step or the lag does not serve.
    """
    rows = [
        row
        for pair in _pairs(record, wells, every_hours, lag_hours)
        for row in _responses(pair, _deconvolved(pair, lag_hours, tides=tides))
    ]
    return pd.DataFrame(rows, columns=list(RESPONSE_COLUMNS))


def refuse_without_air(record: Snapshot, instrument: str) -> None:
    """Stop where no response to air pressure can be removed from the heads of an instrument.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record.
    instrument : str
        Code of the instrument.

    Raises
    ------
    AnalysisError
        If none of its deployments has an air pressure.
    """
    table = deployments_in(record)
    table = table[table["instrument"] == instrument]
    if next(_pairs_of(record, table, 1.0), None) is None:
        barometers = ", ".join(sorted({str(name) for name in table["barometer"] if name}))
        why = f"its barometer {barometers} has no samples then" if barometers else "its deployments name no barometer"
        message = f"The response of {instrument!r} to air pressure cannot be removed: {why}."
        raise AnalysisError(message, fix="Name its barometer in the deployment, or load the barometer's files.")


def find_response(
    record: Snapshot, instrument: str, lag_hours: float, start: dt.datetime | None, end: dt.datetime | None
) -> dict[str, Any]:
    """Return the late response to air pressure as it is recorded with a correction.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record.
    instrument : str
        Code of the instrument.
    lag_hours : float
        Time within which the well may answer [h].
    start, end : datetime.datetime or None
        Span of the correction; the deployments that it meets count.

    Returns
    -------
    dict
        Keys step_s, response and half_width, of the deployment with most changes.

    Raises
    ------
    AnalysisError
        If the instrument was in several wells in that time, or the record gives no response, an impossible one or one
        that is not significant.
    """
    table = deployments_in(record)
    table = table[table["instrument"] == instrument]
    first, last = (None if edge is None else pd.Timestamp(edge) for edge in (start, end))
    # Outside the span the sensor may have been in other wells.
    if first is not None:
        table = table[table["removed_at_utc"].isna() | (table["removed_at_utc"] > first)]
    if last is not None:
        table = table[table["installed_at_utc"] < last]
    pairs = list(_pairs_of(record, table, 1.0))
    wells = sorted({pair.heads.well for pair in pairs})
    if len(wells) > 1:
        message = f"{instrument!r} was in {', '.join(wells)}, which answer to air pressure each in its own way."
        raise AnalysisError(message, fix="Give --from and --to of one of them.")
    found = [(pair, _deconvolved(pair, lag_hours, tides=False)) for pair in pairs]
    if not found:
        message = f"No deployment of {instrument!r} with an air pressure meets that span."
        raise AnalysisError(message, fix="Give another span; 'gwnet logger status' lists the deployments.")
    # Of several deployments of the well the one with most changes, whose limits are narrowest.
    pair, response = max(found, key=lambda each: each[1].count)
    value, half_width = float(response.response[-1]), float(response.half_width[-1])
    is_lost = not value > half_width  # its limits reach zero
    if response.why or is_impossible(value, half_width) or is_lost:
        lost = f"{value:.2f} ± {half_width:.2f} at the longest lag is not significant"
        why = response.why or (_no_efficiency(value, half_width) if is_impossible(value, half_width) else lost)
        message = f"The record of {instrument!r} gives no response to air pressure: {why}."
        raise AnalysisError(message, fix="Give other --lags; 'gwnet logger efficiency --response' prints the response.")
    return {
        "step_s": pair.step_s,
        # Five digits are far below the half-widths, and keep the stored row readable.
        "response": [round(float(each), 5) for each in response.response],
        "half_width": [round(float(each), 5) for each in response.half_width],
    }


def _pairs(record: Snapshot, wells: Sequence[str] | None, every_hours: float, lag_hours: float) -> Iterator[_Pair]:
    """Yield what is compared of each deployment with an air pressure."""
    if not (0 < every_hours <= LONGEST_LAG_H and 0 <= lag_hours <= LONGEST_LAG_H):
        message = f"Levels every {every_hours:g} h with lags up to {lag_hours:g} h cannot be compared."
        raise AnalysisError(message, fix=f"Give a step above 0 and lags from 0, both up to {LONGEST_LAG_H:g} hours.")
    yield from _pairs_of(record, deployments_in(record, wells), every_hours)


def _pairs_of(record: Snapshot, deployments: pd.DataFrame, every_hours: float) -> Iterator[_Pair]:
    """Yield what is compared of deployments with an air pressure."""
    rows = deployments.set_index("deployment_id", drop=False)
    loggers = loggers_of(record)
    for heads in iterate_heads(record, deployments):
        pair = _pair(loggers, heads, rows.loc[heads.deployment_id], every_hours)
        if pair is not None:
            yield pair


def _pair(loggers: LoggerRecord, heads: LoggerHeads, deployment: Any, every_hours: float) -> _Pair | None:
    """Return what is compared of one deployment; None without an air pressure."""
    air_pa = heads.level.air_pa
    # Vented sensors have no air pressure of their own; the barometer of their deployment serves.
    if np.isnan(air_pa).all():
        air_pa = air_pressure(loggers, deployment, heads.time_utc).pressure_pa
    if np.isnan(air_pa).all():
        return None
    when = heads.time_utc
    # Levels of the sensor, not heads: those carry the correction whose size is in question.
    level = np.where(heads.state.out == 0, heads.level.level_m + np.nan_to_num(heads.anchored.correction_m), np.nan)
    # Not finer than the samples: interpolated changes would look smooth and late.
    step_s = np.fmax(3600.0 * every_hours, usual_interval_s(when))
    grid = np.arange(when[0], when[-1] + np.timedelta64(1, "us"), np.timedelta64(round(step_s * MICROSECONDS), "us"))
    per_pascal = heads.level.metres_per_pascal()
    level, air_m = (
        interpolate_at(grid, when, values, longest_gap_s=GAP_TIMES_INTERVAL * step_s)
        for values in (level, air_pa * per_pascal)
    )
    channel = barometer_channel(loggers, deployment.barometer, when)
    step_pa = 0.0 if channel is None else least_step(channel.value)
    return _Pair(heads, deployment, step_s, grid, level, air_m, step_pa * float(np.nanmedian(per_pascal)))


def _place(pair: _Pair) -> dict[str, Any]:
    heads = pair.heads
    return {
        "site": heads.site,
        "well": heads.well,
        "instrument": heads.instrument,
        "barometer": pair.deployment.barometer,
    }


def _deconvolved(pair: _Pair, lag_hours: float, *, tides: bool) -> BarometricResponse:
    # Whole steps only, as the response is of even moments.
    lags = int(lag_hours * 3600 // pair.step_s)
    return deconvolve_response(pair.when, pair.level_m, pair.air_m, lags=lags, tides=tuple(TIDES) if tides else ())


def _efficiencies(pair: _Pair, lag_hours: float, *, tides: bool) -> dict[str, Any]:
    """Return the efficiencies of one deployment."""
    arguments = (pair.level_m, pair.air_m)
    changes = regression_efficiency(*arguments, of_changes=True)
    levels, clark = regression_efficiency(*arguments, of_changes=False), clark_efficiency(*arguments)
    response = _deconvolved(pair, lag_hours, tides=tides)
    values = {
        "clark": (clark.efficiency, clark.half_width),
        "regression_of_changes": (changes.efficiency, changes.half_width),
        "regression_of_levels": (levels.efficiency, levels.half_width),
        **dict.fromkeys((f"changes_{hours}h" for hours in SPANS_H), (np.nan, np.nan)),
        "deconvolution": (float(response.response[-1]), float(response.half_width[-1])),
    }
    for hours, over in _spans(pair):
        spanned = regression_efficiency(*arguments, of_changes=True, over=over)
        values[f"changes_{hours}h"] = (spanned.efficiency, spanned.half_width)
    heads, deployment = pair.heads, pair.deployment
    settings = heads.level.channel.correction_history.settings(
        "efficiency", deployment.installed_at_utc, deployment.removed_at_utc
    )
    row = {
        **_place(pair),
        "every_hours": pair.step_s / 3600,
        "pairs": changes.count,
        "correlation_of_changes": changes.correlation,
        "lag_hours": float(response.lag_s[-1]) / 3600,
        "applied_efficiency": float(settings.get("value", settings.get("response", [np.nan])[-1])),
        "note": "; ".join([*_impossible(values), *_late(values), *_coarse(pair), *_unsettled(response)]),
    }
    for method, (value, half_width) in values.items():
        if not is_impossible(value, half_width):
            row |= {method: value, f"{method}_lower": value - half_width, f"{method}_upper": value + half_width}
    return row


def is_impossible(efficiency: float, half_width: float) -> bool:
    """Return whether a value can be no efficiency: outside 0 to 1 by more than 0.05 or more than its half-width.

    Parameters
    ----------
    efficiency, half_width : float
        Value and its 95 % half-width; NaN is possible.
    """
    beyond = max(-efficiency, efficiency - 1.0)
    return bool(beyond > _BEYOND or beyond > half_width)


def _spans(pair: _Pair) -> Iterator[tuple[int, int]]:
    """Yield the spans of changes in hours that are whole steps, and how many steps."""
    for hours in SPANS_H:
        over = round(3600 * hours / pair.step_s)
        # A span that is no whole number of steps would compare other hours than it says.
        if over >= 1 and abs(over * pair.step_s - 3600 * hours) < 1:
            yield hours, over


def _span_words(method: str) -> str:
    words = method.replace("_", " ")
    return words.replace("changes ", "changes over ") if method.endswith("h") else words


def _no_efficiency(value: float, half_width: float) -> str:
    return f"{value:.2f} ({value - half_width:.2f} to {value + half_width:.2f}) is no efficiency"


def _impossible(values: dict[str, tuple[float, float]]) -> Iterator[str]:
    """Yield what no efficiency can be."""
    for method, (value, half_width) in values.items():
        if is_impossible(value, half_width):
            yield f"{_span_words(method)}: {_no_efficiency(value, half_width)}"


def _late(values: dict[str, tuple[float, float]]) -> Iterator[str]:
    """Yield that changes over longer spans give another value."""
    known = [(hours, *values[f"changes_{hours}h"]) for hours in SPANS_H if not np.isnan(values[f"changes_{hours}h"][0])]
    differs = any(
        abs(value - other) > max(_LEAST_DIFFERENCE, float(np.hypot(width, other_width)))
        for (_, value, width), (_, other, other_width) in combinations(known, 2)
    )
    if differs:
        spans, numbers = (
            ", ".join(words) for words in zip(*((f"{h} h", f"{v:.2f}") for h, v, _ in known), strict=True)
        )
        yield f"changes over {spans} disagree ({numbers}): the answer changes with time, see the deconvolution"


def _coarse(pair: _Pair) -> Iterator[str]:
    """Yield that the barometer's resolution makes a part of the changes of air pressure.

    Rounding to steps of r adds r^2 / 12 to the variance of a value, twice that to the variance of a change.
    """
    shares = []
    for hours, over in _spans(pair):
        changes = pair.air_m[over:] - pair.air_m[:-over]
        variance = float(np.nanvar(changes)) if (~np.isnan(changes)).any() else 0.0
        # Both ends of a change are rounded: twice r²/12.
        share = pair.resolution_m**2 / 6.0 / variance if variance > 0 else 0.0
        if share > _RESOLUTION_SHARE:
            shares.append(f"{min(share, 1.0):.0%} over {hours} h")
    if shares:
        # An absolute sensor whose barometer is too coarse keeps the air in its level, and looks fully efficient.
        toward = 1 if pair.heads.quantity == "absolute pressure" else 0
        step = f"{1000 * pair.resolution_m:.2g} mm of water"
        parts = ", ".join(shares)
        yield f"the barometer's steps of {step} are too coarse: {parts} of the changes, drawn toward {toward}"


def _unsettled(response: BarometricResponse) -> Iterator[str]:
    """Yield why there is no response function, or that it goes on changing at the longest lag."""
    if response.why:
        yield f"no deconvolution: {response.why}"
    elif abs(response.settling) > max(_LEAST_DIFFERENCE, response.settling_half_width):
        hours = float(response.lag_s[-1]) / 3600
        yield f"the response still changes within the last half of {hours:g} h: longer lags may serve"


def _responses(pair: _Pair, response: BarometricResponse) -> Iterator[dict[str, Any]]:
    """Yield the rows of one deployment, one a lag and one a tide."""
    notes = "; ".join([*_coarse(pair), *_unsettled(response)])
    for lag_s, value, half_width in zip(response.lag_s, response.response, response.half_width, strict=True):
        row = {**_place(pair), "input": "air pressure", "lag_hours": lag_s / 3600, "note": notes}
        if is_impossible(value, half_width):
            row["note"] = "; ".join(word for word in (_no_efficiency(value, half_width), notes) if word)
        else:
            row |= {"response": value, "response_lower": value - half_width, "response_upper": value + half_width}
        yield row
    for tide in response.tides:
        is_small = tide.amplitude_m <= tide.amplitude_half_width_m
        yield {
            **_place(pair),
            "input": tide.name,
            "amplitude_m": tide.amplitude_m,
            "amplitude_lower_m": max(tide.amplitude_m - tide.amplitude_half_width_m, 0.0),
            "amplitude_upper_m": tide.amplitude_m + tide.amplitude_half_width_m,
            "phase_deg": tide.phase_deg,
            "phase_lower_deg": tide.phase_deg - tide.phase_half_width_deg,
            "phase_upper_deg": tide.phase_deg + tide.phase_half_width_deg,
            "note": "not significant" if is_small else "",
        }
