"""What the page of an aquifer's year shows: high and low water, its key wells, and the sentences above them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd

from gwnet.analysis.thresholds.lanes import BEYOND, LEVEL, LOGGER, MANUAL, NOT_BEYOND
from gwnet.analysis.thresholds.states import CROSSED, NOT_CROSSED, UNCONFIRMED, UNJUDGED, ThresholdState
from gwnet.figures.base.text import shown
from gwnet.figures.hydrograph.context_strips import rate_unit, rounded
from gwnet.figures.hydrograph.strips import CrossingBar
from gwnet.reporting.definition.period import date_text
from gwnet.reporting.measures import Measures
from gwnet.reporting.results.result import counted
from gwnet.reporting.threshold_words import value_text

if TYPE_CHECKING:
    from gwnet.reporting.data import MapFacts
    from gwnet.reporting.view import ReportView

#: Key wells of an aquifer that are drawn.
KEY_WELLS: Final = 4
#: Fewest wells that high and low water are compared by. Project default.
_FEWEST: Final = 3


def extreme_maps(view: ReportView, aquifer: str) -> tuple[MapFacts, MapFacts] | None:
    """Return the maps of high and of low water of an aquifer in the period; None with fewer than two maps.

    Returns
    -------
    tuple of MapFacts or None
        The maps whose used wells, those that all of them share, stand highest and lowest on the mean.
    """
    maps = [facts for facts in view.maps() if facts.aquifer == aquifer and facts.result is not None]
    if len(maps) < 2:
        return None
    means = _means(maps)
    order = sorted(range(len(maps)), key=lambda place: (means[place], maps[place].day))
    low, high = maps[order[0]], maps[order[-1]]
    return high, low


def _levels(facts: MapFacts) -> pd.Series:
    used = facts.control[facts.control["used"].astype(bool) & (facts.control["kind"] == "well")]
    return used.set_index("well")["water_elevation_m"].astype(float)


def _means(maps: Sequence[MapFacts]) -> list[float]:
    levels = pd.concat([_levels(facts).rename(place) for place, facts in enumerate(maps)], axis=1)
    shared = levels.dropna()
    # By the wells that all maps have: a low well that was measured once would make that map the lowest.
    return [float(value) for value in (shared if len(shared) >= _FEWEST else levels).mean()]


def key_wells(view: ReportView, aquifer: str) -> tuple[str, ...]:
    """Return the wells of an aquifer whose year is drawn: those with thresholds, then those with the widest range."""
    wells = [str(well) for well in view.wells.loc[view.wells["aquifer"].fillna("") == aquifer, "well"]]
    limited = list(dict.fromkeys(state.well for state in view.thresholds if state.well in set(wells)))
    levels = view.levels[view.levels["well"].isin(wells) & view.levels["usable"].astype(bool)]
    levels = levels[(levels["bound"] == "") & (levels["day"] >= pd.Timestamp(view.period.first))]
    spans = levels.groupby("well")["water_elevation_m"].agg(lambda values: values.max() - values.min())
    logged = {well for well in wells if well in view.data.logger_lines}
    # Wells with loggers first: of their year there is a line, of others a few points.
    widest = sorted(spans.index, key=lambda well: (well not in logged, -float(spans[well]), str(well)))
    chosen = [*limited, *(str(well) for well in widest if str(well) not in limited)][:KEY_WELLS]
    # In the order of the report again, whatever each was chosen for.
    return tuple(sorted(chosen, key=wells.index))


def crossing_bars(view: ReportView, wells: Sequence[str]) -> dict[str, CrossingBar]:
    """Return days and readings of the threshold on levels of most consequence of each well."""
    bars: dict[str, CrossingBar] = {}
    for state in view.thresholds:
        name = shown(state.well)
        if state.form == LEVEL and state.well in wells and state.state != NOT_CROSSED and name not in bars:
            bars[name] = _bar(state)
    return bars


def _bar(state: ThresholdState) -> CrossingBar:
    lanes = []
    for source in (LOGGER, MANUAL):
        lane = state.lane(source, state.first)
        lane = lane[lane["state"].isin([BEYOND, NOT_BEYOND])]
        days = pd.to_datetime(lane["day"]).to_numpy(dtype="datetime64[D]").astype(np.int64).astype(np.float64)
        lanes.append((days, (lane["state"] == BEYOND).to_numpy(dtype=bool)))
    (days, beyond), (readings, read_beyond) = lanes
    if state.state == UNJUDGED:
        text = state.state
    elif beyond.any():
        text = f"beyond on {counted(int(beyond.sum()), 'day')}"
    else:
        text = f"beyond at {int(read_beyond.sum())} of {readings.size}"
    # Readings at noon of their day, between the edges that a logger's day has.
    return CrossingBar(days, beyond, readings + 0.5, read_beyond, text)


def range_sentence(view: ReportView, aquifer: str) -> tuple[str, str]:
    """Return how far low water was below high water, as a first clause and the rest; empty without two maps."""
    pair = extreme_maps(view, aquifer)
    if pair is None:
        return "", ""
    high, low = pair
    falls = (_levels(high) - _levels(low)).dropna()
    if falls.empty:
        return "", ""
    measures = view.measures
    lead = f"Low water came in {_month(low.day)}, {measures.text(float(falls.mean()), decimals=2)} below the high water"
    lead += f" of {_month(high.day)}"
    most, least = str(falls.idxmax()), str(falls.idxmin())
    rest = (
        f"on the mean of {counted(len(falls), 'well')}; most at {most} "
        f"({measures.text(float(falls.max()), decimals=2)}), least at {least} "
        f"({measures.text(float(falls.min()), decimals=2)})."
    )
    return lead, rest


def _month(day: dt.date) -> str:
    return date_text(day).split(" ", 1)[1].split(" ")[0]


def threshold_sentence(view: ReportView, aquifer: str) -> str:
    """Return which thresholds of an aquifer were crossed in the period, on how many days and at how many readings."""
    own = [state for state in view.thresholds if view.aquifer_of(state.well) == aquifer]
    if not own:
        return "No threshold is in force at its wells."
    crossed = [state for state in own if state.state in (CROSSED, UNCONFIRMED)]
    if not crossed:
        return f"None of {counted(len(own), 'threshold')} was crossed."
    texts = [f"{state.well} {state.threshold} {_beyond(state, view.measures)}" for state in crossed]
    return f"Beyond {'a threshold' if len(crossed) == 1 else f'{len(crossed)} thresholds'}: {'; '.join(texts)}."


def _beyond(state: ThresholdState, measures: Measures) -> str:
    days, readings = state.counts[LOGGER], state.counts[MANUAL]
    parts = []
    if days.judged:
        parts.append(f"on {days.beyond} of {days.judged} logger days")
    if readings.judged:
        parts.append(f"at {readings.beyond} of {counted(readings.judged, 'reading')}")
    if state.extreme is not None:
        day = dt.date.fromisoformat(state.extreme.at[:10])
        parts.append(f"peak {value_text(state, state.extreme.value_m, measures)} on {date_text(day)}")
    return ", ".join(parts)


def weather_sentence(view: ReportView) -> str:
    """Return rainfall and abstraction of the period against the mean of the years before; empty where none is known."""
    texts = []
    for quantity, verb in (("rainfall", "Rain was"), ("abstraction", "Abstraction was")):
        own = view.data.context
        own = own[own["quantity"] == quantity].dropna(subset=["value"])
        for unit, rows in own.groupby("unit", sort=True):
            # A rate, such as cubic metres per day, has no sum over months.
            if "/" in str(unit):
                continue
            if text := _against_mean(view, rows, str(unit), quantity):
                texts.append(f"{verb} {text}")
    return " ".join(texts)


def _against_mean(view: ReportView, rows: pd.DataFrame, unit: str, quantity: str) -> str:
    days = pd.to_datetime(rows["date"])
    months = {(day.year, day.month) for day in days}
    wanted = pd.period_range(view.period.first, view.period.last, freq="M")
    # A sum with a month missing is less than fell or was pumped.
    if not all((month.year, month.month) in months for month in wanted):
        return ""
    # Rainfall of several gauges is a mean, abstraction of several wells a sum.
    series = rows["series"].nunique() if quantity == "rainfall" else 1

    def total(years_back: int) -> float | None:
        span = [(month.year - years_back, month.month) for month in wanted]
        if not all(month in months for month in span):
            return None
        inside = np.array([(day.year, day.month) in set(span) for day in days])
        return float(rows["value"].to_numpy()[inside].sum()) / series

    now = total(0)
    before = [value for back in range(1, 31) if (value := total(back)) is not None]
    if now is None:
        return ""
    text = f"{rounded(now)} {rate_unit(unit)}"
    # Of a mean of zero nothing is a percentage.
    if len(before) < _FEWEST or not np.mean(before):
        return f"{text}."
    share = round(100.0 * (now / float(np.mean(before)) - 1.0))
    years = f"{view.period.first.year - len(before)} to {view.period.first.year - 1}"
    how = "as much as" if not share else f"{abs(share)} % {'more' if share > 0 else 'less'} than"
    return f"{text}, {how} the mean of {years}."
