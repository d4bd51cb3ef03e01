"""What stands on record of the state of wells that a crew and a reader of levels have to know before they trust them.

Each condition is worked out from the levels, points and thresholds of one site up to a day. It ends when the record
says so: a sounding after an obstruction, a year of levels before a threshold, a survey.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Callable, Iterator, Mapping
from typing import Any, Final, NamedTuple

import pandas as pd

from gwnet.analysis.fieldwork.planning import CHECK, SURVEY, Programme
from gwnet.clock import zone_of

#: Conditions, in the order of printing.
CONFINED: Final = "confined space"
PRESSURE: Final = "artesian pressure"
PRODUCT: Final = "floating product"
OBSTRUCTED: Final = "read after an obstruction without a sounding"
SHORT: Final = "sounding short of the bottom"
NO_BASELINE: Final = "threshold set before a baseline"
OVERDUE_SURVEY: Final = "survey overdue"
OVERDUE_CHECK: Final = "tape check overdue"
KINDS: Final = (CONFINED, PRESSURE, PRODUCT, OBSTRUCTED, SHORT, NO_BASELINE, OVERDUE_SURVEY, OVERDUE_CHECK)

#: Columns of `conditions_of`.
CONDITION_COLUMNS: Final = ("kind", "well", "text", "day", "length_m")

#: A sounding that is shallower than the bottom as built by more than this is short of it [m]. Project default.
SHORT_M: Final = 1.0

#: Levels before a threshold comes into force that make a baseline [d]; a year at least, ideally three to five: table 11
#: of a good-practice guide for UK quarries.
BASELINE_DAYS: Final = 365

_ENTERED: Final = re.compile(r"\b(vaults?|pits?|manholes?|chambers?|confined space)\b", re.IGNORECASE)


class Condition(NamedTuple):
    """One condition: its kind, the well (empty for a tape), words with ``{}`` for a length, the day, and the length."""

    kind: str
    well: str
    text: str
    day: dt.date | None = None
    length_m: float = math.nan


def conditions_of(programme: Programme) -> pd.DataFrame:
    """Return the conditions of the wells of a site on a day.

    Parameters
    ----------
    programme : gwnet.analysis.fieldwork.planning.Programme
        Site and day.

    Returns
    -------
    pandas.DataFrame
        Columns of `CONDITION_COLUMNS`, by kind, then well: text in words, with ``{}`` where a length belongs; the day
        that it rests on; the length [m].
    """
    rows = [*_of_wells(programme), *_without_baseline(programme), *_overdue(programme)]
    table = pd.DataFrame(rows, columns=list(CONDITION_COLUMNS)).astype({"length_m": "float64", "day": object})
    order = table.assign(place=[KINDS.index(kind) for kind in table["kind"]])
    return table.loc[order.sort_values(["place", "well"], kind="stable").index].reset_index(drop=True)


def describe_condition(row: Mapping[str, Any], length: Callable[[float], str]) -> str:
    """Return a condition in words with its day.

    Parameters
    ----------
    row : mapping
        Row of `conditions_of`.
    length : callable
        Takes metres, returns text with a unit.
    """
    text = str(row["text"]).format(length(float(row["length_m"])))
    # Some words name the day themselves.
    return text if row["day"] is None or str(row["day"]) in text else f"{text} on {row['day']}"


def _of_wells(programme: Programme) -> Iterator[Condition]:
    events = programme.levels.sort_values("measured_at_utc", kind="stable")
    # Grouped once: a choice of rows for each well would go through all levels each time.
    by_well = dict(list(events.groupby("well", sort=False)))
    points = dict(list(programme.points.groupby("well", sort=False)))
    wells = programme.wells[programme.wells["well"].isin(programme.wells_in_use)]
    for well in wells.to_dict("records"):
        code = str(well["well"])
        own = by_well.get(code, events.iloc[:0])
        yield from _confined(well, points.get(code))
        yield from _pressure(code, own)
        thick = own[own["product_thickness_m"] > 0]
        if len(thick):
            newest = thick.iloc[-1]
            yield Condition(
                PRODUCT, code, "{} thick when last met", newest["day"], float(newest["product_thickness_m"])
            )
        yield from _soundings(well, own)


def _confined(well: dict[str, Any], points: pd.DataFrame | None) -> Iterator[Condition]:
    low = points[points["height_above_ground_m"] < 0] if points is not None else None
    if low is not None and len(low):
        depth = -float(low["height_above_ground_m"].min())
        yield Condition(CONFINED, str(well["well"]), "measuring point {} below ground", None, depth)
        return
    texts = [str(well[name] or "") for name in ("hazards", "access_notes", "notes")]
    # Texts are searched only where no height says that the point lies below ground.
    texts += [] if points is None else [str(text or "") for text in points["description"]]
    named = next((found for text in texts if (found := _ENTERED.search(text))), None)
    if named:
        yield Condition(CONFINED, str(well["well"]), f"“{named.group(0).lower()}” in its description")


def _pressure(code: str, own: pd.DataFrame) -> Iterator[Condition]:
    flowing = own[(own["status"] == "flowing") | (own["bound"] == ">=")]
    if len(flowing):
        yield Condition(PRESSURE, code, "last flowing", flowing["day"].iloc[-1])


def _soundings(well: dict[str, Any], own: pd.DataFrame) -> Iterator[Condition]:
    code, sounded = str(well["well"]), own[own["sounded_depth_m"].notna()]
    blocked = own[own["status"] == "obstructed"]
    if len(blocked):
        last = blocked.iloc[-1]
        after = own["measured_at_utc"] > last["measured_at_utc"]
        read = own[after & (own["water_elevation_m"].notna() | (own["bound"] != ""))]
        # A sounding after the obstruction shows that the well is open again.
        if len(read) and not (sounded["measured_at_utc"] >= last["measured_at_utc"]).any():
            yield Condition(OBSTRUCTED, code, f"obstructed on {last['day']}, read since", read["day"].iloc[-1])
    if len(sounded):
        newest = sounded.iloc[-1]
        short = float(well["total_depth_m"]) - float(newest["sounded_depth_m"])
        if short > SHORT_M:
            yield Condition(SHORT, code, "{} short of the bottom as built", newest["day"], short)


def _without_baseline(programme: Programme) -> Iterator[Condition]:
    limits, zone = programme.record.thresholds, zone_of(programme.zone)
    first = programme.levels.groupby("well")["day"].min().to_dict()
    for row in limits.to_dict("records"):
        # Only thresholds that hold on the day; one that was replaced needs no baseline.
        if pd.isna(row["valid_from_utc"]) or (
            not pd.isna(row["valid_until_utc"]) and row["valid_until_utc"] <= programme.noon
        ):
            continue
        since = row["valid_from_utc"].tz_convert(zone).date()
        begins = first.get(row["well"])
        if since > programme.on or (begins is not None and (since - begins).days >= BASELINE_DAYS):
            continue
        levels = "no level is on record" if begins is None else f"levels begin on {begins}"
        yield Condition(NO_BASELINE, str(row["well"]), f"{row['threshold']} in force since {since}, {levels}", since)


def _overdue(programme: Programme) -> Iterator[Condition]:
    due = programme.due
    # Never done is overdue, though no day says since when.
    late = due[(due["overdue_days"] > 0).fillna(value=True).astype(bool)]
    for row in late.to_dict("records"):
        if row["what"] == SURVEY:
            last = row["last_on"]
            yield Condition(
                OVERDUE_SURVEY, str(row["well"]), "never surveyed" if last is None else "last surveyed", last
            )
        elif row["what"] == CHECK:
            last = row["last_on"]
            text = f"tape {row['instrument']} {'never checked' if last is None else 'last checked'}"
            yield Condition(OVERDUE_CHECK, "", text, last)
