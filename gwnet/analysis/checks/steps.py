"""Steps of levels where the measuring point or the tape changed."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.analysis.checks.check import WARNING, CheckList, Finding, Limit
from gwnet.analysis.checks.events import LEAST_CHANGES, Events
from gwnet.analysis.checks.places import describe_amount
from gwnet.hydro.checks.neighbours import NEAREST, nearest_wells
from gwnet.hydro.checks.places import Shift, common_shift
from gwnet.hydro.checks.robust_limits import readings_around
from gwnet.hydro.checks.spreads import Floats, Places
from gwnet.hydro.checks.steps import Moves, moves_against_neighbours, steps_at

CHECKS: Final = CheckList()

AT_POINT: Final = "step at a new measuring point"
WITH_TAPE: Final = "step with another tape"

#: Wells that get another tape within this time have one change [d] (project default).
_ONE_CHANGE_D: Final = 183.0


def _changed(events: Events, what: Places) -> tuple[Places, Places]:
    """Return the first sound event after each change of something in a well, and the one before."""
    known = events.sound & (what >= 0)
    before = readings_around(events.well, known).before
    rows = np.flatnonzero(known & (before >= 0) & (what != what[before]))
    return rows.astype(np.int64), before[rows]


@CHECKS.add(
    AT_POINT,
    WARNING,
    "a step against wells where nothing changed, at a new survey",
    Limit("step_spreads", 4.0, "standard errors of a step at a new measuring point that make it count"),
    Limit("least_step_m", 0.03, "steps at a new measuring point smaller than this are never reported [m]"),
    LEAST_CHANGES,
)
def _find_steps_at_points(events: Events) -> Iterator[Finding]:
    """Find steps of levels against the neighbours where the measuring point changed."""
    rows, before = _changed(events, events.point)
    same_access = events["access"][rows] == events["access"][before]
    rows = rows[same_access]
    if not rows.size:
        return
    moves = moves_against_neighbours(
        events.well,
        events.time_d,
        events.season,
        events.level_m,
        events.sound,
        events.neighbours[:, :NEAREST],
        least=events.limits["least_changes"],
    )
    steps = steps_at(rows, events.well, events.time_d, moves, events.sound, events.point)
    limits = events.limits
    counts = np.abs(steps.step_m) > np.maximum(limits["least_step_m"], limits["step_spreads"] * steps.error_m)
    for place in np.flatnonzero(counts).tolist():
        row, step, error = int(rows[place]), float(steps.step_m[place]), float(steps.error_m[place])
        since = events.points["valid_from_utc"].iat[events.point[row]]
        message = (
            f"Since the measuring point of {since:%Y-%m-%d} the well is {events.length(abs(step))} "
            f"{'higher' if step > 0 else 'lower'} against its neighbours than before "
            f"(standard error {events.length(error)}){describe_amount(events, step, error)}."
        )
        values = {"step_m": round(step, 4), "standard_error_m": round(error, 4)}
        values |= {"step_spreads": limits["step_spreads"], "least_step_m": limits["least_step_m"]}
        yield Finding(message, values, row)


@CHECKS.add(
    WITH_TAPE,
    WARNING,
    "a step of many wells where another tape came into use, against wells that kept theirs",
    Limit("tape_spreads", 3.0, "standard errors of a step with another tape that make it count"),
    Limit(
        "tape_step_m",
        0.006,
        "steps with another tape smaller than this are never reported [m]",
        "0.02 ft, USGS TM 1-A1, p. 6-8 and 37",
    ),
    Limit("least_tape_wells", 5.0, "fewest wells that show a step with another tape"),
    LEAST_CHANGES,
)
def _find_steps_with_tapes(events: Events) -> Iterator[Finding]:
    """Find steps shared by the wells that were read with another tape from about one time on."""
    tape = np.where(is_named(events), events.records["instrument_id"].fillna(-1), -1).astype(np.int64)
    rows, before = _changed(events, tape)
    if not rows.size:
        return
    table = pd.DataFrame({"row": rows, "before": before, "old": tape[before], "new": tape[rows]})
    table["time_d"] = events.time_d[rows]
    for _, of_pair in table.sort_values("time_d", kind="stable").groupby(["old", "new"], sort=True):
        for group in _of_one_change(of_pair, events.well):
            if len(group) >= events.limits["least_tape_wells"]:
                yield from _judge_tape_change(events, group, tape)


def _of_one_change(of_pair: pd.DataFrame, well: Places) -> Iterator[pd.DataFrame]:
    """Yield the first changes of wells from one tape to another that lie within half a year of the first of them."""
    left = of_pair
    while len(left):
        is_near = left["time_d"] <= left["time_d"].iloc[0] + _ONE_CHANGE_D
        group = left[is_near]
        yield group[~pd.Series(well[group["row"]], index=group.index).duplicated()]
        left = left[~is_near]


#: Words for an instrument that nobody named.
_UNNAMED: Final = frozenset({"unknown", "not known", "other", "none", "tape", "sounder", "n/a", "-"})


def is_named(events: Events) -> NDArray[np.bool_]:
    """Return where the source named the instrument: a word for its kind or for the method names none.

    Parameters as `gwnet.analysis.checks`.

    Returns
    -------
    numpy.ndarray of bool, shape (n,)
        Whether the instrument of each event has a name of its own.
    """
    words = events.frame["instrument"].fillna("").astype(str).str.casefold()
    methods = set(events.frame["method"].fillna("").astype(str).str.casefold())
    kinds = set(events.inputs.instruments["kind"].astype(str).str.casefold())
    return np.asarray((words != "") & ~words.isin(methods | kinds | _UNNAMED), dtype=bool)


def _judge_tape_change(events: Events, group: pd.DataFrame, tape: Places) -> Iterator[Finding]:
    """Judge one change of tape: the wells that had it against wells that kept theirs."""
    rows = group["row"].to_numpy(dtype=np.int64)
    shift = _shift(events, rows, tape)
    limits = events.limits
    if shift is None or not shift.counts(limits["tape_spreads"], limits["tape_step_m"]):
        return
    first = int(rows[np.argmin(events.time_d[rows])])
    old, new = (str(events.frame["instrument"].iat[int(row)]) for row in (group["before"].iloc[0], rows[0]))
    days = events.day[rows]
    span = f"on {days.min()}" if days.min() == days.max() else f"from {days.min()} to {days.max()}"
    message = (
        f"With tape {new} instead of {old}, first used {span}, the levels of {shift.count} wells stepped by "
        f"{events.length(shift.shift_m, signed=True)} (standard error {events.length(shift.standard_error_m)}), "
        f"{shift.slope * 1000:+.1f} mm per metre of depth, against wells that kept their tape: check both tapes."
    )
    values = {
        "shift_m": round(shift.shift_m, 4),
        "standard_error_m": round(shift.standard_error_m, 4),
        "slope": round(shift.slope, 6),
        "wells": shift.count,
        "tape_spreads": limits["tape_spreads"],
        "tape_step_m": limits["tape_step_m"],
    }
    yield Finding(message, values, first, tuple(sorted(rows.tolist())) if rows.size > 1 else ())


def _shift(events: Events, rows: Places, tape: Places) -> Shift | None:
    """Return the common shift of the wells of a change of tape; None where no wells kept theirs."""
    part = np.unique(events.well[rows])
    names = events.wells["aquifer"].where(events.wells["aquifer"].notna(), "").to_numpy(dtype=object).astype(str)
    _, aquifer = np.unique(names, return_inverse=True)
    place = events.wells[["easting", "northing"]].to_numpy(dtype=np.float64)
    neighbours = _neighbours_that_kept(aquifer, place, part, names == "")
    if not (neighbours[part] >= 0).any():
        return None
    moves: Moves = moves_against_neighbours(
        events.well,
        events.time_d,
        events.season,
        events.level_m,
        events.sound,
        neighbours,
        least=events.limits["least_changes"],
    )
    steps = steps_at(rows, events.well, events.time_d, moves, events.sound, tape)
    return common_shift(steps.step_m, events["depth_to_water_m"][rows], steps.error_m)


def _neighbours_that_kept(aquifer: Places, place: Floats, part: Places, nowhere: np.ndarray) -> Places:
    """Return for each well of a change of tape its neighbours that had none."""
    wells = aquifer.size
    others = ~np.isin(np.arange(wells), part)
    kept = np.full((wells, NEAREST), -1, dtype=np.int64)
    group = np.where(nowhere, -1, aquifer)
    for well in part.tolist():
        asked = others.copy()
        asked[well] = True
        kept[well] = nearest_wells(np.where(asked, group, -1), place[:, 0], place[:, 1], NEAREST)[well]
    return kept
