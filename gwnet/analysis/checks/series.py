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
    is_in_feet,
)
from gwnet.analysis.checks.misfits import MISFIT_LIMITS, misfits_of
from gwnet.analysis.checks.places import find_copied, find_exchanged
from gwnet.hydro.checks.robust_limits import Jumps, jumps, readings_around
from gwnet.hydro.checks.spreads import Flags, Floats

CHECKS: Final = CheckList()

JUMP: Final = "jump since the last reading"
MISFIT: Final = "does not fit the readings around it"
RESTLESS: Final = "misfit at a restless well"

#: Findings of one rule and well this near to one another have one cause [d] (project default).
_RUN_D: Final = 366.0

#: Levels of a well before the first that may be a jump: a new well settles (project default).
_LEAST_BEFORE_JUMP: Final = 3

#: Fewest levels with an explanation in common that are reported as one.
_LEAST_TOGETHER: Final = 3

#: Explanations that several levels may have in common: a tape, a crew, a survey.
_OF_ONE_CAUSE: Final = (UNIT, SIGN, DECIMAL, POINT)

#: Limits that a finding of a misfit states.
_LIMITS_OF_MISFIT: Final = ("fit_spreads", "unit_spreads", "unit_part", "unit_most", "hint_spreads", "hint_fit_spreads")

#: Dates that a finding of several levels lists at most.
_MOST_DATES: Final = 6


@CHECKS.add(
    MISFIT,
    WARNING,
    "a level off the line between the readings before and after, moved by what neighbours of the aquifer did; a note "
    "where neighbours are off as well",
    *MISFIT_LIMITS,
    LEAST_CHANGES,
    LEAST_MISFIT,
    others=(NOTE,),
)
def _find_misfits(events: Events) -> Iterator[Finding]:
    """Find levels that do not fit what is around them: as what may explain them, else as misfits."""
    misfits = misfits_of(events)
    claimed = _claimed(events)
    explained = {row: of for row, of in misfits.explained.items() if row not in claimed}
    yield from _explained_findings(events, explained)
    # An explained misfit has its finding already, under the rule that explains it.
    rest = [row for row in misfits.rows.tolist() if row not in misfits.explained and row not in claimed]
    own = [row for row in rest if not misfits.is_shared[row]]
    is_alone = misfits.is_alone
    for rows in _runs(events, [row for row in own if is_alone[row]]):
        yield _misfit_finding(events, rows)
    yield from _restless_findings(events, [row for row in own if not is_alone[row]])
    for rows in _of_one_time(events, [row for row in rest if misfits.is_shared[row]]):
        yield _shared_finding(events, rows)


CHECKS.add_rule(
    RESTLESS,
    WARNING,
    "misfits of about one unit among levels that are off as well, or in a season in which they are each year: one "
    "finding a well, and a note of those by any other amount",
    others=(NOTE,),
)
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


def _claimed(events: Events) -> set[int]:
    """Return levels that are another well's: what they miss has its finding."""
    findings = (*find_exchanged(events), *find_copied(events))
    return {row for finding in findings for row in (finding.rows or (finding.row,))}


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
    misfits = misfits_of(events)
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
    # First those of one well (a datum, a tape), then those of one day (a crew, a batch of typing).
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
    for row in rows:
        if run and (events.well[row] != events.well[run[-1]] or events.time_d[row] - events.time_d[run[-1]] > _RUN_D):
            yield run
            run = []
        run.append(row)
    if run:
        yield run


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


def _restless_findings(events: Events, rows: list[int]) -> Iterator[Finding]:
    """Yield misfits that do not stand alone: those of one well together, about one unit apart from other amounts.

    A finding is booked at the newest of its levels, so that a level that joins it is decided about anew.
    """
    is_about_unit = misfits_of(events).is_about_unit
    groups: dict[tuple[int, bool], list[int]] = {}
    for row in rows:
        groups.setdefault((int(events.well[row]), bool(is_about_unit[row])), []).append(row)
    for (_, about_unit), of_well in groups.items():
        message = _describe_restless(events, of_well, about_unit=about_unit)
        severity = WARNING if about_unit else NOTE
        together = tuple(of_well) if len(of_well) > 1 else ()
        yield Finding(message, _values(events, of_well[-1]), of_well[-1], together, rule=RESTLESS, severity=severity)


def _describe_restless(events: Events, rows: list[int], *, about_unit: bool) -> str:
    unit = "1 ft" if is_in_feet(events)[rows[-1]] else "1 m"
    beside = "levels beside, or those of the same season in other years, are off as well"
    if about_unit:
        why = f"{beside}: a digit that is wrong by one and the movement of the water are not distinguishable"
    else:
        why = f"{beside}: the well moves more than its usual range says"
    if len(rows) == 1:
        return f"{_describe_misfit(events, rows[0])}{f', about {unit}' if about_unit else ''}; {why}."
    amount = f"about {unit}" if about_unit else "more than usual"
    return (
        f"{len(rows)} levels {_span(events, rows)} are off by {amount} ({_dates(events, rows)}); {why}. Look at them "
        f"together. The newest: {_lower_first(_describe_misfit(events, rows[-1]))}."
    )


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
    # A misfit makes a jump away and one back, and it already has a finding.
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
    of_misfits = misfits_of(events)
    misfits[[*of_misfits.rows, *of_misfits.explained, *_claimed(events)]] = True
    return misfits
