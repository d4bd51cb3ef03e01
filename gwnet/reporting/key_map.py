"""What the key map of a cover shows."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from gwnet.analysis.thresholds.states import NOT_CROSSED
from gwnet.figures.base.text import shown
from gwnet.figures.maps.context import MapContext
from gwnet.figures.maps.key_map import WellState
from gwnet.figures.maps.network_data import NetworkPlotData, network_plot_data
from gwnet.reporting.pumping import pumped_wells
from gwnet.reporting.threshold_page import MARKS

if TYPE_CHECKING:
    from gwnet.reporting.view import ReportView


def key_map_data(
    view: ReportView, context: MapContext
) -> tuple[NetworkPlotData, Mapping[str, WellState], Mapping[str, str]]:
    """Return wells and gauges, the states of thresholds that are not simply kept, and pumped wells with their rates.

    Parameters
    ----------
    view : gwnet.reporting.view.ReportView
        The report's look at the record.
    context : gwnet.figures.maps.context.MapContext
        Site and record.
    """
    data = network_plot_data(
        view.wells, context, aquifers=view.data.aquifers, stages=view.data.stages, unit=view.measures.unit
    )
    # Wells are marked as pumped by the month in which the levels were read.
    day = view.current.first if view.current is not None else view.period.last
    pumped = {shown(well): rate for well, rate in pumped_wells(view, day).items()}
    return data, threshold_marks(view), pumped


def threshold_marks(view: ReportView) -> dict[str, WellState]:
    """Return the marks of the wells whose thresholds are not simply kept, the worst state first."""
    found: dict[str, WellState] = {}
    for state in view.thresholds:
        if state.state == NOT_CROSSED:
            continue
        held = found.get(shown(state.well), WellState((), ()))
        found[shown(state.well)] = WellState(
            tuple(dict.fromkeys((*held.marks, MARKS[state.state]))), (*held.names, shown(state.threshold))
        )
    return found
