"""Checks of each level against its own record and its neighbours, and what may explain a misfit."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gwnet.analysis.checks.check import NOTE, SERIOUS, WARNING, CheckList, Finding, Limit
from gwnet.analysis.checks.events import HINT_FIT_SPREADS, HINT_SPREADS, LEAST_CHANGES, LEAST_MISFIT, Events
from gwnet.clock import to_instants
from gwnet.hydro.checks import alternatives
from gwnet.hydro.checks.robust_limits import Floats, Places, jumps, season_band
from gwnet.hydro.reduction.intervals import in_force

CHECKS: Final = CheckList()

JUMP: Final = "jump since the last reading"
SEASON: Final = "outside the record for the season"
MISFIT: Final = "does not fit the readings around it"
UNIT: Final = "fits in another unit"
SIGN: Final = "fits with the other sign"
DIGITS: Final = "fits with two digits exchanged"
AMOUNT: Final = "off by a round amount"
POINT: Final = "fits another measuring point"

#: Robust standard deviations that another unit or sign must move a level by (project default).
_FAR: Final = 8.0

_SEASONS: Final = ("January to March", "April to June", "July to September", "October to December")


@CHECKS.add(
    JUMP,
    WARNING,
    "more change than the well usually has in such a time, and into this season",
    Limit("jump_spreads", 6.0, "robust standard deviations of a well's changes that make a jump"),
    LEAST_CHANGES,
    LEAST_MISFIT,
)
def _find_jumps(events: Events) -> Iterator[Finding]:
    """Find levels that changed more since the last reading than the well usually does."""
    limits = events.limits
    changes = jumps(
        events.well,
        events.time_d,
        events.season,
        events.level_m,
        events.sound,
        spreads=limits["jump_spreads"],
        least=limits["least_changes"],
        floor_m=_floor(events),
    )
    for row in np.flatnonzero(changes.jump).tolist():
        change, lower, upper = changes.change_m[row], changes.lower_m[row], changes.upper_m[row]
        message = (
            f"The level changed by {events.length(change, signed=True)} since {events.day[changes.before[row]]}; over "
            f"such a time it usually changes by {events.length(lower, signed=True)} to "
            f"{events.length(upper, signed=True)} ({changes.count[row]} changes)."
        )
        values = _rounded(change_m=change, lower_m=lower, upper_m=upper)
        values |= {"changes": int(changes.count[row]), "jump_spreads": limits["jump_spreads"]}
        yield Finding(message, values, row)


def _floor(events: Events) -> Floats:
    """Return the least half-width of limits: never inside the uncertainty of the levels."""
    uncertainty: Floats = np.nan_to_num(events["uncertainty_m"])
    return np.maximum(events.limits["least_misfit_m"], uncertainty)


@CHECKS.add(
    SEASON,
    NOTE,
    "a level outside what levels of the same quarter of the year suggest; reported at its first level",
    Limit("season_spreads", 6.0, "robust standard deviations of a season's levels that make a level unusual"),
    Limit("least_in_season", 8.0, "fewest levels of a season that show its limits"),
    LEAST_MISFIT,
)
def _find_unusual(events: Events) -> Iterator[Finding]:
    """Find levels outside what those of the same quarter of the year suggest."""
    limits = events.limits
    band = season_band(
        events.well,
        events.season,
        events.level_m,
        events.sound,
        spreads=limits["season_spreads"],
        least=limits["least_in_season"],
        floor_m=_floor(events),
    )
    for row in np.flatnonzero(band.outside).tolist():
        level, lower, upper = events.level_m[row], band.lower_m[row], band.upper_m[row]
        message = (
            f"The level of {events.length(level)} lies {'above' if level > upper else 'below'} the range of "
            f"{events.length(lower)} to {events.length(upper)} that {band.count[row]} levels from "
            f"{_SEASONS[events.season[row]]} suggest."
        )
        values = _rounded(water_elevation_m=level, lower_m=lower, upper_m=upper)
        values |= {"levels": int(band.count[row]), "season_spreads": limits["season_spreads"]}
        yield Finding(message, values, row)


def _rounded(**values: float) -> dict[str, Any]:
    return {name: round(float(value), 6) for name, value in values.items()}


@dataclass(frozen=True)
class _Kind:
    """A kind of explanation: what each of its columns adds to the level, and words for each event."""

    rule: str
    severity: str
    shift_m: Floats
    words: Any


@CHECKS.add(
    MISFIT,
    WARNING,
    "a level off the line between the readings before and after, moved by what neighbours of the aquifer did; a note "
    "where neighbours are off as well",
    Limit("fit_spreads", 7.0, "robust standard deviations by which a level may miss what is around it"),
    Limit("least_shared", 2.0, "neighbours off in the same direction that make a misfit a natural one"),
    LEAST_CHANGES,
    LEAST_MISFIT,
    others=(NOTE,),
)
def _find_misfits(events: Events) -> Iterator[Finding]:
    """Find levels that do not fit what is around them: as what may explain them, else as misfits."""
    limits, fit = events.limits, events.fit
    size, spread = np.abs(fit.residual_m), fit.spread_m
    is_off = events.checked & (size > limits["least_misfit_m"])
    suspect = is_off & (size > limits["hint_spreads"] * spread)
    own_size = np.abs(fit.own_residual_m)
    own = events.checked & (own_size > np.maximum(limits["least_misfit_m"], limits["hint_spreads"] * fit.own_spread_m))
    rows = np.flatnonzero(suspect | own)
    alone = fit.shared < limits["least_shared"]
    explained = _explain(events, rows, suspect & alone, own)
    yield from explained.values()
    for row in np.flatnonzero(is_off & (size > limits["fit_spreads"] * spread)).tolist():
        if row not in explained:
            shared = "" if alone[row] else f"; so do {fit.shared[row]} of its neighbours"
            message = f"{_describe_misfit(events, row)}{shared}."
            yield Finding(message, _values(events, row), row, severity="" if alone[row] else NOTE)


_HINT_LIMITS: Final = (HINT_SPREADS, HINT_FIT_SPREADS)
CHECKS.add_rule(
    UNIT, SERIOUS, "such a misfit explained by feet booked as metres, or the other way round", *_HINT_LIMITS
)
CHECKS.add_rule(SIGN, SERIOUS, "such a misfit explained by a sign", *_HINT_LIMITS)
CHECKS.add_rule(DIGITS, WARNING, "such a misfit explained by two neighbouring digits", *_HINT_LIMITS)
CHECKS.add_rule(AMOUNT, WARNING, "such a misfit of exactly 1 m, 1 ft or 0.1 m", *_HINT_LIMITS)
CHECKS.add_rule(
    POINT,
    WARNING,
    "such a misfit explained by the measuring point before or after, another access, or the ground",
    *_HINT_LIMITS,
)


def _describe_misfit(events: Events, row: int) -> str:
    fit = events.fit
    where = "above" if fit.residual_m[row] > 0 else "below"
    what = "the readings before and after and its neighbours" if fit.by_neighbours[row] else "its own readings around"
    limit = events.limits["fit_spreads"] * fit.spread_m[row]
    return (
        f"The level is {events.length(abs(fit.residual_m[row]))} {where} what {what} suggest "
        f"(usual: within {events.length(limit)})"
    )


def _values(events: Events, row: int) -> dict[str, Any]:
    fit = events.fit
    values = _rounded(misfit_m=fit.residual_m[row], spread_m=fit.spread_m[row])
    values |= {name: events.limits[name] for name in ("fit_spreads", "hint_spreads", "hint_fit_spreads")}
    return values | {"neighbours": bool(fit.by_neighbours[row]), "off_as_well": int(fit.shared[row])}


def _explain(
    events: Events, rows: NDArray[np.intp], suspect: NDArray[np.bool_], own: NDArray[np.bool_]
) -> dict[int, Finding]:
    """Return for each misfit the explanation that fits best."""
    fit = events.fit
    kinds = [_unit(events), _sign(events), _digits(events), _amount(events), *_points(events)]
    shifts = np.concatenate([kind.shift_m[rows] for kind in kinds], axis=1)
    # another unit or sign moves a level far; a small shift by one of them is chance
    coarse = np.concatenate([np.full(kind.shift_m.shape[1], kind.rule in (UNIT, SIGN)) for kind in kinds])
    far = np.abs(shifts) > _FAR * fit.spread_m[rows][:, None]
    shifts = np.where(coarse[None, :] & ~far, np.nan, shifts)
    within = events.limits["hint_fit_spreads"]
    best = alternatives.best_alternative(
        np.where(suspect[rows], fit.residual_m[rows], np.nan), shifts, within * fit.spread_m[rows]
    )
    # where all neighbours are off together, a whole file in another unit or with another sign may be meant
    alone = alternatives.best_alternative(
        np.where(own[rows], fit.own_residual_m[rows], np.nan),
        np.where(coarse[None, :], shifts, np.nan),
        within * fit.own_spread_m[rows],
    )
    which = np.where(best.which >= 0, best.which, alone.which)
    left = np.where(best.which >= 0, best.misfit_m, alone.misfit_m)
    explained = {}
    ends = np.cumsum([kind.shift_m.shape[1] for kind in kinds])
    for place in np.flatnonzero(which >= 0).tolist():
        row, column = int(rows[place]), int(which[place])
        number = int(np.searchsorted(ends, column, side="right"))
        kind = kinds[number]
        alternative = column - (int(ends[number - 1]) if number else 0)
        message = f"{_describe_misfit(events, row)}; {kind.words(row, alternative)}."
        values = _values(events, row) | _rounded(left_m=left[place], moved_m=shifts[place, column])
        explained[row] = Finding(message, values, row, kind.rule, kind.severity)
    return explained


def _unit(events: Events) -> _Kind:
    booked = events.booked
    added = alternatives.other_unit(booked.value, booked.metres)
    shift = added * (booked.metres * booked.sense)[:, None]

    def words(row: int, column: int) -> str:
        other = ("feet", "metres")[column]
        return f"{booked.written[row]} {booked.unit[row]} taken as {other} would fit"

    return _Kind(UNIT, SERIOUS, shift, words)


def _sign(events: Events) -> _Kind:
    booked = events.booked
    shift = -2.0 * booked.value * booked.metres * booked.sense

    def words(row: int, column: int) -> str:  # noqa: ARG001
        return f"{booked.written[row]} {booked.unit[row]} with the other sign would fit"

    return _Kind(SIGN, SERIOUS, shift[:, None], words)


def _digits(events: Events) -> _Kind:
    booked = events.booked
    added = alternatives.exchanged_digits(booked.value, booked.decimals)
    shift = added * (booked.metres * booked.sense)[:, None]

    def words(row: int, column: int) -> str:
        other = booked.value[row] + added[row, column]
        return f"{other:.{booked.decimals[row]}f} instead of {booked.written[row]} {booked.unit[row]} would fit"

    return _Kind(DIGITS, WARNING, shift, words)


def _amount(events: Events) -> _Kind:
    amounts = np.array([sign * amount for amount in alternatives.ROUND_AMOUNTS_M for sign in (1.0, -1.0)])
    names = ("1 m", "1 ft", "0.1 m")

    def words(row: int, column: int) -> str:  # noqa: ARG001
        return f"{'higher' if amounts[column] > 0 else 'lower'} by {names[column // 2]} exactly it would fit"

    shift = np.broadcast_to(amounts, (len(events), amounts.size)).copy()
    return _Kind(AMOUNT, WARNING, shift, words)


def _points(events: Events) -> list[_Kind]:
    """Return the measuring points that the depth may have been read from instead, and the ground."""
    from_point = events.booked.quantity == "depth_to_water"
    used = events.of_point("elevation_m")
    kinds = []
    for index, what in (
        (_neighbour_point(events, -1), "the measuring point before that one"),
        (_neighbour_point(events, +1), "the measuring point after that one"),
        (_other_access(events), "another access of the well"),
    ):
        shift = np.where(from_point, events.of_point("elevation_m", index) - used, np.nan)
        kinds.append(_Kind(POINT, WARNING, shift[:, None], _read_from(what)))
    height = events.reduced.height_above_ground_m[events.order]
    shift = np.where(from_point, -height, np.where(events.booked.quantity == "depth_below_ground", height, np.nan))
    kinds.append(_Kind(POINT, WARNING, shift[:, None], _ground_words(from_point)))
    for kind in kinds:
        kind.shift_m[np.abs(kind.shift_m) < events.limits["least_misfit_m"]] = np.nan
    return kinds


def _read_from(what: str) -> Any:
    return lambda _row, _column: f"read from {what} it would fit"


def _ground_words(from_point: NDArray[np.bool_]) -> Any:
    return lambda row, _column: (
        "read from the ground it would fit" if from_point[row] else "read from the measuring point it would fit"
    )


def _neighbour_point(events: Events, step: int) -> Places:
    """Return the measuring point before or after the one in force, of the same well and access."""
    points = events.points.reset_index(drop=True)
    ordered = points.sort_values(["well_id", "access", "valid_from_utc"], kind="stable")
    order, wells, names = ordered.index.to_numpy(), ordered["well_id"].to_numpy(), ordered["access"].to_numpy()
    beside = np.full(len(points), -1, dtype=np.int64)
    if len(points) > 1:
        same = (wells[1:] == wells[:-1]) & (names[1:] == names[:-1])
        earlier, later = order[:-1][same], order[1:][same]
        if step < 0:
            beside[later] = earlier
        else:
            beside[earlier] = later
    return np.append(beside, -1)[events.point]


def _other_access(events: Events) -> Places:
    """Return the measuring point of another access in force at that time, where there is exactly one."""
    points = events.points
    ids, of_well = (frame["well_id"].to_numpy(dtype=np.int64) for frame in (events.records, points))
    starts, ends = (to_instants(points[name]) for name in ("valid_from_utc", "valid_until_utc"))
    in_use = in_force(of_well, starts, ends, ids, events.utc)
    several = np.flatnonzero(in_use.count == 2)
    others = np.full(len(events), -1, dtype=np.int64)
    if not several.size:
        return others
    rows, candidates = np.nonzero(
        (ids[several][:, None] == of_well[None, :])
        & (starts[None, :] <= events.utc[several][:, None])
        & (np.isnat(ends)[None, :] | (ends[None, :] > events.utc[several][:, None]))
        & (np.arange(len(points))[None, :] != events.point[several][:, None])
    )
    others[several[rows]] = candidates
    return others
