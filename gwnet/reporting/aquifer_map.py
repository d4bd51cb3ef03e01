"""What the page of an aquifer shows: the map with reasons at the points, changes at the wells, and short notes."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

import pandas as pd

from gwnet.constants import OTHER_AQUIFER
from gwnet.figures.base.text import shown
from gwnet.figures.maps.aquifer_page import AquiferPage, ChangeBar, ChangePanel
from gwnet.figures.maps.context import MapContext
from gwnet.figures.maps.data import MapPlotData, MapPoint, map_plot_data
from gwnet.reporting.definition.period import date_text
from gwnet.reporting.measures import joined, moment_text
from gwnet.reporting.pumping import NO_RATE, pumped_wells
from gwnet.reporting.results.flow import significant_decimals

if TYPE_CHECKING:
    from gwnet.reporting.data import MapFacts
    from gwnet.reporting.extras import AquiferChange
    from gwnet.reporting.view import ReportView

#: Longest reason that is written at a point of the map [letters].
_LONGEST_REASON: Final = 30
#: Wells that are given up are named in the notes alone.
_CLOSED: Final = "decommissioned"
_HOW_DRAWN: Final = "are estimates between the levels; beyond the dotted line nothing is drawn."


def aquifer_page(view: ReportView, facts: MapFacts, context: MapContext) -> AquiferPage:
    """Return what the page of an aquifer shows.

    Parameters
    ----------
    view : gwnet.reporting.view.ReportView
        The report's look at the record.
    facts : gwnet.reporting.data.MapFacts
        Its newest map, which was not refused.
    context : gwnet.figures.maps.context.MapContext
        Site and record.

    Returns
    -------
    gwnet.figures.maps.aquifer_page.AquiferPage
        Plain numbers and sentences.
    """
    changes = [change for change in view.data.extras.changes if change.aquifer == facts.aquifer]
    return AquiferPage(
        data=marked_map(view, facts, context),
        changes=tuple(_panel(view, change) for change in changes[:2]),
        notes=tuple(_notes(view, facts)),
    )


def marked_map(view: ReportView, facts: MapFacts, context: MapContext) -> MapPlotData:
    """Return a map with the reason at each point that was left out, and pumped wells with their rate.

    Parameters as `aquifer_page`.

    Returns
    -------
    gwnet.figures.maps.data.MapPlotData
        Pumped wells of other aquifers stand on it too, and say from which they take.
    """
    data, rates = map_plot_data(facts.result, context), pumped_wells(view, facts.day)
    points = [_marked(point, rates) for point in data.points if not point.reason.startswith(_CLOSED)]
    held = {point.name for point in points}
    wells = view.data.wells
    for row in wells[wells["well"].isin(rates) & ~wells["well"].isin(held)].to_dict("records"):
        name, aquifer = str(row["well"]), str(row["aquifer"] or "")
        x, y = (float(row[key]) if pd.notna(row[key]) else math.nan for key in ("easting", "northing"))
        rate = rates[name]
        value = f"from {_short(view.aquifer_name(aquifer))}" if aquifer else ""
        # A well of another aquifer may draw down this one; without a rate it says nothing.
        if math.isfinite(x) and rate != NO_RATE:
            points.append(MapPoint(f"{shown(name)} pumps {rate}", "well", x, y, value, used=False, rate=rate))
    return replace(data, points=tuple(points))


def _marked(point: MapPoint, rates: Mapping[str, str]) -> MapPoint:
    rate = rates.get(point.name, "")
    if rate:
        pumping = "" if rate == NO_RATE else f" pumps {rate}"
        value = point.value if point.used else f"{point.value.strip('()')} not used".strip()
        return replace(point, name=f"{point.name}{pumping}", value=value, rate=rate)
    if point.used or point.quiet:
        return point
    reason = point.reason.partition(":")[0] if point.value else point.reason
    text = f"{reason}, {point.value}" if point.value else reason
    return replace(point, value=text if len(text) <= _LONGEST_REASON else f"{text[:_LONGEST_REASON].rstrip()}…")


def _short(name: str) -> str:
    """Return the name of an aquifer without its code."""
    return name.partition(" (")[0].lower()


def gradient_text(facts: MapFacts) -> str:
    """Return size and direction of the gradient of a map in a few words; empty where it is not determined."""
    gradient = facts.gradient
    if gradient is None or not gradient.determined:
        return ""
    decimals = significant_decimals(gradient.magnitude_uncertainty)
    size = f"{gradient.magnitude:.{decimals}f} ± {gradient.magnitude_uncertainty:.{decimals}f}"
    return f"{size} towards {round(gradient.azimuth_deg) % 360}°"


def _panel(view: ReportView, change: AquiferChange) -> ChangePanel:
    title = f"Change since {date_text(change.since)}"
    if change.refused:
        return ChangePanel(title, refused=change.refused)
    measures, wells = view.measures, change.wells
    wells = wells[wells["easting"].notna() & wells["northing"].notna()]
    other = ~wells["used"].astype(bool) & wells["reason"].fillna("").astype(str).str.startswith(OTHER_AQUIFER)
    bars = tuple(
        ChangeBar(
            well=str(row["well"]),
            x=float(row["easting"]),
            y=float(row["northing"]),
            change=measures.length(float(row["change_m"])) if row["used"] else 0.0,
            is_significant=bool(row["used"] and row["is_significant"]),
            is_compared=bool(row["used"]),
        )
        for row in wells[~other].to_dict("records")
    )
    half = wells.loc[wells["used"].astype(bool), "uncertainty_m"].dropna()
    width = measures.text(float(half.median())) if len(half) else ""
    return ChangePanel(title, bars, width)


def _notes(view: ReportView, facts: MapFacts) -> list[tuple[str, str]]:
    """Return the notes of a map in a few lines; how it was made in full is in the chapter on that."""
    result, measures = facts.result, view.measures
    assert result is not None
    used = result.used
    notes = [("Levels", _levels_note(view, used))]
    if left_out := _left_out(facts.control):
        notes.append(("Left out", left_out))
    error = result.cross_validation.rmse_m
    method = result.method_text.partition(",")[0]
    error_text = f"; error where a level is left out {measures.text(error, decimals=2)}" if math.isfinite(error) else ""
    inferred = dict(result.parameters).get("inferred beyond", "")
    dashed = f" Dashed beyond {measures.words(inferred)}." if inferred else ""
    every = f"contours every {measures.length(facts.interval_m):.4g}\u00a0{measures.unit}, "
    interval = every if math.isfinite(facts.interval_m) else ""
    notes.append(("Surface", f"{interval}{method[0].lower()}{method[1:]}{error_text}.{dashed}"))
    # The well is the title of the note, and need not begin its text as well.
    notes += [(well, text.removeprefix(well).lstrip(": ,")) for well, text in _findings(facts)]
    above = [text for text in result.cautions if "above the ground" in text]
    notes += [("Above ground", measures.words(text.replace("Heads are", "heads are"))) for text in above]
    return [*notes, ("Contours", _HOW_DRAWN)]  # the last, because what has no room is left out from the end


def _levels_note(view: ReportView, used: pd.DataFrame) -> str:
    measures = view.measures
    times = sorted(str(text) for text in used["measured_at"] if text)
    when = ""
    if times:
        first, last = moment_text(times[0][:16]), moment_text(times[-1][:16])
        when = f"of {first}" if first == last else f"of {first} to {last[-5:] if first[:10] == last[:10] else last}"
    logged = [str(well) for well in used.loc[used["source"] == "logger", "well"]]
    by_logger = f"; {joined(logged, most=4)} by logger" if logged else ""
    half = used["uncertainty_m"].dropna()
    width = f"; ± {measures.text(float(half.median()))}" if len(half) else ""
    return f"{when}, local time{by_logger}{width}."


def _left_out(control: pd.DataFrame) -> str:
    """Return the wells of the aquifer that were left out, with their reasons in brackets."""
    out = control[~control["used"].astype(bool)]
    out = out[~out["reason"].fillna("").astype(str).str.startswith(OTHER_AQUIFER)]
    reasons: dict[str, list[str]] = {}
    for row in out.to_dict("records"):
        reasons.setdefault(str(row["reason"] or "no reason given").partition(":")[0], []).append(str(row["well"]))
    parts = [f"{joined(wells, most=6)} ({reason})" for reason, wells in reasons.items()]
    return f"{'; '.join(parts)}." if parts else ""


def _findings(facts: MapFacts) -> list[tuple[str, str]]:
    result: Any = facts.result
    return [(str(item.well), str(item.text)) for item in (*result.findings, *result.honour_failures)][:3]
