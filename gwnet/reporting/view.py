"""One report's look at the record: selected wells, the period's rounds, comparisons and thresholds, worked out once."""

from __future__ import annotations

import datetime as dt
import difflib
import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from gwnet.analysis.thresholds.states import ThresholdState, find_states
from gwnet.errors import DefinitionError
from gwnet.reporting.changes import Change, change_between
from gwnet.reporting.data import MapFacts, ReportData
from gwnet.reporting.definition.parse import Definition
from gwnet.reporting.definition.period import Period
from gwnet.reporting.measures import Measures, fitting_decimals, local_day
from gwnet.reporting.rounds import Event, RoundView, rounds_of, year_before


@dataclass(frozen=True, slots=True)
class ReviewCount:
    """How many of the period's levels are in which review state."""

    total: int
    approved: int
    rejected: int
    on_hold: int

    @property
    def provisional(self) -> int:
        """Levels that nobody decided on yet."""
        return self.total - self.approved - self.rejected - self.on_hold

    @property
    def state(self) -> str:
        """State of the report: approved only when somebody decided on every level and none is on hold."""
        return "APPROVED" if self.total and self.approved + self.rejected == self.total else "PROVISIONAL"


@dataclass(frozen=True, slots=True, eq=False)
class ReportView:
    """What the sections are written from.

    Parameters
    ----------
    data : ReportData
        The record.
    definition : Definition
        What the report holds.
    period : Period
        Its period.
    measures : Measures
        How lengths are printed.
    wells : DataFrame
        Selected wells: aquifers in the order of the record, wells by code.
    levels : DataFrame
        Their events to the end of the period.
    rounds : tuple of RoundView
        Rounds of the period and the last measured one before them.
    in_period : tuple of RoundView
        Those of the period.
    years_before : mapping of str to mapping
        Events of about a year before each round of the period: by code of the round, then by well.
    thresholds : tuple of ThresholdState
        State of each threshold in force over the period, the worst first.
    reviews : ReviewCount
        Review states of the period's levels.
    """

    data: ReportData
    definition: Definition
    period: Period
    measures: Measures
    wells: pd.DataFrame
    levels: pd.DataFrame
    rounds: tuple[RoundView, ...]
    in_period: tuple[RoundView, ...]
    years_before: Mapping[str, Mapping[str, Event]]
    thresholds: tuple[ThresholdState, ...]
    reviews: ReviewCount

    @property
    def current(self) -> RoundView | None:
        """The newest round of the period."""
        return self.in_period[-1] if self.in_period else None

    @property
    def closes_on(self) -> dt.date:
        """The day on which the record closes, on the clock of the site."""
        day = local_day(self.data.known_on.recorded_at_utc, self.data.site.time_zone)
        return day or self.period.last

    def before(self, view: RoundView) -> RoundView | None:
        """Return the round before another one."""
        place = self.rounds.index(view)
        return self.rounds[place - 1] if place else None

    def change_since_last(self, view: RoundView, well: str) -> Change:
        """Return the change at a well since the round before."""
        before = self.before(view)
        absent = f"no event in {before.label}" if before else "no earlier round on record"
        return change_between(view.best.get(well), before.best.get(well) if before else None, absent)

    def change_in_year(self, view: RoundView, well: str) -> Change:
        """Return the change at a well in the year before a round."""
        absent = "no event about a year before"
        return change_between(view.best.get(well), self.year_before(view).get(well), absent)

    def year_before(self, view: RoundView) -> Mapping[str, Event]:
        """Return the event of about a year before a round of the period, by well."""
        return self.years_before.get(view.code, {})

    def aquifer_of(self, well: str) -> str:
        """Return the code of a well's aquifer, empty when it is not on record."""
        return self._aquifers().get(well, "")

    def _aquifers(self) -> dict[str, str]:
        return dict(zip(self.wells["well"], self.wells["aquifer"].fillna(""), strict=True))

    def aquifer_name(self, code: str) -> str:
        """Return the name of an aquifer with its code, or that none is on record."""
        if not code:
            return "Aquifer not on record"
        names = self.data.aquifers
        match = names[names["aquifer"] == code]
        name = "" if match.empty else str(match["name"].iloc[0] or "")
        return f"{name} ({code})" if name and name != code else code

    def by_aquifer(self) -> list[tuple[str, pd.DataFrame]]:
        """Return the selected wells aquifer by aquifer, in the order of the record, those without one last."""
        codes = dict.fromkeys(self.wells["aquifer"].fillna("").astype(str))
        return [(code, self.wells[self.wells["aquifer"].fillna("") == code]) for code in codes]

    def maps(self) -> tuple[MapFacts, ...]:
        """Return the maps of the period and of the selected aquifers."""
        wanted = set(self.definition.aquifers)
        return tuple(
            facts
            for facts in self.data.maps
            if self.period.contains(facts.day) and (not wanted or facts.aquifer in wanted)
        )


def look(definition: Definition, data: ReportData, period: Period) -> ReportView:
    """Select and work out what the sections need.

    Returns
    -------
    ReportView
        The look at the record.

    Raises
    ------
    DefinitionError
        If the definition selects a well, an aquifer, a round or a threshold that is not on record, or nothing is left.
    """
    wells = _selected_wells(definition, data)
    levels = data.levels[data.levels["well"].isin(wells["well"])]
    # A report of a period says nothing of later levels, even when it is made again after years.
    levels = levels[levels["day"] <= pd.Timestamp(period.last)]
    rounds = rounds_of(data, levels, wells, period)
    _known(definition.rounds, {str(code) for code in data.rounds["round"]}, "round")
    in_period = tuple(
        view
        for view in rounds
        if (period.contains(view.first) or period.contains(view.last))
        and (not definition.rounds or view.code in definition.rounds)
    )
    limits = data.thresholds
    if definition.thresholds:
        _known(definition.thresholds, {str(name) for name in limits["threshold"]}, "threshold")
        limits = limits[limits["threshold"].isin(definition.thresholds)]
    unit = definition.unit(data.site.length_unit)
    events = pd.concat([view.events for view in in_period]) if in_period else levels.iloc[:0]
    decimals = definition.decimals
    if decimals is None:
        # By the levels of the period alone: coarse readings of early years would round off the new ones.
        decimals = fitting_decimals(events["uncertainty_m"].to_numpy(dtype=np.float64), unit)
    return ReportView(
        data=data,
        definition=definition,
        period=period,
        measures=Measures(unit, decimals),
        wells=wells,
        levels=levels,
        rounds=rounds,
        in_period=in_period,
        years_before={view.code: year_before(levels, period, view) for view in in_period},
        # All levels: a threshold on a gradient has another well, which the report may not select.
        thresholds=find_states(
            limits, data.levels, data.logger_days, list(wells["well"]), period.first, period.last, data.site.time_zone
        ),
        reviews=_review_count(events),
    )


def _selected_wells(definition: Definition, data: ReportData) -> pd.DataFrame:
    wells = data.wells
    _known(definition.wells, set(wells["well"]), "well")
    _known(definition.aquifers, {*data.aquifers["aquifer"], *wells["aquifer"]}, "aquifer")
    wells = definition.members(wells)
    if wells.empty:
        raise DefinitionError(
            "The report selects no well.", where=definition.name, fix="Check the keys wells and aquifers in [select]."
        )
    aquifer = wells["aquifer"].fillna("").astype(str)
    place = {str(code): number for number, code in enumerate(data.aquifers["aquifer"])}
    order = pd.DataFrame(
        {
            # Aquifers that are named and not described after those on record; wells without one at the end.
            "place": [place.get(code, len(place) + (code == "")) for code in aquifer],
            "aquifer": aquifer,
            "well": wells["well"].astype(str),
        }
    )
    return wells.loc[order.sort_values(["place", "aquifer", "well"], kind="stable").index].reset_index(drop=True)


def _known(wanted: tuple[str, ...], known: set[str], kind: str) -> None:
    for name in wanted:
        if name not in known:
            close = difflib.get_close_matches(name, sorted(str(item) for item in known if item), n=1, cutoff=0.5)
            hint = f"Did you mean {close[0]!r}?" if close else "Check the table [select] of the definition."
            message = f"The definition selects the {kind} {name!r}, which is not on record at this site."
            raise DefinitionError(message, fix=hint)


def _review_count(events: pd.DataFrame) -> ReviewCount:
    stated = events[
        # Visits without a level have nothing to approve, and would keep a report provisional for ever.
        (events["bound"] != "") | events["water_elevation_m"].map(lambda value: math.isfinite(float(value)))
    ]
    counts = stated["review"].value_counts()
    return ReviewCount(
        len(stated), int(counts.get("approved", 0)), int(counts.get("rejected", 0)), int(counts.get("on hold", 0))
    )
