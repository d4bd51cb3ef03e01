"""Rainfall, stage and abstraction on the time axis of the hydrographs above them."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.figures.base.axes import day_number, day_of_number, to_local_days
from gwnet.figures.base.text import number_text, shown
from gwnet.figures.hydrograph.surroundings import context_bars
from gwnet.units import metres_per

Floats = NDArray[np.float64]

_MONTHS: Final = (
    *("January", "February", "March", "April", "May", "June", "July"),
    *("August", "September", "October", "November", "December"),
)
#: Most gauges whose stages are drawn in one strip.
_MOST_GAUGES: Final = 3


@dataclass(frozen=True, slots=True, eq=False)
class ContextStrip:
    """One series under the hydrographs.

    Parameters
    ----------
    name, unit : str
        What it is, and of what its values are, as printed.
    look : {"bars", "steps", "lines"}
        How it is drawn: rainfall as bars, abstraction as steps, stages as lines.
    left, width : numpy.ndarray, shape (n,)
        Start and length of each value [d]; for lines the time of each and zeros.
    value : numpy.ndarray, shape (n,)
        Values; of lines stages in the unit of drawing, NaN between two gauges.
    newest : str
        The newest value in words.
    """

    name: str
    unit: str
    look: Literal["bars", "steps", "lines"]
    left: Floats
    width: Floats
    value: Floats
    newest: str = ""


def context_strips(
    context: pd.DataFrame | None,
    stages: pd.DataFrame | None,
    *,
    first: float,
    last: float,
    known_until: dt.date | None = None,
    unit: str = "m",
    zone: str = "UTC",
) -> tuple[ContextStrip, ...]:
    """Return what is drawn under hydrographs: rainfall, stages, abstraction, each in a strip of its own.

    Parameters
    ----------
    context : pandas.DataFrame or None
        Context frame: series, quantity, unit, date, value.
    stages : pandas.DataFrame or None
        Stages frame: gauge, measured_at_utc, water_elevation_m [m].
    first, last : float
        Ends of the time axis, days since 1970-01-01.
    known_until : datetime.date, optional
        Day on which the record closes; a month or year that is not over by then is left out.
    unit : {"m", "ft"}
        Unit of stages.
    zone : str, optional
        Time zone of the site.

    Returns
    -------
    tuple of ContextStrip
        Rainfall as the mean of its gauges, abstraction as the sum of its wells per day.
    """
    strips = [strip for strip in _summed(context, first, last, known_until) if strip is not None]
    if stages is not None and len(stages):
        stage = _stage_strip(stages, first, last, unit, zone)
        if stage is not None:
            strips.insert(1 if strips and strips[0].look == "bars" else 0, stage)
    return tuple(strips)


def _summed(
    context: pd.DataFrame | None, first: float, last: float, known_until: dt.date | None
) -> list[ContextStrip | None]:
    if context is None or context.empty:
        return []
    end = last if known_until is None else min(last, day_number(known_until) + 1.0)
    strips: list[ContextStrip | None] = []
    for quantity in ("rainfall", "abstraction"):
        own = context[context["quantity"] == quantity]
        for unit, rows in own.groupby("unit", sort=True):
            parts = [bars for _, one in rows.groupby("series", sort=True) for bars in context_bars(one, first, last)]
            if parts:
                names = [shown(name) for name in sorted(rows["series"].astype(str).unique())]
                strips.append(_together(parts, quantity, str(unit), names, end))
    return strips


def _together(parts: list[Any], quantity: str, unit: str, names: list[str], end: float) -> ContextStrip | None:
    """Return the series of a quantity as one: rainfall as a mean, abstraction as a sum for each day."""
    starts = np.unique(np.concatenate([part.left for part in parts]))
    total, count, width = np.zeros(starts.size), np.zeros(starts.size), np.zeros(starts.size)
    for part in parts:
        at = np.searchsorted(starts, part.left)
        total[at] += part.value
        count[at] += 1
        width[at] = part.width
    # A month that is not over yet would look like a dry one.
    whole = starts + width <= end + 1e-6
    starts, total, count, width = starts[whole], total[whole], count[whole], width[whole]
    if not starts.size:
        return None
    yearly, printed = bool(width.max() > 300), rate_unit(shown(unit))
    if quantity == "rainfall":
        value = total / count
        name = "rainfall" if len(names) == 1 else f"rainfall, mean of {len(names)} gauges"
        printed = printed if "/" in unit else f"{printed} a {'year' if yearly else 'month'}"
        look: Literal["bars", "steps"] = "bars"
    else:
        value, look = total, "steps"
        if "/" not in unit:
            # Volumes a day: months of 28 and of 31 days compare.
            value, printed = total / width, f"{printed}/d"
        name = f"abstraction of {names[0]}" if len(names) == 1 else f"abstraction of {len(names)} wells"
    day = day_of_number(starts[-1])
    when = str(day.year) if yearly else _MONTHS[day.month - 1]
    newest = f"{when} {rounded(float(value[-1]))}"
    return ContextStrip(name, printed, look, starts, width, value, newest)


def rate_unit(unit: str) -> str:
    """Return a unit of volumes or rates with raised figures, as printed.

    Examples
    --------
    >>> rate_unit("m3/d")
    'm³/d'
    """
    return unit.replace("m3", "m³").replace("ft3", "ft³")


def rounded(value: float) -> str:
    """Return a volume or rate as printed: whole from ten on, with a narrow space before each thousand.

    Examples
    --------
    >>> rounded(2146.2)
    '2\u202f146'
    """
    text = number_text(value, 0 if abs(value) >= 10 else 1)
    if not text.lstrip("−").isdigit():
        return text
    return f"{int(text.replace('−', '-')):,}".replace(",", "\u202f").replace("-", "−")


def _stage_strip(stages: pd.DataFrame, first: float, last: float, unit: str, zone: str) -> ContextStrip | None:
    days = to_local_days(stages["measured_at_utc"].tolist(), zone)
    inside = (days >= first) & (days < last)
    own = stages[inside].assign(days=days[inside]).dropna(subset=["water_elevation_m"])
    lefts, values, newest = [], [], []
    gauges = sorted(own["gauge"].astype(str).unique())
    # More lines of one colour could not be distinguished in ten millimetres.
    for gauge in gauges[:_MOST_GAUGES]:
        rows = own[own["gauge"] == gauge].sort_values("days", kind="stable")
        heads = rows["water_elevation_m"].to_numpy(dtype=np.float64) / metres_per(unit)
        # NaN behind each gauge, or a line would lead from the last stage of one to the first of the next.
        lefts += [rows["days"].to_numpy(dtype=np.float64), np.array([np.nan])]
        values += [heads, np.array([np.nan])]
        newest.append(f"{shown(gauge)} {number_text(float(heads[-1]), 2)}")
    if not lefts:
        return None
    left = np.concatenate(lefts)
    return ContextStrip("stage", unit, "lines", left, np.zeros(left.size), np.concatenate(values), ", ".join(newest))
