"""Production of a well from one of its tests: available drawdown, specific capacity, drawdowns and rates."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from gwnet.analysis.pumping.analyses import AnalysedTest, FitRequest, analyse_test
from gwnet.analysis.pumping.drawdown import rates_for_analysis, wells_for_analysis
from gwnet.analysis.pumping.gather import GatheredTest, find_test
from gwnet.errors import AnalysisError
from gwnet.hydro.pumping.production import (
    PRODUCTION_SENTENCE,
    AvailableDrawdown,
    Prediction,
    available_drawdown,
    predict_drawdown,
    rate_for_drawdown,
)
from gwnet.hydro.pumping.steps import step_ends
from gwnet.store.snapshot import Snapshot
from gwnet.units import SECONDS_PER_DAY

#: Columns of the rows of production.
PRODUCTION_COLUMNS: Final = tuple("test well quantity rate_l_s hours value unit lower upper note".split())

#: Litres per second in one cubic metre a day.
_L_S: Final = 1000.0 / SECONDS_PER_DAY

AVAILABLE: Final = "available drawdown"
CAPACITY: Final = "specific capacity"
DRAWDOWN: Final = "drawdown for a rate"
RATE: Final = "rate for a limit"


@dataclass(frozen=True)
class ProductionRequest:
    """What is asked of a well.

    Attributes
    ----------
    method : str
        Analysis that drawdowns are worked out by; ``step-theis`` for step tests, ``theis`` for others unless given.
    rates_l_s : tuple of float
        Rates whose drawdowns are wanted [L/s].
    hours : float
        Time since the start of pumping for which drawdowns and rates are wanted.
    limit_m : float, optional
        Depth below the measuring point that the level may not fall below, beside pump intake and screen top [m].
    background, before_hours, is_air_removed
        As of `gwnet.analysis.pumping.analyses.FitRequest`.
    """

    method: str = ""
    rates_l_s: tuple[float, ...] = ()
    hours: float = 24.0
    limit_m: float | None = None
    background: Any = "mean"
    before_hours: float = 24.0
    is_air_removed: bool = True


@dataclass(frozen=True, eq=False)
class Production:
    """What a well yields, as far as a test of it tells.

    Attributes
    ----------
    analysed : gwnet.analysis.pumping.analyses.AnalysedTest
        The test with the analysis that was used.
    table : pandas.DataFrame
        Columns of `PRODUCTION_COLUMNS`.
    notes : tuple of str
        What is to be known of the numbers; the last is that on interference, seasonal lows and licences.
    """

    analysed: AnalysedTest
    table: pd.DataFrame
    notes: tuple[str, ...]


def work_out_production(record: Snapshot, code: str, asked: ProductionRequest) -> Production:
    """Return what the pumped well of a test yields.

    Parameters as `gwnet.analysis.pumping`.

    Parameters
    ----------
    code : str
        Code of the test.
    asked : ProductionRequest
        Rates, time and limit.

    Returns
    -------
    Production
        Numbers with limits.

    Raises
    ------
    NotFoundError
        If the test is not on record.
    AnalysisError
        If its readings do not tell a drawdown.
    """
    row = find_test(record, code)
    method = asked.method or ("step-theis" if row["kind"] == "step" else "theis")
    wells = () if method.startswith("step") else (str(row["well"]),)
    request = FitRequest(
        wells=wells,
        background=asked.background,
        before_hours=asked.before_hours,
        is_air_removed=asked.is_air_removed,
    )
    analysed = analyse_test(record, code, [method], request)
    test, fit = analysed.test, analysed.fits[0]
    rows: list[dict[str, Any]] = []
    notes = [fit.note] if fit.note else []
    try:
        available: AvailableDrawdown | None = _available(record, test, asked.limit_m)
    except AnalysisError as error:
        # Without an available drawdown the drawdowns for rates can still be worked out.
        available = None
        notes.append(" ".join(filter(None, (error.message, error.fix))))
    if available is not None:
        rows.append({"quantity": AVAILABLE, "value": available.drawdown_m, "unit": "m", "note": _limits(available)})
    rows += _capacities(test, analysed)
    days = asked.hours / 24.0
    for rate in asked.rates_l_s:
        predicted = predict_drawdown(fit, rate / _L_S, days)
        rows.append(_predicted(DRAWDOWN, predicted, asked.hours) | {"rate_l_s": rate})
        notes.append(predicted.note)
    if available is not None:
        found = rate_for_drawdown(fit, available.drawdown_m, days)
        rows.append(_predicted(RATE, _in_litres(found), asked.hours) | {"rate_l_s": found.value * _L_S})
        notes.append(found.note)
    table = pd.DataFrame([{"test": code, "well": test.well, **row} for row in rows], columns=list(PRODUCTION_COLUMNS))
    numbers = ["rate_l_s", "hours", "value", "lower", "upper"]
    table = table.astype(dict.fromkeys(numbers, "float64")).assign(note=table["note"].fillna(""))
    notes += [sentence for air in test.air for sentence in air.sentences() if air.well == test.well]
    return Production(analysed, table, _said(notes))


def _said(notes: Sequence[str]) -> tuple[str, ...]:
    """Return each note once, and the sentence for professionals once, at the end."""
    bare = [note.replace(PRODUCTION_SENTENCE, "").strip() for note in notes]
    return (*dict.fromkeys(filter(None, bare)), PRODUCTION_SENTENCE)


def _available(record: Snapshot, test: GatheredTest, limit_m: float | None) -> AvailableDrawdown:
    """Return the available drawdown to pump intake, screen top or a limit given."""
    before = test.levels[(test.levels["well"] == test.well) & (test.levels["elapsed_min"] <= 0)]
    static = float(before["depth_to_water_m"].mean())
    if math.isnan(static):
        message = f"No depth to water of {test.well} before test {test.test} is on record."
        raise AnalysisError(message, fix="Load the depth that was read before the pump started.")
    top = float(test.row_of(test.well)["screen_top_m"]) + _height_above_ground(record, test)
    depths = {"pump intake": test.intake_depth_m, "screen top": top, "limit": math.nan if limit_m is None else limit_m}
    return available_drawdown(static, {name: depth for name, depth in depths.items() if not math.isnan(depth)})


def _height_above_ground(record: Snapshot, test: GatheredTest) -> float:
    """Return the height of the measuring point of the pumped well that is nearest in time; NaN for none [m]."""
    points = record.measuring_points
    points = points[(points["site"] == test.site) & (points["well"] == test.well)]
    readings = record.pumping_readings
    own = readings[(readings["test"] == test.test) & (readings["well"] == test.well)]
    access = "main" if own.empty else str(own["access"].iloc[0])
    points = points[(points["access"] == access) & points["height_above_ground_m"].notna()]
    if points.empty:
        return math.nan
    away = (points["valid_from_utc"] - test.starts_utc).abs()
    return float(points.loc[away.idxmin(), "height_above_ground_m"])


def _limits(available: AvailableDrawdown) -> str:
    others = "; ".join(f"{name} {drawdown:.2f} m" for name, drawdown in available.others)
    return f"to the {available.limit} at {available.depth_m:.2f} m" + (f"; others: {others}" if others else "")


def _capacities(test: GatheredTest, analysed: AnalysedTest) -> list[dict[str, Any]]:
    """Return the specific capacity at the end of each rate, with its hours."""
    [well] = wells_for_analysis(test, analysed.drawdowns, [test.well])
    ends = step_ends(rates_for_analysis(test), well)
    widths = np.full(ends.drawdown_m.size, math.nan) if ends.half_width_m is None else ends.half_width_m
    capacity = ends.specific_capacity_m2_d * _L_S
    rows = []
    for rate, hours, drawdown, width, value in zip(
        ends.rate_m3_d, ends.hours, ends.drawdown_m, widths, capacity, strict=True
    ):
        litres = rate * _L_S
        # A drawdown within its half-width may be nothing, and the capacity without a bound.
        lower, upper = litres / (drawdown + width), litres / (drawdown - width) if drawdown > width else math.inf
        note = f"drawdown {drawdown:.3f} m at the end of the rate"
        rows.append(
            {"quantity": CAPACITY, "rate_l_s": litres, "hours": hours, "value": value, "unit": "L/s/m"}
            | {"lower": lower, "upper": upper, "note": note}
        )
    return rows


def _in_litres(found: Prediction) -> Prediction:
    return Prediction(found.value * _L_S, found.lower * _L_S, found.upper * _L_S, "L/s", found.note)


def _predicted(quantity: str, predicted: Prediction, hours: float) -> dict[str, Any]:
    return {
        "quantity": quantity,
        "hours": hours,
        "value": predicted.value,
        "unit": predicted.unit,
        "lower": predicted.lower,
        "upper": predicted.upper,
    }
