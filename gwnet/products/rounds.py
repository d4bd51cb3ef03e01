"""A planned gauging round: worked out from the record, recorded, and described with what is due."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import pandas as pd

from gwnet.analysis.fieldwork.planning import CHECK, Programme, due_by, planned_wells, stops
from gwnet.clock import zone_of
from gwnet.errors import SettingsError
from gwnet.store.fetch.round_values import RoundValues, round_on_record
from gwnet.store.save.rounds import save_round
from gwnet.store.snapshot import Snapshot


@dataclass(frozen=True)
class PlanWish:
    """What is wanted of a round; what is None is worked out, or stays as it was on record.

    Attributes
    ----------
    starts_on : datetime.date
        First local day.
    ends_on : datetime.date, optional
        Last local day.
    wells : tuple of str, optional
        Codes of wells.
    as_given : bool
        Whether they keep their order.
    start : str, optional
        Well from which the walk starts.
    last : tuple of str
        Wells to be gauged after all others.
    crew, purpose, notes : str, optional
        Texts.
    """

    starts_on: dt.date
    ends_on: dt.date | None = None
    wells: tuple[str, ...] | None = None
    as_given: bool = False
    start: str | None = None
    last: tuple[str, ...] = ()
    crew: str | None = None
    purpose: str | None = None
    notes: str | None = None


@dataclass(frozen=True, eq=False)
class RoundPlan:
    """A round that was planned.

    Attributes
    ----------
    site, round : str
        Codes.
    outcome : str
        ``added``, ``unchanged`` or ``corrected``.
    starts_on, ends_on : datetime.date
        First and last local day.
    crew : str
        Who goes.
    stops : pandas.DataFrame
        The wells in order with what is due, as `gwnet.analysis.fieldwork.planning.stops`.
    due : pandas.DataFrame
        Everything due at the site until the last day, as `gwnet.analysis.fieldwork.planning.Programme.due`.
    left_out : dict of str to str
        Wells of the site that are not in use on the first day, with the reason.
    """

    site: str
    round: str
    outcome: str
    starts_on: dt.date
    ends_on: dt.date
    crew: str
    stops: pd.DataFrame
    due: pd.DataFrame
    left_out: dict[str, str]

    def sentences(self) -> list[str]:
        """Return what is to be said beside the stops."""
        span = f"{self.starts_on}" if self.starts_on == self.ends_on else f"{self.starts_on} to {self.ends_on}"
        walk_km = float(self.stops["walk_m"].sum()) / 1000.0
        outcomes = {"added": "recorded", "unchanged": "is on record as planned", "corrected": "planned anew"}
        wells = f"{len(self.stops)} well{'' if len(self.stops) == 1 else 's'}"
        lines = [
            f"Round {self.round} at {self.site}, {span}: {outcomes[self.outcome]}; {wells}, "
            f"{walk_km:.1f} km in a straight line from well to well."
        ]
        for tape in self.due[self.due["what"] == CHECK].itertuples():
            when = "never checked" if tape.due_on is None else f"due {tape.due_on}"
            lines.append(f"Check tape {tape.instrument} before the round ({when}; {tape.rule}).")
        planned = set(self.stops["well"])
        elsewhere = self.due[(self.due["well"] != "") & ~self.due["well"].isin(planned)]
        if len(elsewhere):
            wells = ", ".join(dict.fromkeys(elsewhere["well"]))
            lines.append(f"Something is due at wells that are not planned as well: {wells}.")
        lines += [f"Left out: {well}, {reason}." for well, reason in self.left_out.items()]
        return lines


def due_at_sites(
    record: Snapshot, on: dt.date | None, *, now_utc: dt.datetime, everything: bool = False
) -> pd.DataFrame:
    """Return what is due at every site of a record.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record of one site or of all.
    on : datetime.date or None
        Local day; the site's own day now unless given.
    now_utc : datetime.datetime
        Aware time that counts as now.
    everything : bool, optional
        Whether to return what is not due yet as well.

    Returns
    -------
    pandas.DataFrame
        As `gwnet.analysis.fieldwork.planning.Programme.due`.
    """
    tables = []
    for code in record.sites["site"]:
        site = record.of_site(code)
        # Today is local: sites of one record may lie on two sides of midnight.
        day = on or now_utc.astimezone(zone_of(str(site.settings["time_zone"]))).date()
        table = Programme(site, day).due
        tables.append(table if everything else due_by(table, day))
    return pd.concat(tables, ignore_index=True)


def plan_round(
    record: Snapshot,
    code: str,
    wish: PlanWish,
    *,
    by: str,
    correct: bool = False,
    reason: str | None = None,
) -> RoundPlan:
    """Plan a round and record it.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The live record of one site, in a writing unit of work.
    code : str
        Code of the round.
    wish : PlanWish
        What is wanted.
    by : str
        Who records.
    correct : bool, optional
        Whether a round on record is planned anew.
    reason : str, optional
        Why; needed to correct.

    Returns
    -------
    RoundPlan
        What was planned.

    Raises
    ------
    SettingsError
        If the round ends before it starts, its code is empty, or a well is not in use.
    NotFoundError
        If a well is not on record.
    StoreError
        If the round is on record with other values and no correction was asked for.
    """
    if not code.strip():
        raise SettingsError("The round has no name.", fix="Give one, for example 2026-Q2.")
    ends_on = wish.ends_on or wish.starts_on
    if ends_on < wish.starts_on:
        message = f"The round would end on {ends_on}, before it starts on {wish.starts_on}."
        raise SettingsError(message, fix="Check --starts-on and --ends-on.")
    programme, site = Programme(record, wish.starts_on), str(record.site)
    earlier = round_on_record(record.connection, site, code)
    # Only a correction takes over the earlier order; a round planned twice by mistake is refused on recording.
    order = _order(programme, wish, earlier if correct else None)
    values = RoundValues(
        starts_on=wish.starts_on,
        ends_on=ends_on,
        wells=tuple(order),
        purpose=_kept(wish.purpose, "" if earlier is None else earlier.purpose),
        crew=_kept(wish.crew, "" if earlier is None else earlier.crew),
        notes=_kept(wish.notes, "" if earlier is None else earlier.notes),
    )
    outcome = save_round(record.connection, site, code, values, by=by, correct=correct, reason=reason)
    return RoundPlan(
        site=site,
        round=code,
        outcome=outcome,
        starts_on=wish.starts_on,
        ends_on=ends_on,
        crew=values.crew,
        stops=stops(programme, order, ends_on),
        due=due_by(programme.due, ends_on),
        left_out=programme.wells_left_out,
    )


def _order(programme: Programme, wish: PlanWish, earlier: RoundValues | None) -> list[str]:
    """Return the wells of a round in order: as wished, or as planned before, as far as they are in use."""
    if wish.as_given and not wish.wells:
        raise SettingsError("No wells are given whose order could be kept.", fix="Name them with --wells.")
    again = earlier is not None and wish.wells is None and wish.start is None and not wish.last
    if again and earlier is not None and earlier.wells:
        usable = programme.wells_in_use
        # A change of date or crew must not undo an order that somebody set by hand.
        kept = [code for code in earlier.wells if code in usable]
        if kept:
            return kept
    walk = planned_wells(programme, wish.wells, start=wish.start, last=wish.last)
    return list(dict.fromkeys(wish.wells)) if wish.as_given and wish.wells else walk


def _kept(wished: str | None, earlier: str) -> str:
    return earlier if wished is None else wished.strip()
