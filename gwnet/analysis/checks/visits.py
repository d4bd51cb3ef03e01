"""Checks of single visits against the well as built, the sounding, the repeats, the pump and the round."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.checks.check import NOTE, SERIOUS, WARNING, CheckList, Finding, Limit
from gwnet.analysis.checks.events import Events
from gwnet.analysis.checks.explanations import COARSE
from gwnet.analysis.checks.misfits import explained_rows
from gwnet.analysis.checks.quantities import fits_as_elevation
from gwnet.analysis.levels.bounds import BELOW_SCREEN
from gwnet.analysis.levels.reduce import FINDINGS, TAPES
from gwnet.constants import BOTTOM_TOLERANCE_M, TAPE_CHECK_INTERVAL_DAYS
from gwnet.hydro.checks import visits as checks_visits
from gwnet.hydro.checks.robust_limits import readings_around
from gwnet.hydro.checks.spreads import Floats

CHECKS: Final = CheckList()

ABOVE_POINT: Final = "water above the measuring point"
ABOVE_GROUND: Final = "water above ground"
BELOW_BOTTOM: Final = "deeper than the bottom"
RECOVERY: Final = "read before recovery"
SILTING: Final = "silting"
DEEPER: Final = "bottom deeper than built"
WINDOW: Final = "outside the round's window"
TAPE_DUE: Final = "tape check overdue"
LAST_AGAIN: Final = "last readings again"

#: What the rules of the reduction look for; all but the mild one keep a level out of maps.
_REDUCTION: Final = {
    "repeats disagree": "a spread of the readings beyond the site's tolerance; the level is not used until somebody "
    "chooses",
    "no measuring point in force": "a depth that nothing turns into an elevation",
    "two measuring points in force": "two points of one access in force at that time",
    "measuring point in another datum": "another vertical datum than the site's; no shift is made",
    "beyond the tape check": "a reading beyond the depths of the tape's last check",
    "product without density": "floating product whose relative density is not on record",
    "water below the screen": "a static level below the bottom of the screen; it counts as a bound",
    "dry without a depth": "a dry well with neither screen nor sounding on record",
}
_MILD: Final = ("beyond the tape check",)

#: Fewest readings below a bottom that put the bottom in doubt (project default).
_LEAST_AGAINST_BOTTOM: Final = 3


def _find_reduced(rule: str, events: Events) -> Iterator[Finding]:
    noticed = np.flatnonzero(events.reduced.findings[rule][events.order])
    if rule == "repeats disagree":
        yield from (_disagreeing(events, row) for row in noticed.tolist())
        return
    # what a well lacks, it lacks at each visit: one finding a well, of a tape check one for the tape
    cause = _tape_checks_used(events) if rule in _MILD else events.well
    for rows in grouped(noticed, cause):
        yield Finding(f"{FINDINGS[rule]}{describe_span(events, rows)}", row=rows[0], rows=rows)


def grouped(rows: NDArray[np.intp], *causes: NDArray[Any]) -> Iterator[tuple[int, ...]]:
    """Yield the events that have their causes in common, in the order of the first of each.

    Parameters
    ----------
    rows : numpy.ndarray of int, shape (r,)
        Events.
    *causes : numpy.ndarray, shape (n,) each
        What may cause a finding, by event.

    Yields
    ------
    tuple of int
        Events of one finding.
    """
    groups: dict[tuple[Any, ...], list[int]] = {}
    for row in rows.tolist():
        groups.setdefault(tuple(cause[row] for cause in causes), []).append(row)
    yield from map(tuple, groups.values())


def describe_span(events: Events, rows: tuple[int, ...]) -> str:
    """Return how many levels a finding concerns and when they were read, as a sentence; empty for one level.

    Parameters
    ----------
    events : gwnet.analysis.checks.events.Events
        Level events of one site.
    rows : tuple of int
        Events of the finding.

    Returns
    -------
    str
        Sentence with a leading blank, or nothing.
    """
    if len(rows) == 1:
        return ""
    days = events.day[list(rows)]
    return f" This concerns {len(rows)} levels from {days.min()} to {days.max()}."


def _tape_checks_used(events: Events) -> NDArray[Any]:
    """Return a number of the tape check that each reading was corrected by; of the well where there is none."""
    check = events.reduced.tape.check[events.order]
    # Below 0, so that no well's number is that of a tape check.
    return np.where(check >= 0, check, -1 - events.well)


for _rule, _looks_for in _REDUCTION.items():
    # water below the screen is taken as a bound already, which the finding does not doubt
    CHECKS.add(_rule, NOTE if _rule in _MILD else SERIOUS, _looks_for, doubts_level=_rule != BELOW_SCREEN)(
        partial(_find_reduced, _rule)
    )


def _disagreeing(events: Events, row: int) -> Finding:
    spread = float(events.reduced.repeats.spread_m[events.order[row]])
    tolerance = float(events.inputs.tolerance_m[events.order[row]])
    message = f"The repeats differ by {events.length(spread)}; the site allows {events.length(tolerance)}."
    return Finding(message, {"tolerance_m": round(tolerance, 6), "spread_m": round(spread, 6)}, row)


def _reported_to_flow(events: Events) -> NDArray[np.bool_]:
    """Return which levels are bounds, or of wells that are reported to flow or to be affected by surface water."""
    # A bound has no depth that could be above the point.
    number = ~np.isnan(events["water_elevation_m"]) & (events["bound"] == "")
    return np.asarray(~number | np.isin(events["status"], ("flowing", "affected by surface water")))


@CHECKS.add(ABOVE_POINT, SERIOUS, "a negative depth, and no status `flowing`")
def _find_above_point(events: Events) -> Iterator[Finding]:
    """Find water above the measuring point of wells that are not reported to flow."""
    depth = events["depth_to_water_m"]
    for rows in grouped(_unexplained(events, ~_reported_to_flow(events) & (depth < 0.0)), events.well):
        row = min(rows, key=lambda each: float(depth[each]))
        message = (
            f"Water is {_at_most(rows)}{events.length(-depth[row])} above the measuring point, and the well is not "
            f"reported as flowing.{describe_span(events, rows)}"
        )
        yield Finding(message, {"depth_to_water_m": round(float(depth[row]), 6)}, rows[0], rows)


def _unexplained(events: Events, found: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Return the positions of events whose level is not explained by a slip: the slip is the finding."""
    # A decimal point or a unit gone wrong puts a level above the point; two findings for one slip are noise.
    explained = explained_rows(events, *COARSE)
    return np.array([row for row in np.flatnonzero(found).tolist() if row not in explained], dtype=np.intp)


def _at_most(rows: tuple[int, ...]) -> str:
    return "up to " if len(rows) > 1 else ""


@CHECKS.add(ABOVE_GROUND, NOTE, "water above ground inside the casing, and no status `flowing`")
def _find_above_ground(events: Events) -> Iterator[Finding]:
    """Find water above ground and below the measuring point, of wells that are not reported to flow."""
    depth, below = events["depth_to_water_m"], events["depth_below_ground_m"]
    found = ~_reported_to_flow(events) & (below < 0.0) & ~(depth < 0.0)
    for rows in grouped(_unexplained(events, found), events.well):
        row = min(rows, key=lambda each: float(below[each]))
        message = (
            f"Water is {_at_most(rows)}{events.length(-below[row])} above ground, inside the casing, and the well is "
            f"not reported as flowing.{describe_span(events, rows)}"
        )
        yield Finding(message, {"depth_below_ground_m": round(float(below[row]), 6)}, rows[0], rows)


@CHECKS.add(
    BELOW_BOTTOM,
    SERIOUS,
    "water below the last sounding, or below the depth as built",
    Limit(
        "bottom_tolerance_m",
        BOTTOM_TOLERANCE_M,
        "water may be read this far below the bottom [m]",
        "0.5 ft, USGS SJ-600027 p. 16 (accuracy of soundings)",
    ),
)
def _find_below_bottom(events: Events) -> Iterator[Finding]:
    """Find water below the bottom as last sounded, or as built."""
    below = events["depth_below_ground_m"]
    sounded = checks_visits.last_known(events.well, events["sounded_depth_m"])
    bottom = np.where(np.isnan(sounded), events.of_well("total_depth_m"), sounded)
    tolerance = events.limits["bottom_tolerance_m"]
    # A typed elevation lies far below every bottom and has a finding of its own.
    is_read = ~np.isnan(below) & ~fits_as_elevation(events)
    found = _unexplained(events, is_read & (below > bottom + tolerance))
    for rows in grouped(found, events.well, np.nan_to_num(bottom)):
        row = max(rows, key=lambda each: float(below[each]))
        how = "as sounded" if not np.isnan(sounded[row]) else "as built"
        message = (
            f"Water was read at {_at_most(rows)}{events.length(below[row])} below ground, and the bottom lies at "
            f"{events.length(bottom[row])} {how}.{describe_span(events, rows)}{_doubt(events, rows)}"
        )
        limits = {
            "depth_below_ground_m": round(float(below[row]), 6),
            "bottom_m": round(float(bottom[row]), 6),
            "bottom_tolerance_m": tolerance,
        }
        yield Finding(message, limits, rows[0], rows)


def _doubt(events: Events, rows: tuple[int, ...]) -> str:
    """Return what many readings below the bottom say about the bottom."""
    of_well = (events.well == events.well[rows[0]]) & events.checked
    # Where half of the well's levels lie below its bottom, the bottom is the likelier mistake.
    if len(rows) < _LEAST_AGAINST_BOTTOM or len(rows) < 0.5 * of_well.sum():
        return ""
    return f" These are {len(rows)} of {of_well.sum()} levels of the well: the depth of the bottom may be wrong."


@CHECKS.add(
    RECOVERY,
    WARNING,
    "a static level too soon after pumping",
    Limit(
        "recovery_hours",
        24.0,
        "hours after pumping in which a level cannot be static",
        "US EPA RCRA guidance of 1992, p. 7-4",
    ),
)
def _find_unrecovered(events: Events) -> Iterator[Finding]:
    """Find static levels too soon after pumping."""
    status = events["status"]
    since = checks_visits.hours_since(events.well, events.time_d, np.isin(status, ("pumping", "recovering")))
    limit = events.limits["recovery_hours"]
    # A date alone gives hours that nobody measured.
    timed = events.frame["time_known"].to_numpy(dtype=bool)
    for row in np.flatnonzero((status == "static") & timed & (since < limit)).tolist():
        message = (
            f"The well was pumped or recovering {since[row]:.1f} h before; a level is taken as static after "
            f"{limit:g} h."
        )
        yield Finding(message, {"hours": round(float(since[row]), 2), "recovery_hours": limit}, row)


@CHECKS.add(
    SILTING,
    SERIOUS,
    "each further loss of depth, with the share of the screen that is covered",
    Limit("silting_m", 0.5, "loss of depth that is reported, and each further one [m]"),
    Limit("covered_share", 0.2, "share of the screen covered that makes silting serious"),
    others=(NOTE, WARNING),
    doubts_level=False,
)
def _find_silting(events: Events) -> Iterator[Finding]:
    """Find soundings above the depth as built: the first, and each that lost as much again."""
    limits = events.limits
    sounded, built = events["sounded_depth_m"], events.of_well("total_depth_m")
    loss, covered = built - sounded, _covered_share(events, sounded)
    for row in np.flatnonzero(checks_visits.further_loss(events.well, loss, limits["silting_m"])).tolist():
        is_on_screen = covered[row] > 0.0
        tail = f"; {covered[row]:.0%} of the screen is covered" if is_on_screen else "; the screen is free"
        message = (
            f"The bottom was sounded at {events.length(sounded[row])} below ground, {events.length(loss[row])} above "
            f"the depth as built{tail}."
        )
        values = {
            "sounded_depth_m": round(float(sounded[row]), 6),
            "total_depth_m": round(float(built[row]), 6),
            "covered_share": round(float(np.nan_to_num(covered[row])), 4),
            "silting_m": limits["silting_m"],
        }
        milder = WARNING if is_on_screen else NOTE
        yield Finding(message, values, row, severity="" if covered[row] >= limits["covered_share"] else milder)


@CHECKS.add(
    DEEPER,
    WARNING,
    "a sounding below the depth as built",
    Limit("deeper_m", 0.3, "sounded depth may exceed the depth as built by this [m]"),
)
def _find_deeper(events: Events) -> Iterator[Finding]:
    """Find soundings below the depth as built."""
    sounded, built = events["sounded_depth_m"], events.of_well("total_depth_m")
    limit = events.limits["deeper_m"]
    for row in np.flatnonzero(built - sounded < -limit).tolist():
        message = (
            f"The bottom was sounded at {events.length(sounded[row])} below ground, "
            f"{events.length(sounded[row] - built[row])} below the depth as built."
        )
        values = {"sounded_depth_m": round(float(sounded[row]), 6), "total_depth_m": round(float(built[row]), 6)}
        yield Finding(message, values | {"deeper_m": limit}, row)


def _covered_share(events: Events, sounded: Floats) -> Floats:
    """Return the share of the screen that lies below the sounded bottom."""
    top, bottom = events.of_well("screen_top_m"), events.of_well("screen_bottom_m")
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.clip((bottom - sounded) / (bottom - top), 0.0, 1.0)


@CHECKS.add(
    WINDOW,
    NOTE,
    "a level before the first or after the last day of its round",
    Limit("window_days", 0.0, "days outside a round's dates in which its levels may still be measured [d]"),
)
def _find_outside_window(events: Events) -> Iterator[Finding]:
    """Find levels outside the dates of their round."""
    rounds = events.rounds.set_index("round")
    codes = events.frame["round"]
    starts = _days(codes.map(rounds["starts_on"]))
    ends = _days(codes.map(rounds["ends_on"].where(rounds["ends_on"].notna(), rounds["starts_on"])))
    early = (starts - events.day).astype("timedelta64[D]").astype(np.float64)
    late = (events.day - ends).astype("timedelta64[D]").astype(np.float64)
    limit = events.limits["window_days"]
    off = np.fmax(early, late)
    for rows in grouped(np.flatnonzero(off > limit), codes.to_numpy(dtype=object)):
        row = max(rows, key=lambda each: float(off[each]))
        where = "before the first" if early[row] > limit else "after the last"
        message = (
            f"Measured {_at_most(rows)}{_count(off[row], 'day')} {where} day of round {codes.iat[row]} "
            f"({starts[row]} to {ends[row]}).{describe_span(events, rows)}"
        )
        yield Finding(message, {"days": float(off[row]), "window_days": limit}, rows[0], rows)


def _days(values: pd.Series) -> NDArray[np.datetime64]:
    """Return dates as days, NaT for none."""
    return np.array([None if pd.isna(day) else day for day in values], dtype="datetime64[D]")


def _count(number: float, word: str) -> str:
    return f"{number:g} {word}{'' if number == 1 else 's'}"


@CHECKS.add(
    TAPE_DUE,
    WARNING,
    "a tape used too long after its last check, one finding a tape and check; a note where it was never checked",
    Limit(
        "tape_check_days",
        TAPE_CHECK_INTERVAL_DAYS,
        "days between checks of a tape, where the site's tape_check_interval_days says nothing",
        "twelve months, USGS TM 1-A1 (Cunningham and Schalk, 2011), p. 8 and 35",
    ),
    others=(NOTE,),
)
def _find_tapes_due(events: Events) -> Iterator[Finding]:
    """Find tapes used without a check for too long: one finding a tape and last check, booked at the first reading."""
    instruments = events.inputs.instruments.set_index("instrument_id")
    kind = events.records["instrument_id"].map(instruments["kind"]).to_numpy(dtype=object)
    # Dry and barred visits used no tape.
    by_tape = np.isin(kind, TAPES) & ~np.isnan(events.booked.value)
    last, checked = _last_checked(events)
    age = (events.day - last).astype("timedelta64[D]").astype(np.float64)
    limit = events.limits["tape_check_days"]
    rows = np.flatnonzero(by_tape & (~checked | (age > limit)))
    rows = rows[np.argsort(events.time_d[rows], kind="stable")]
    # as a number, since no day that is not known equals another
    for used in grouped(rows, events["instrument"], last.astype(np.int64)):
        first, newest = used[0], used[-1]
        instrument = str(events.frame["instrument"].iat[first])
        days = f"{age[first]:.0f} days" if len(used) == 1 else f"{age[first]:.0f} to {age[newest]:.0f} days"
        state = f"was last checked on {last[first]}, {days} before" if checked[first] else "has no check on record"
        span = f", {events.day[first]} to {events.day[newest]}" if events.day[first] != events.day[newest] else ""
        message = (
            f"Tape {instrument} {state}; a check is due every {limit:g} days ({_count(len(used), 'reading')}{span})."
        )
        values = {"instrument": instrument, "readings": len(used), "tape_check_days": limit}
        if checked[first]:
            values |= {"last_check": str(last[first]), "age_days": float(age[newest])}
        yield Finding(message, values, first, used, severity="" if checked[first] else NOTE)


def _last_checked(events: Events) -> tuple[NDArray[np.datetime64], NDArray[np.bool_]]:
    """Return the day of the last check of the tape before each reading, and whether there was one."""
    tape = events.reduced.tape
    used = tape.check[events.order]
    # The last entry is for readings without a check, whose number is -1.
    days = np.append(tape.check_day, np.array(["NaT"], dtype="datetime64[D]"))
    return days[used], used >= 0


@CHECKS.add(
    LAST_AGAIN,
    WARNING,
    "several wells of a round that repeat their last reading exactly",
    Limit("least_same_readings", 3.0, "fewest wells of a round with their last readings again that are reported"),
)
def _find_repeated_readings(events: Events) -> Iterator[Finding]:
    """Find rounds in which more wells repeat their last reading than chance allows."""
    booked = events.booked
    metres = np.where(events.checked, booked.value * booked.metres, np.nan)
    before = readings_around(events.well, ~np.isnan(metres)).before
    codes, of_round = np.unique(events["round"].astype(str), return_inverse=True)
    compared = (before >= 0) & ~np.isnan(metres) & (events["round"] != "")
    compared &= booked.quantity == booked.quantity[before]
    compared &= events["access"] == events["access"][before]
    # Equal in metres, as the same depth may be booked in metres once and in feet next time.
    same = compared & (np.abs(metres - metres[before]) < 1e-6)
    if not compared.any():
        return
    counts = checks_visits.repeated_readings(
        of_round[compared],
        codes.size,
        events.well[compared],
        same[compared],
        least=events.limits["least_same_readings"],
    )
    for number in np.flatnonzero(counts.same > counts.limit).tolist():
        rows = np.flatnonzero(same & (of_round == number))
        wells = ", ".join(events.codes[row] for row in rows)
        message = (
            f"{counts.same[number]} of {counts.read[number]} wells of round {codes[number]} repeat their last reading "
            f"exactly; by chance at most {int(counts.limit[number])} would ({wells})."
        )
        values = {
            "same": int(counts.same[number]),
            "read": int(counts.read[number]),
            "chance": round(float(counts.limit[number]), 2),
        }
        yield Finding(message, values, int(rows[0]), tuple(rows.tolist()))
