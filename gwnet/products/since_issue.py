"""What was recorded since the cut-off of an issue: corrections, the levels that they moved, and levels added."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import pandas as pd

from gwnet.analysis.levels.table import levels
from gwnet.analysis.review.effects import compare_states, reduce_state
from gwnet.clock import moment_text
from gwnet.reporting.errata import MovedLevels, Reason, is_of_words
from gwnet.store.fetch import history
from gwnet.store.snapshot import Snapshot

if TYPE_CHECKING:
    from collections.abc import Iterable


@dataclass(frozen=True)
class SinceIssue:
    """What was recorded after one cut-off and up to another.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record of one site.
    since, until : datetime.datetime
        The two cut-offs.
    """

    record: Snapshot
    since: dt.datetime
    until: dt.datetime

    @cached_property
    def reasons(self) -> list[Reason]:
        """Return what may explain a changed value: corrections by act, and levels added by well."""
        rows = history.changes(self.record.connection, since=self.since, until=self.until)
        acts: dict[tuple[str, ...], list[str]] = {}
        for row in rows.to_dict("records"):
            name, _, place = str(row["item"]).partition(" (")
            # Neither a promise nor a change of words explains a number.
            if row["subject"] == "register entry" or is_of_words(name):
                continue
            when = moment_text(row["recorded_at_utc"], self.record.zone, timespec="minutes")
            place = place.removesuffix(")")
            act = (str(row["well"]), str(row["subject"]), place, str(row["recorded_by"]), when, str(row["reason"]))
            # Together by act: a corrected survey changes many columns, for one reason.
            acts.setdefault(act, []).append(
                f"{name} from {row['was']} to {row['now']}" if row["now"] else f"{name} withdrawn"
            )
        moved = {str(well): _places(part) for well, part in self._moved.groupby("well")}
        reasons = [
            Reason(act[0], _act_text(act, changes), moved.get(act[0], frozenset()), _test_of(act))
            for act, changes in acts.items()
        ]
        named = {reason.well for reason in reasons}
        # Levels that a correction of their own well explains need no second reason.
        rest = self._moved[~self._moved["well"].isin(named)]
        for well, part in rest.groupby("well"):
            causes = ", ".join(sorted(set(part["cause"])))
            reasons.append(Reason(str(well), f"{_count(len(part))} moved ({causes})", _places(part)))
        for well, part in self._added.groupby("well"):
            reasons.append(Reason(str(well), f"{_count(len(part))} recorded since", _places(part)))
        return reasons + self._read_for_tests

    @cached_property
    def moved(self) -> tuple[MovedLevels, ...]:
        """Return the levels that corrections moved, well by well."""
        texts: dict[str, list[str]] = {}
        for reason in self.reasons:
            if reason.places:
                texts.setdefault(reason.well, []).append(reason.text)
        return tuple(
            MovedLevels(
                well=str(well),
                count=len(part),
                first=str(part["measured_at"].min())[:10],
                last=str(part["measured_at"].max())[:10],
                least_m=_smallest(part["difference_m"]),
                most_m=_largest(part["difference_m"]),
                why="; ".join(texts.get(str(well), ())),
            )
            for well, part in self._moved.groupby("well")
        )

    @cached_property
    def _moved(self) -> pd.DataFrame:
        """Return the effects on levels that were on record before, with round, day and aquifer."""
        table = compare_states(self._before, reduce_state(self._then))
        # Of the later state: a level may have moved to another round or day with its correction.
        return table.merge(self._named, on="event_id", how="left")

    @cached_property
    def _added(self) -> pd.DataFrame:
        """Return the levels that were not on record before."""
        table = levels(self._then)
        return table[~table["event_id"].isin(self._before.index)]

    @property
    def _read_for_tests(self) -> list[Reason]:
        """Return how many readings of each pumping test were not on record before."""
        earlier = Snapshot(self.record.connection, self.since, self.record.site).pumping_readings
        readings = self._then.pumping_readings
        added = readings[~readings["pumping_reading_id"].isin(earlier["pumping_reading_id"])]
        # a corrected reading is a new row of one that was there
        names = ["test", "well", "measured_at_utc", "elapsed_min"]
        added = added.merge(earlier[names].assign(was=True), on=names, how="left")
        counts = added[added["was"].isna()].groupby("test").size()
        return [
            Reason(
                "", f"{count} {'reading' if count == 1 else 'readings'} of test {test} recorded since", test=str(test)
            )
            for test, count in counts.items()
        ]

    @cached_property
    def _named(self) -> pd.DataFrame:
        return levels(self._then)[["event_id", "round", "day", "aquifer"]]

    @cached_property
    def _before(self) -> pd.DataFrame:
        return reduce_state(Snapshot(self.record.connection, self.since, self.record.site))

    @cached_property
    def _then(self) -> Snapshot:
        # The same moment: the frames of the report are used again, and nothing is reduced twice.
        if self.record.known_on == self.until:
            return self.record
        return Snapshot(self.record.connection, self.until, self.record.site)


def _places(part: pd.DataFrame) -> frozenset[str]:
    """Return rounds, days and aquifers of some levels."""
    names: Iterable[Any] = [*part["round"].dropna(), *part["aquifer"].dropna()]
    days = [str(day)[:10] for day in part["day"].dropna()]
    return frozenset(str(name) for name in names if name) | frozenset(days)


def _act_text(act: tuple[str, ...], changes: list[str]) -> str:
    _, subject, place, by, when, why = act
    of = f" ({place})" if place else ""
    remark = f": {why}" if why else ""
    return f"{subject}{of}: {', '.join(changes)} (by {by}, {when}){remark}"


def _test_of(act: tuple[str, ...]) -> str:
    """Return the pumping test that an act concerns; empty for none."""
    return act[2].partition(",")[0] if act[1].startswith("pumping ") else ""


def _count(number: int) -> str:
    return f"{number} level{'' if number == 1 else 's'}"


def _smallest(values: pd.Series) -> float:
    return float(values.min()) if values.notna().any() else math.nan


def _largest(values: pd.Series) -> float:
    return float(values.max()) if values.notna().any() else math.nan
