"""What may explain that a level does not fit: a slip of a digit, the decimal point, a unit, a sign, another point."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gwnet.analysis.checks.check import SERIOUS, WARNING
from gwnet.analysis.checks.events import Events
from gwnet.clock import to_instants
from gwnet.hydro.checks import alternatives
from gwnet.hydro.checks.spreads import Floats, Places
from gwnet.hydro.reduction.intervals import in_force

UNIT: Final = "fits in another unit"
SIGN: Final = "fits with the other sign"
DIGITS: Final = "fits with two digits exchanged"
DECIMAL: Final = "fits with the decimal point moved"
AMOUNT: Final = "off by a round amount"
POINT: Final = "fits another measuring point"

#: Rules that move a level far, so that a small shift by one of them is chance.
COARSE: Final = (UNIT, SIGN, DECIMAL)

#: Robust standard deviations that a coarse explanation must move a level by (project default).
_FAR: Final = 8.0

#: A fine explanation must leave less than this share of what it moves; else chance explains as much (project default).
_LEFT_SHARE: Final = 0.1

#: How much worse than a slip of a digit an explanation is ranked, as a share of the misfit that it may leave (project
#: default).
_RANK: Final = {DIGITS: 0.0, DECIMAL: 0.0, UNIT: 0.25, SIGN: 0.25, POINT: 0.5, AMOUNT: 0.5}

#: A slip by a round amount of so much, a whole metre or foot, is a blunder [m].
_BLUNDER_M: Final = 0.3

#: Powers of ten by which a decimal point is moved.
_POWERS: Final = (1, -1, 2, -2)


@dataclass(frozen=True)
class Kind:
    """A kind of explanation.

    Attributes
    ----------
    rule, severity : str
        Rule and severity of its findings.
    shift_m : numpy.ndarray, shape (n, k)
        What each of its alternatives would add to the level; NaN where it does not apply [m].
    words : callable
        Takes the position of an event and of an alternative, returns what may have happened, in words.
    """

    rule: str
    severity: str
    shift_m: Floats
    words: Callable[[int, int], str]


@dataclass(frozen=True)
class Explanation:
    """What explains one misfit best.

    Attributes
    ----------
    rule, severity : str
        Those of its kind.
    words : str
        What may have happened.
    moved_m, left_m : float
        What it would add to the level, and what the level would still miss [m].
    alternative : int
        Its column among all alternatives: the same one for events that it explains in the same way.
    """

    rule: str
    severity: str
    words: str
    moved_m: float
    left_m: float
    alternative: int


def explain_misfits(
    events: Events, rows: NDArray[np.intp], suspect: NDArray[np.bool_], own: NDArray[np.bool_]
) -> dict[int, Explanation]:
    """Return the likeliest explanation of each misfit that has one.

    Parameters
    ----------
    events : gwnet.analysis.checks.events.Events
        Level events of one site.
    rows : numpy.ndarray of int, shape (r,)
        Events that do not fit.
    suspect : numpy.ndarray of bool, shape (n,)
        Events that do not fit what is around them, their neighbours asked.
    own : numpy.ndarray of bool, shape (n,)
        Events that do not fit their own record: where all neighbours are off together, a whole file in another unit or
        with another sign may be meant.

    Returns
    -------
    dict of int to Explanation
        By event.
    """
    fit = events.fit
    kinds = [_digits(events), _decimal(events), _unit(events), _sign(events), *_points(events), _amount(events)]
    widths = [kind.shift_m.shape[1] for kind in kinds]
    shifts = np.concatenate([kind.shift_m[rows] for kind in kinds], axis=1)
    coarse = np.repeat([kind.rule in COARSE for kind in kinds], widths)
    rank = np.repeat([_RANK[kind.rule] for kind in kinds], widths)
    spread, own_spread = fit.spread_m[rows], fit.own_spread_m[rows]
    far = np.abs(shifts) > _FAR * spread[:, None]
    # A coarse slip of a small amount fits any small misfit, so it must move the level far to count.
    shifts = np.where(coarse[None, :] & ~far, np.nan, shifts)
    within = events.limits["hint_fit_spreads"]
    best = alternatives.best_alternative(
        np.where(suspect[rows], fit.residual_m[rows], np.nan), shifts, within * spread, rank, _LEFT_SHARE
    )
    alone = alternatives.best_alternative(
        np.where(own[rows], fit.own_residual_m[rows], np.nan),
        # Against its own record alone only coarse slips: fine ones would explain weather.
        np.where(coarse[None, :], shifts, np.nan),
        within * own_spread,
        rank,
        _LEFT_SHARE,
    )
    which = np.where(best.which >= 0, best.which, alone.which)
    left = np.where(best.which >= 0, best.misfit_m, alone.misfit_m)
    starts = np.concatenate([[0], np.cumsum(widths)])
    explained = {}
    for place in np.flatnonzero(which >= 0).tolist():
        row, column = int(rows[place]), int(which[place])
        number = int(np.searchsorted(starts, column, side="right")) - 1
        kind = kinds[number]
        words = kind.words(row, column - int(starts[number]))
        moved = float(shifts[place, column])
        # A whole metre or foot wrong is a blunder, a tenth may still be one of the water's own moves.
        severity = SERIOUS if kind.rule == AMOUNT and abs(moved) >= _BLUNDER_M else kind.severity
        explained[row] = Explanation(kind.rule, severity, words, moved, float(left[place]), column)
    return explained


def _unit(events: Events) -> Kind:
    """Return the other kind of unit, where the record or the note of the event knows it."""
    booked = events.booked
    added = alternatives.other_unit(booked.value, booked.metres)
    shift = added * (booked.metres * booked.sense)[:, None]
    shift[~events.may_be_in_feet, 0] = np.nan
    shift[~events.may_be_in_metres, 1] = np.nan

    def words(row: int, column: int) -> str:
        return f"{booked.written[row]} may be in {('feet', 'metres')[column]} and not in {booked.unit[row]}"

    return Kind(UNIT, SERIOUS, shift, words)


def _sign(events: Events) -> Kind:
    booked = events.booked
    shift = -2.0 * booked.value * booked.metres * booked.sense

    def words(row: int, column: int) -> str:  # noqa: ARG001
        return f"{booked.written[row]} {booked.unit[row]} may have the wrong sign"

    return Kind(SIGN, SERIOUS, shift[:, None], words)


def _digits(events: Events) -> Kind:
    booked = events.booked
    added = alternatives.exchanged_digits(booked.value, booked.decimals)
    shift = added * (booked.metres * booked.sense)[:, None]

    def words(row: int, column: int) -> str:
        other = booked.value[row] + added[row, column]
        return f"two digits may be exchanged: {other:.{booked.decimals[row]}f} instead of {_as_booked(events, row)}"

    return Kind(DIGITS, WARNING, shift, words)


def _decimal(events: Events) -> Kind:
    booked = events.booked
    factors = np.array([10.0**power for power in _POWERS])
    shift = booked.value[:, None] * (factors - 1.0)[None, :] * (booked.metres * booked.sense)[:, None]

    def words(row: int, column: int) -> str:
        decimals = max(int(booked.decimals[row]) - _POWERS[column], 0)
        other = booked.value[row] * factors[column]
        return f"the decimal point may be misplaced: {other:.{decimals}f} instead of {_as_booked(events, row)}"

    return Kind(DECIMAL, SERIOUS, shift, words)


def _as_booked(events: Events, row: int) -> str:
    return f"{events.booked.written[row]} {events.booked.unit[row]}"


def is_in_feet(events: Events) -> NDArray[np.bool_]:
    """Return which levels were booked in feet.

    Parameters as `gwnet.analysis.checks`.
    """
    return np.asarray(np.abs(events.booked.metres - alternatives.FOOT_M) < 1e-5, dtype=np.bool_)


def _amount(events: Events) -> Kind:
    """Return round amounts in the unit in which the level was booked."""
    amounts = np.array([sign * amount for amount in alternatives.ROUND_AMOUNTS for sign in (1.0, -1.0)])
    in_feet = is_in_feet(events)
    shift = np.where(in_feet[:, None], alternatives.FOOT_M, 1.0) * amounts[None, :]

    def words(row: int, column: int) -> str:
        name = f"{abs(amounts[column]):g} {'ft' if in_feet[row] else 'm'}"
        return f"it would fit {name} {'higher' if amounts[column] > 0 else 'lower'}: one digit may be wrong"

    return Kind(AMOUNT, WARNING, shift, words)


def _points(events: Events) -> list[Kind]:
    """Return the measuring points that the depth may have been read from instead, and the ground."""
    from_point = events.booked.quantity == "depth_to_water"
    used = events.of_point("elevation_m")
    kinds = []
    for index, what in (
        (_neighbour_point(events, later=False), "the measuring point before that one"),
        (_neighbour_point(events, later=True), "the measuring point after that one"),
        (_other_access(events), "another access of the well"),
    ):
        shift = np.where(from_point, events.of_point("elevation_m", index) - used, np.nan)
        kinds.append(Kind(POINT, WARNING, shift[:, None], _read_from(what)))
    # The other way round as well: a depth below ground may have been written from the measuring point.
    height = events.reduced.height_above_ground_m[events.order]
    shift = np.where(from_point, -height, np.where(events.booked.quantity == "depth_below_ground", height, np.nan))
    kinds.append(Kind(POINT, WARNING, shift[:, None], _ground_words(from_point)))
    for kind in kinds:
        # Two points at nearly one height explain nothing.
        kind.shift_m[np.abs(kind.shift_m) < events.limits["least_misfit_m"]] = np.nan
    return kinds


def _read_from(what: str) -> Callable[[int, int], str]:
    return lambda _row, _column: f"it may have been read from {what}"


def _ground_words(from_point: NDArray[np.bool_]) -> Callable[[int, int], str]:
    return lambda row, _column: (
        f"it may have been read from {'the ground' if from_point[row] else 'the measuring point'}"
    )


def _neighbour_point(events: Events, *, later: bool) -> Places:
    """Return the measuring point before or after the one in force, of the same well and access."""
    points = events.points.reset_index(drop=True)
    ordered = points.sort_values(["well_id", "access", "valid_from_utc"], kind="stable")
    order, wells, names = ordered.index.to_numpy(), ordered["well_id"].to_numpy(), ordered["access"].to_numpy()
    beside = np.full(len(points), -1, dtype=np.int64)
    same = (wells[1:] == wells[:-1]) & (names[1:] == names[:-1])
    first, second = order[:-1][same], order[1:][same]
    if later:
        beside[first] = second
    else:
        beside[second] = first
    # The last place serves events without a point, whose index is -1.
    return np.append(beside, -1)[events.point]


def _other_access(events: Events) -> Places:
    """Return the measuring point of another access in force at that time, where there is exactly one."""
    points = events.points
    ids, of_well = (frame["well_id"].to_numpy(dtype=np.int64) for frame in (events.records, points))
    starts, ends = (to_instants(points[name]) for name in ("valid_from_utc", "valid_until_utc"))
    in_use = in_force(of_well, starts, ends, ids, events.utc)
    # Of three points in force nobody can say which other one was meant.
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
