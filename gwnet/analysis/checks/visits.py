"""Checks of single visits against the well as built, the sounding, the repeats, the pump and the round."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.checks.events import NOTE, SERIOUS, WARNING, Events, Finding
from gwnet.analysis.levels.reduce import FINDINGS
from gwnet.hydro.checks import visits as checks_visits
from gwnet.hydro.checks.robust_limits import Floats, readings_around

ABOVE_POINT: Final = "water above the measuring point"
ABOVE_GROUND: Final = "water above ground"
BELOW_BOTTOM: Final = "deeper than the bottom"
RECOVERY: Final = "read before recovery"
SILTING: Final = "silting"
DEEPER: Final = "bottom deeper than built"
WINDOW: Final = "outside the round's window"
TAPE_DUE: Final = "tape check overdue"
LAST_AGAIN: Final = "last readings again"

#: Findings of the reduction that keep no level out of maps.
_MILD: Final = ("beyond the tape check",)

#: Kinds of instrument that are checked against a reference tape.
_TAPES: Final = ("electric tape", "steel tape", "interface probe")


def visit_findings(events: Events) -> list[Finding]:
    """Return what is noticed about single visits.

    Parameters
    ----------
    events : Events
        Level events of one site.

    Returns
    -------
    list of Finding
        Findings of the reduction and of the rules of this module.
    """
    return [
        *_reduction(events),
        *_too_high(events),
        *_below_bottom(events),
        *_recovery(events),
        *_silting(events),
        *_window(events),
        *_tape_due(events),
        *_last_again(events),
    ]


def _reduction(events: Events) -> list[Finding]:
    made = []
    for rule, where in events.reduced.findings.items():
        severity = NOTE if rule in _MILD else SERIOUS
        for row in np.flatnonzero(events.sorted(where)).tolist():
            if rule == "repeats disagree":
                made.append(_disagreeing(events, row))
            else:
                made.append(Finding(rule, severity, FINDINGS[rule], {}, row))
    return made


def _disagreeing(events: Events, row: int) -> Finding:
    spread = float(events.reduced.repeats.spread_m[events.order[row]])
    tolerance = float(events.inputs.tolerance_m[events.order[row]])
    message = f"The repeats differ by {events.length(spread)}; the site allows {events.length(tolerance)}."
    limits = {"tolerance_m": round(tolerance, 6), "spread_m": round(spread, 6)}
    return Finding("repeats disagree", SERIOUS, message, limits, row)


def _too_high(events: Events) -> list[Finding]:
    """Find water above the measuring point, or above ground, where nobody says that the well flows."""
    status, depth, below = (
        events.words("status"),
        events.column("depth_to_water_m"),
        events.column("depth_below_ground_m"),
    )
    number = ~np.isnan(events.column("water_elevation_m")) & (events.words("bound") == "")
    said = number & (status != "flowing") & (status != "affected by surface water")
    above_point = said & (depth < 0.0)
    above_ground = said & (below < 0.0) & ~above_point
    made = []
    for row in np.flatnonzero(above_point).tolist():
        message = (
            f"Water stands {events.length(-depth[row])} above the measuring point and the well is not said to flow."
        )
        made.append(Finding(ABOVE_POINT, SERIOUS, message, {"depth_to_water_m": round(float(depth[row]), 6)}, row))
    for row in np.flatnonzero(above_ground).tolist():
        message = (
            f"Water stands {events.length(-below[row])} above ground, inside the casing; nobody says that it flows."
        )
        made.append(Finding(ABOVE_GROUND, NOTE, message, {"depth_below_ground_m": round(float(below[row]), 6)}, row))
    return made


def _below_bottom(events: Events) -> list[Finding]:
    below = events.column("depth_below_ground_m")
    sounded = checks_visits.last_known(events.well, events.column("sounded_depth_m"))
    built = events.of_well("total_depth_m")
    bottom = np.where(np.isnan(sounded), built, sounded)
    tolerance = events.limits["bottom_tolerance_m"]
    made: list[Finding] = []
    number = events.words("bound") == ""
    for row in np.flatnonzero(number & (below > bottom + tolerance)).tolist():
        how = "as sounded" if not np.isnan(sounded[row]) else "as built"
        message = (
            f"Water was read at {events.length(below[row])} below ground, and the bottom lies at "
            f"{events.length(bottom[row])} {how}."
        )
        limits = {
            "depth_below_ground_m": round(float(below[row]), 6),
            "bottom_m": round(float(bottom[row]), 6),
            "bottom_tolerance_m": tolerance,
        }
        made.append(Finding(BELOW_BOTTOM, SERIOUS, message, limits, row))
    return made


def _recovery(events: Events) -> list[Finding]:
    status = events.words("status")
    since = checks_visits.hours_since(events.well, events.time_d, np.isin(status, ("pumping", "recovering")))
    limit = events.limits["recovery_hours"]
    timed = events.frame["time_known"].to_numpy(dtype=bool)
    made = []
    for row in np.flatnonzero((status == "static") & timed & (since < limit)).tolist():
        message = (
            f"The well was pumped or recovering {since[row]:.1f} h before; a level is taken as static after "
            f"{limit:g} h."
        )
        made.append(
            Finding(RECOVERY, WARNING, message, {"hours": round(float(since[row]), 2), "recovery_hours": limit}, row)
        )
    return made


def _silting(events: Events) -> list[Finding]:
    limits = events.limits
    sounded, built = events.column("sounded_depth_m"), events.of_well("total_depth_m")
    loss = built - sounded
    covered = _covered(events, sounded)
    made = []
    for row in np.flatnonzero(checks_visits.further_loss(events.well, loss, limits["silting_m"])).tolist():
        on_screen = covered[row] > 0.0
        tail = f"; {covered[row]:.0%} of the screen is covered" if on_screen else "; the screen is free"
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
        serious = covered[row] >= limits["covered_share"]
        severity = SERIOUS if serious else (WARNING if on_screen else NOTE)
        made.append(Finding(SILTING, severity, message, values, row))
    for row in np.flatnonzero(loss < -limits["deeper_m"]).tolist():
        message = (
            f"The bottom was sounded at {events.length(sounded[row])} below ground, {events.length(-loss[row])} below "
            "the depth as built."
        )
        values = {"sounded_depth_m": round(float(sounded[row]), 6), "total_depth_m": round(float(built[row]), 6)}
        made.append(Finding(DEEPER, WARNING, message, values | {"deeper_m": limits["deeper_m"]}, row))
    return made


def _covered(events: Events, sounded: Floats) -> Floats:
    """Return the share of the screen that lies below the sounded bottom."""
    top, bottom = events.of_well("screen_top_m"), events.of_well("screen_bottom_m")
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.clip((bottom - sounded) / (bottom - top), 0.0, 1.0)


def _window(events: Events) -> list[Finding]:
    rounds = events.rounds.set_index("round")
    codes = events.frame["round"]
    starts = _days(codes.map(rounds["starts_on"]))
    ends = _days(codes.map(rounds["ends_on"].where(rounds["ends_on"].notna(), rounds["starts_on"])))
    early = (starts - events.day).astype("timedelta64[D]").astype(np.float64)
    late = (events.day - ends).astype("timedelta64[D]").astype(np.float64)
    limit = events.limits["window_days"]
    made = []
    for row in np.flatnonzero((early > limit) | (late > limit)).tolist():
        days = early[row] if early[row] > limit else late[row]
        where = "before the first" if early[row] > limit else "after the last"
        message = f"Taken {_count(days, 'day')} {where} day of round {codes.iat[row]} ({starts[row]} to {ends[row]})."
        made.append(Finding(WINDOW, NOTE, message, {"days": float(days), "window_days": limit}, row))
    return made


def _days(values: pd.Series) -> NDArray[np.datetime64]:
    """Return dates as days, NaT for none."""
    return np.array([None if pd.isna(day) else day for day in values], dtype="datetime64[D]")


def _count(number: float, word: str) -> str:
    return f"{number:g} {word}{'' if number == 1 else 's'}"


def _tape_due(events: Events) -> list[Finding]:
    """Find tapes that were used without a check for too long: told once a round or day, with its first reading."""
    instruments = events.inputs.instruments.set_index("instrument_id")
    kind = events.records["instrument_id"].map(instruments["kind"]).to_numpy(dtype=object)
    by_tape = np.isin(kind, _TAPES) & ~np.isnan(events.booked.value)
    last, checked = _last_checked(events)
    age = (events.day - last).astype("timedelta64[D]").astype(np.float64)
    limit = events.limits["tape_check_days"]
    due = by_tape & (~checked | (age > limit))
    rows = np.flatnonzero(due)
    if not rows.size:
        return []
    of = events.frame.loc[rows, ["round", "instrument"]].assign(row=rows, at=events.time_d[rows])
    of["when"] = of["round"].where(of["round"] != "", events.day[rows].astype(str))
    made = []
    for (_, instrument), used in of.sort_values(["at", "row"], kind="stable").groupby(
        ["when", "instrument"], sort=False
    ):
        row = int(used["row"].iloc[0])
        told = (
            f"was last checked on {last[row]}, {age[row]:.0f} days before" if checked[row] else "has no check on record"
        )
        message = (
            f"Tape {instrument} {told}; a check is due every {limit:g} days "
            f"({_count(len(used), 'reading')} of this round or day)."
        )
        values = {"instrument": instrument, "readings": len(used), "tape_check_days": limit}
        if checked[row]:
            values |= {"last_check": str(last[row]), "age_days": float(age[row])}
        made.append(Finding(TAPE_DUE, WARNING if checked[row] else NOTE, message, values, row))
    return made


def _last_checked(events: Events) -> tuple[NDArray[np.datetime64], NDArray[np.bool_]]:
    """Return the day of the last check of the tape before each reading, and whether there was one."""
    tape = events.reduced.tape
    used = events.sorted(tape.check)
    days = np.append(tape.check_day, np.array(["NaT"], dtype="datetime64[D]"))
    return days[used], used >= 0


def _last_again(events: Events) -> list[Finding]:
    """Find rounds in which more wells repeat their last reading than chance allows."""
    booked = events.booked
    metres = np.where(events.checked, booked.value * booked.metres, np.nan)
    before = readings_around(events.well, ~np.isnan(metres)).before
    codes, of = np.unique(events.words("round").astype(str), return_inverse=True)
    compared = (before >= 0) & ~np.isnan(metres) & (events.words("round") != "")
    compared &= booked.quantity == booked.quantity[before]
    compared &= events.words("access") == events.words("access")[before]
    same = compared & (np.abs(metres - metres[before]) < 1e-6)
    if not compared.any():
        return []
    found = checks_visits.repeated_readings(
        of[compared], codes.size, events.well[compared], same[compared], least=events.limits["least_same_readings"]
    )
    made: list[Finding] = []
    for number in np.flatnonzero(found.same > found.limit).tolist():
        rows = np.flatnonzero(same & (of == number))
        wells = ", ".join(events.code(int(row)) for row in rows)
        message = (
            f"{found.same[number]} of {found.read[number]} wells of round {codes[number]} repeat their last reading "
            f"exactly; by chance at most {int(found.limit[number])} would ({wells})."
        )
        values = {
            "same": int(found.same[number]),
            "read": int(found.read[number]),
            "chance": round(float(found.limit[number]), 2),
        }
        made.extend(Finding(LAST_AGAIN, WARNING, message, values, int(row)) for row in rows)
    return made
