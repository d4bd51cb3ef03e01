"""Pumped wells of a report and what was pumped from each in the month of a day."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import TYPE_CHECKING, Final

import pandas as pd

from gwnet.figures.base.text import plain, shown
from gwnet.figures.hydrograph.context_strips import rate_unit, rounded

if TYPE_CHECKING:
    from gwnet.reporting.view import ReportView

#: Words of a purpose or role that say that a well is pumped.
_PUMPED: Final = ("supply", "production", "abstraction", "dewatering", "pumping", "extraction", "irrigation")
#: What is printed where a pumped well's rate is not on record.
NO_RATE: Final = "pumped"


def pumped_wells(view: ReportView, day: dt.date) -> Mapping[str, str]:
    """Return the pumped wells of a site, each with its rate in the month of a day.

    Parameters
    ----------
    view : gwnet.reporting.view.ReportView
        The report's look at the record.
    day : datetime.date
        Day.

    Returns
    -------
    mapping of str to str
        Rate as printed by well, `NO_RATE` where none is on record. Wells are pumped that their purpose or role says so
        of, and those that a series of abstraction is named after.
    """
    context = view.data.context
    series = context[context["quantity"] == "abstraction"]
    named = set(series["series"].astype(str))
    rates: dict[str, str] = {}
    for row in view.data.wells.to_dict("records"):
        well, words = str(row["well"]), f"{plain(row['purpose'])} {plain(row['role'])}".lower()
        closed = plain(row.get("decommissioned_on"))
        if (closed and closed <= day.isoformat()) or not (well in named or any(word in words for word in _PUMPED)):
            continue
        rates[well] = _rate(series[series["series"] == well], day) or NO_RATE
    return rates


def _rate(series: pd.DataFrame, day: dt.date) -> str:
    """Return what was pumped in the month of a day, per day where the series counts volumes."""
    days = pd.to_datetime(series["date"])
    own = series[(days.dt.year == day.year) & (days.dt.month == day.month)].dropna(subset=["value"])
    if own.empty:
        return ""
    unit, value = str(own["unit"].iloc[0]), float(own["value"].mean())
    # Rates have a mean; volumes are added up and spread over the days of the month.
    if "/" not in unit:
        value = float(own["value"].sum()) / pd.Period(day.isoformat(), "M").days_in_month
        unit = f"{unit}/d"
    return f"{rounded(value)} {shown(rate_unit(unit))}"
