"""Checks of each level against its own record and its neighbours; each level has at most one finding of these."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any, Final

import numpy as np

from gwnet.analysis.checks.check import NOTE, SERIOUS, WARNING, CheckList, Finding, Limit
from gwnet.analysis.checks.events import HINT_FIT_SPREADS, HINT_SPREADS, LEAST_CHANGES, LEAST_MISFIT, Events
from gwnet.analysis.checks.explanations import (
    AMOUNT,
    DECIMAL,
    DIGITS,
    POINT,
    SIGN,
    UNIT,
    Explanation,
    explain_misfits,
    is_in_feet,
)
from gwnet.analysis.checks.places import find_copied, find_exchanged
from gwnet.hydro.checks.alternatives import FOOT_M
from gwnet.hydro.checks.robust_limits import Jumps, jumps, readings_around
from gwnet.hydro.checks.spreads import Flags, Floats

CHECKS: Final = CheckList()

JUMP: Final = "jump since the last reading"
MISFIT: Final = "does not fit the readings around it"

#: Findings of one rule and well this near to one another have one cause [d] (project default).
_RUN_D: Final = 366.0

#: How much wider the limit is for the first level of a record (project default).
_FIRST_FACTOR: Final = 2.0

#: A level that its own record alone contradicts must stand out by this share of what it misses (project default).
_LEAST_PROMINENCE: Final = 0.5

#: ... and one that its neighbours contradict must miss its own line by this share of it (project default).
_LEAST_OWN: Final = 0.3

#: ... unless it is off by this many times the limit (project default).
_SURE: Final = 2.0

#: Levels of a well before the first that may be a jump: a new well settles (project default).
_LEAST_BEFORE_JUMP: Final = 3

#: Fewest levels with an explanation in common that are reported as one.
_LEAST_TOGETHER: Final = 3

#: Explanations that several levels may have in common: a tape, a crew, a survey.
_OF_ONE_CAUSE: Final = (UNIT, SIGN, DECIMAL, POINT)

#: Limits that a finding of a misfit states.
_LIMITS_OF_MISFIT: Final = ("fit_spreads", "unit_spreads", "hint_spreads", "hint_fit_spreads")

#: Dates that a finding of several levels lists at most.
_MOST_DATES: Final = 6


@CHECKS.add(
    MISFIT,
    WARNING,
    "a level off the line between the readings before and after, moved by what neighbours of the aquifer did; a note "
    "where neighbours are off as well",
    Limit("fit_spreads", 6.0, "robust standard deviations by which a level may miss what is around it"),
    Limit(
        "unit_spreads", 3.5, "the same for a level that stands out by about one unit of the reading (m or ft) or more"
    ),
    Limit("unit_part", 0.75, "part of one unit from which a misfit is about one unit"),
    Limit("least_shared", 2.0, "neighbours off in the same direction that make a misfit a natural one"),
    LEAST_CHANGES,
    LEAST_MISFIT,
    others=(NOTE,),
)
def _find_misfits(events: Events) -> Iterator[Finding]:
    """Find levels that do not fit what is around them: as what may explain them, else as misfits."""
    misfits = _misfits(events)
    claimed = _claimed(events)
    explained = {row: of for row, of in misfits.explained.items() if row not in claimed}
    yield from _explained_findings(events, explained)
    rest = [row for row in misfits.rows if row not in misfits.explained and row not in claimed]
    shared = events.fit.shared >= events.limits["least_shared"]
    for rows in _runs(events, [row for row in rest if not shared[row]]):
        yield _misfit_finding(events, rows)
    for rows in _of_one_time(events, [row for row in rest if shared[row]]):
        yield _shared_finding(events, rows)


CHECKS.add_rule(DIGITS, WARNING, "such a misfit explained by two neighbouring digits", HINT_SPREADS, HINT_FIT_SPREADS)
CHECKS.add_rule(
    DECIMAL, SERIOUS, "such a misfit explained by a misplaced decimal point", HINT_SPREADS, HINT_FIT_SPREADS
)
CHECKS.add_rule(
    UNIT,
    SERIOUS,
    "such a misfit explained by feet booked as metres, or the other way round; only units that the record, a tape or "
    "the note of the event names",
    HINT_FIT_SPREADS,
)
CHECKS.add_rule(SIGN, SERIOUS, "such a misfit explained by a sign", HINT_SPREADS, HINT_FIT_SPREADS)
CHECKS.add_rule(
    POINT,
    WARNING,
    "such a misfit explained by the measuring point before or after, another access, or the ground",
    HINT_FIT_SPREADS,
)
CHECKS.add_rule(
    AMOUNT,
    WARNING,
    "such a misfit of 1, 10 or 0.1 m, or ft where it was booked in ft; serious from a whole unit on",
    HINT_SPREADS,
    HINT_FIT_SPREADS,
    others=(SERIOUS,),
)


class _Misfits:
    """Levels that do not fit, worked out once: positions, and those that something explains."""

    def __init__(self, events: Events) -> None:
        limits, fit = events.limits, events.fit
        size = np.abs(fit.residual_m)
        # the first level of a record is often read before the well has settled, and has one side alone
        wider = np.where(fit.is_first, _FIRST_FACTOR, 1.0)
        usual = np.maximum(limits["least_misfit_m"], limits["fit_spreads"] * wider * fit.spread_m)
        # one digit wrong by one is the commonest gross slip: such a misfit need not be as rare as any other
        of_unit = np.maximum(limits["unit_part"] * _unit_m(events), limits["unit_spreads"] * wider * fit.spread_m)
        is_prominent = _prominence(events) >= _LEAST_PROMINENCE * size
        of_unit = np.where(is_prominent | ~fit.between, of_unit, np.inf)
        self.limit_m = np.minimum(usual, of_unit)
        hints = np.maximum(limits["least_misfit_m"], limits["hint_spreads"] * wider * fit.spread_m)
        self.hint_limit_m = np.minimum(hints, self.limit_m)
        # on a straight line between readings of its own well a level is no misfit, whatever the neighbours did
        on_line = fit.between & (np.abs(fit.own_residual_m) <= limits["hint_fit_spreads"] * fit.spread_m)
        stands_out = np.where(
            fit.by_neighbours,
            (fit.own_residual_m * np.sign(fit.residual_m) >= _LEAST_OWN * size) | (size > _SURE * usual),
            is_prominent,
        )
        may_be_off = events.checked & ~on_line & (stands_out | ~fit.between)
        off = may_be_off & (size > self.limit_m + _resolution(events))
        may_be_explained = may_be_off | (events.checked & ~on_line & fit.by_neighbours)
        suspect = may_be_explained & (size > self.hint_limit_m + _resolution(events))
        own_limit = np.maximum(limits["least_misfit_m"], limits["fit_spreads"] * wider * fit.own_spread_m)
        own = events.checked & ~on_line & (np.abs(fit.own_residual_m) > own_limit)
        rows = np.flatnonzero(suspect | own)
        alone = fit.shared < limits["least_shared"]
        explained = explain_misfits(events, rows, suspect & alone, own)
        # a round amount is no rare coincidence: it explains only what is a misfit without it
        self.explained = {row: of for row, of in explained.items() if of.rule != AMOUNT or off[row]}
        self.rows: list[int] = np.flatnonzero(off).tolist()

    @property
    def all_rows(self) -> list[int]:
        """Return every level that does not fit or that something explains."""
        return sorted({*self.rows, *self.explained})


def _unit_m(events: Events) -> Floats:
    """Return one foot where a level was booked in feet, else one metre [m]."""
    return np.where(is_in_feet(events), FOOT_M, 1.0)


def _prominence(events: Events) -> Floats:
    """Return how far each level lies above both readings around it, or below both; 0 where it lies between [m].

    Where the water turns, the line between the readings around misses a level that does not stand out.
    """
    around = readings_around(events.well, events.fit.sound)
    level = events.level_m
    to_before, to_after = level - level[around.before], level - level[around.after]
    lowest = np.minimum(np.abs(to_before), np.abs(to_after))
    return np.where(to_before * to_after > 0.0, lowest, 0.0)


def _resolution(events: Events) -> float:
    """Return the step in which lengths are written, so that a misfit never reads like its limit [m]."""
    return 0.01 * 0.3048 if events.in_feet else 0.001


def _misfits(events: Events) -> _Misfits:
    return events.once("misfits", lambda: _Misfits(events))


def _claimed(events: Events) -> set[int]:
    """Return levels that are another well's: what they miss has its finding."""
    findings = (*find_exchanged(events), *find_copied(events))
    return {row for finding in findings for row in (finding.rows or (finding.row,))}


def explained_rows(events: Events, *rules: str) -> set[int]:
    """Return the levels whose misfit one of some rules explains.

    Parameters
    ----------
    events : gwnet.analysis.checks.events.Events
        Level events of one site.
    *rules : str
        Rules; any unless given.

    Returns
    -------
    set of int
        Positions of the events.
    """
    return {row for row, of in _misfits(events).explained.items() if not rules or of.rule in rules}


def _describe_misfit(events: Events, row: int) -> str:
    fit = events.fit
    where = "above" if fit.residual_m[row] > 0 else "below"
    what = "the readings before and after and its neighbours" if fit.by_neighbours[row] else "its own readings around"
    return (
        f"The level is {events.length(abs(fit.residual_m[row]))} {where} what {what} suggest "
        f"(usual: within {events.length(_usual_m(events, row))})"
    )


def _usual_m(events: Events, row: int) -> float:
    """Return the range that a misfit is reported beyond, the narrower one where something explains it [m]."""
    misfits = _misfits(events)
    limit = misfits.hint_limit_m if row in misfits.explained else misfits.limit_m
    return float(limit[row])


def _values(events: Events, row: int) -> dict[str, Any]:
    fit = events.fit
    values = _rounded(misfit_m=fit.residual_m[row], spread_m=fit.spread_m[row])
    values |= {name: events.limits[name] for name in _LIMITS_OF_MISFIT}
    return values | {"neighbours": bool(fit.by_neighbours[row]), "off_as_well": int(fit.shared[row])}


def _rounded(**values: float) -> dict[str, Any]:
    return {name: round(float(value), 6) for name, value in values.items()}


def _explained_findings(events: Events, explained: dict[int, Explanation]) -> Iterator[Finding]:
    """Yield explained misfits: those that one explanation has in common in a well or on a day as one finding."""
    left = dict(explained)
    for key in ("well", "day"):
        groups: dict[tuple[Any, ...], list[int]] = {}
        for row, of in left.items():
            where = int(events.well[row]) if key == "well" else events.day[row]
            if of.rule in _OF_ONE_CAUSE:
                groups.setdefault((of.rule, of.alternative, where), []).append(row)
        for rows in groups.values():
            if len(rows) >= _LEAST_TOGETHER:
                yield _common_finding(events, rows, explained[rows[0]])
                for row in rows:
                    del left[row]
    for row, of in left.items():
        message = f"{_describe_misfit(events, row)}. Likeliest: {of.words}; with that it fits within "
        message += f"{events.length(of.left_m)}."
        values = _values(events, row) | _rounded(left_m=of.left_m, moved_m=of.moved_m)
        yield Finding(message, values, row, rule=of.rule, severity=of.severity)


def _common_finding(events: Events, rows: list[int], of: Explanation) -> Finding:
    wells = sorted({str(events.codes[row]) for row in rows})
    which = f"of {len(wells)} wells " if len(wells) > 1 else ""
    span = f"{len(rows)} levels {which}{_span(events, rows)}"
    message = f"{span} do not fit and have one explanation. For the first: {of.words}."
    values = _values(events, rows[0]) | _rounded(left_m=of.left_m, moved_m=of.moved_m)
    return Finding(message, values, rows[0], tuple(rows), rule=of.rule, severity=of.severity)


def _span(events: Events, rows: Iterable[int]) -> str:
    days = events.day[list(rows)]
    return f"of {days.min()}" if days.min() == days.max() else f"from {days.min()} to {days.max()}"


def _dates(events: Events, rows: list[int]) -> str:
    days = [str(events.day[row]) for row in rows]
    more = f" and {len(days) - _MOST_DATES} more" if len(days) > _MOST_DATES else ""
    return f"{', '.join(days[:_MOST_DATES])}{more}"


def _runs(events: Events, rows: list[int]) -> Iterator[list[int]]:
    """Yield levels of one well that follow one another within a year, together."""
    run: list[int] = []
    for row in [*rows, -1]:
        joins = run and row >= 0 and events.well[row] == events.well[run[-1]]
        if joins and events.time_d[row] - events.time_d[run[-1]] <= _RUN_D:
            run.append(row)
            continue
        if run:
            yield run
        run = [row]


def _of_one_time(events: Events, rows: list[int]) -> Iterator[list[int]]:
    """Yield levels within days of one another, whatever their well."""
    ordered = sorted(rows, key=lambda row: (events.time_d[row], row))
    group: list[int] = []
    for row in ordered:
        if group and events.time_d[row] - events.time_d[group[-1]] > _SAME_TIME_D:
            yield group
            group = []
        group.append(row)
    if group:
        yield group


#: Levels this near in time are of one visit [d] (project default).
_SAME_TIME_D: Final = 3.0


def _misfit_finding(events: Events, rows: list[int]) -> Finding:
    largest = max(rows, key=lambda row: abs(float(events.fit.residual_m[row])))
    if len(rows) == 1:
        return Finding(f"{_describe_misfit(events, largest)}.", _values(events, largest), largest)
    message = (
        f"{len(rows)} levels {_span(events, rows)} do not fit what is around them ({_dates(events, rows)}). Largest, "
        f"on {events.day[largest]}: {_lower_first(_describe_misfit(events, largest))}."
    )
    return Finding(message, _values(events, largest), rows[0], tuple(rows))


def _lower_first(text: str) -> str:
    return text[0].lower() + text[1:]


def _shared_finding(events: Events, rows: list[int]) -> Finding:
    if len(rows) == 1:
        message = f"{_describe_misfit(events, rows[0])}; so do {events.fit.shared[rows[0]]} of its neighbours."
        return Finding(message, _values(events, rows[0]), rows[0], severity=NOTE)
    wells = ", ".join(dict.fromkeys(str(events.codes[row]) for row in rows))
    message = (
        f"{len(rows)} levels {_span(events, rows)} do not fit what is around them, and neighbours are off to the same "
        f"side ({wells}): rain, a flood or pumping may have moved them all. {_describe_misfit(events, rows[0])}."
    )
    return Finding(message, _values(events, rows[0]), rows[0], tuple(rows), severity=NOTE)


@CHECKS.add(
    JUMP,
    WARNING,
    "more change than the well usually has in such a time, and into this season",
    Limit("jump_spreads", 8.0, "robust standard deviations of a well's changes that make a jump"),
    LEAST_CHANGES,
    LEAST_MISFIT,
)
def _find_jumps(events: Events) -> Iterator[Finding]:
    """Find levels that changed more since the last reading than the well usually does."""
    changes = _jumps(events)
    for rows in _runs(events, np.flatnonzero(changes.jump).tolist()):
        row = max(rows, key=lambda each: abs(float(changes.change_m[each])))
        change, lower, upper = changes.change_m[row], changes.lower_m[row], changes.upper_m[row]
        message = (
            f"The level changed by {events.length(change, signed=True)} since {events.day[changes.before[row]]}; over "
            f"such a time it usually changes by {events.length(lower, signed=True)} to "
            f"{events.length(upper, signed=True)} ({changes.count[row]} changes)."
        )
        values = _rounded(change_m=change, lower_m=lower, upper_m=upper)
        values |= {"changes": int(changes.count[row]), "jump_spreads": events.limits["jump_spreads"]}
        if len(rows) == 1:
            yield Finding(message, values, row)
        else:
            message = (
                f"{len(rows)} changes {_span(events, rows)} are larger than usual ({_dates(events, rows)}). Largest, "
                f"on {events.day[row]}: {_lower_first(message)}"
            )
            yield Finding(message, values, rows[0], tuple(rows))


def _jumps(events: Events) -> Jumps:
    """Return the jumps: levels that do not fit are none of them, and serve for none."""
    return events.once("jumps", lambda: _work_out_jumps(events))


def _work_out_jumps(events: Events) -> Jumps:
    limits, fit = events.limits, events.fit
    misfits = _already_found(events)
    changes = jumps(
        events.well,
        events.time_d,
        events.season,
        np.where(misfits, np.nan, events.level_m),
        events.sound & ~misfits,
        spreads=limits["jump_spreads"],
        least=limits["least_changes"],
        floor_m=_floor(events),
    )
    # a change that goes on as it began is no jump: the level lies on the line between readings before and after
    tolerance = np.maximum(limits["least_misfit_m"], limits["hint_fit_spreads"] * fit.own_spread_m)
    on_line = fit.between & (np.abs(fit.own_residual_m) <= tolerance)
    # ... and one that the next level takes back is none either
    after = readings_around(events.well, events.sound & ~misfits).after
    kept = np.abs(events.level_m[after] - events.level_m[changes.before]) > 0.5 * np.abs(changes.change_m)
    place_in_well = np.arange(len(events)) - np.searchsorted(events.well, events.well)
    changes.jump[on_line | ((after >= 0) & ~kept) | (place_in_well < _LEAST_BEFORE_JUMP)] = False
    return changes


def _floor(events: Events) -> Floats:
    """Return the least half-width of limits: never inside the uncertainty of the levels."""
    uncertainty: Floats = np.nan_to_num(events["uncertainty_m"])
    return np.maximum(events.limits["least_misfit_m"], uncertainty)


def _already_found(events: Events) -> Flags:
    """Return the levels that have a finding for what they miss."""
    misfits = np.zeros(len(events), dtype=np.bool_)
    misfits[[*_misfits(events).all_rows, *_claimed(events)]] = True
    return misfits
