"""What was measured of what was planned, and which wells gave no level that can be compared."""

from __future__ import annotations

import math
from typing import Final

from gwnet.analysis.levels.bounds import BELOW_SCREEN, SENSOR_OUT
from gwnet.analysis.levels.serving import OPEN_FINDING
from gwnet.reporting.changes import why_bound
from gwnet.reporting.definition.period import date_text
from gwnet.reporting.measures import joined
from gwnet.reporting.results.result import Result, counted
from gwnet.reporting.rounds import Event, RoundView
from gwnet.reporting.view import ReportView

SUBJECT: Final = "visits"

_HELD_BACK: Final = "held back"
_STATES: Final = {
    "no access": "could not be reached",
    "not found": "could not be found",
    "nearby pumping": "had pumping nearby",
    "flowing": "flowed without a number",
    "not usable": "gave a level that is left out",
    _HELD_BACK: "gave a level that an open serious finding keeps out",
    SENSOR_OUT: "had the sensor out of water and only a bound",
    BELOW_SCREEN: "had water below the screen and only a bound",
}


def visit_result(view: ReportView) -> Result:
    """Return how many planned wells gave a level in the newest round of the period, and what became of the others.

    Parameters as `gwnet.reporting`.
    """
    current = view.current
    if current is None:
        logged = logged_wells(view)
        lead = "No level was measured at the selected wells in this period."
        if logged:
            number = counted(len(logged), "well")
            lead = f"No manual reading was made in this period; loggers recorded at {number}."
        return Result(SUBJECT, lead)
    good: list[str] = []
    others: dict[str, list[str]] = {}
    missing: list[str] = []
    # Of a day that stands for a round nothing was planned; it has its wells only.
    for well in current.planned or current.best:
        event = current.best.get(well)
        if event is None:
            missing.append(well)
        elif event["usable"] and not event["bound"] and math.isfinite(event["water_elevation_m"]):
            good.append(well)
        else:
            others.setdefault(_word(event), []).append(well)
    planned = len(current.planned)
    of_all = f"{planned} planned" if planned else str(len(current.best))
    lead = f"{len(good)} of {of_all} wells gave a level that can be compared and mapped."
    parts = [f"{len(wells)} {_state(word, len(wells))} ({joined(wells)})" for word, wells in sorted(others.items())]
    text = f"{_name_of(current)}"
    if parts:
        text += f" {'; '.join(parts)}."
    if missing:
        text += f" {joined(missing)} {'has' if len(missing) == 1 else 'have'} no reading and no reason on record."
    besides = [well for well in current.best if well not in set(current.planned)] if planned else []
    if besides:
        text += f" {joined(besides)} {'was' if len(besides) == 1 else 'were'} measured besides the plan."
    return Result(SUBJECT, lead, text)


def logged_wells(view: ReportView) -> list[str]:
    """Return the selected wells at which a logger recorded a head in the period."""
    lines, period = view.data.logger_lines, view.period
    return [well for well in view.wells["well"] if well in lines and lines[well].has_heads(period.first, period.last)]


def days_of(view: RoundView) -> str:
    """Return when a round was measured: ``on 17 February 2026``."""
    if view.first == view.last:
        return f"on {date_text(view.first)}"
    return f"from {date_text(view.first)} to {date_text(view.last)}"


def _word(event: Event) -> str:
    if event["bound"]:
        return why_bound(event)
    if str(event["unusable_reason"]).startswith(OPEN_FINDING):
        return _HELD_BACK
    return str(event["status"]) if event["status"] != "static" else "not usable"


def _name_of(current: RoundView) -> str:
    if current.is_proposed:
        return f"The levels of {current.code} stand for a gauging round: {current.purpose}."
    if current.code:
        return f"Round {current.code} was measured {days_of(current)}."
    return f"Levels were taken {days_of(current)}."


def _state(status: str, count: int) -> str:
    if status in _STATES:
        return _STATES[status]
    return f"{'was' if count == 1 else 'were'} {status}"
