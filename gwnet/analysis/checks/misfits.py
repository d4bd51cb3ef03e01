"""Levels that do not fit the readings around them and the neighbours: which, by what limit, and what explains them."""

from __future__ import annotations

from typing import Final

import numpy as np

from gwnet.analysis.checks.check import Limit
from gwnet.analysis.checks.events import Events
from gwnet.analysis.checks.explanations import AMOUNT, DIGITS, Explanation, explain_misfits, is_in_feet
from gwnet.hydro.checks.alternatives import FOOT_M
from gwnet.hydro.checks.robust_limits import readings_around
from gwnet.hydro.checks.spreads import Flags, Floats, Places

#: Limits of a misfit.
MISFIT_LIMITS: Final = (
    Limit("fit_spreads", 8.0, "robust standard deviations by which a level may miss what is around it"),
    Limit("unit_spreads", 2.6, "the same for a level that is off by about one unit of the reading (m or ft)"),
    Limit("unit_part", 0.75, "part of one unit from which a misfit is about one unit"),
    Limit("unit_most", 1.5, "multiple of one unit up to which a misfit is about one unit"),
    Limit("least_shared", 2.0, "neighbours off in the same direction that make a misfit a natural one"),
)

#: How much wider the limit is for the first level of a record (project default).
_FIRST_FACTOR: Final = 2.0

#: A level that its own record alone contradicts must stand out by this share of what it misses (project default).
_LEAST_PROMINENCE: Final = 0.5

#: ... and one that its neighbours contradict must miss its own line by this share of it (project default).
_LEAST_OWN: Final = 0.3

#: ... unless it is off by this many times the limit (project default).
_SURE: Final = 2.0

#: A level this many robust standard deviations or less off the line of its own well is not off by a unit (project
#: default).
_LINE_OF_UNIT: Final = 1.0


class Misfits:
    """Levels of one site that do not fit.

    Parameters
    ----------
    events : gwnet.analysis.checks.events.Events
        Level events of one site.

    Attributes
    ----------
    limit_m, hint_limit_m : numpy.ndarray, shape (n,)
        Range that a misfit is reported beyond, and that an explained one is [m].
    is_about_unit : numpy.ndarray of bool, shape (n,)
        Whether a misfit is about one unit of the reading.
    is_alone : numpy.ndarray of bool, shape (n,)
        Whether a level stands alone, or is off by far more than the limit.
    is_shared : numpy.ndarray of bool, shape (n,)
        Whether neighbours are off as well.
    explained : dict of int to Explanation
        What explains levels, by position.
    rows : numpy.ndarray of int64
        Positions of all levels that are off.
    """

    def __init__(self, events: Events) -> None:
        limits, fit = events.limits, events.fit
        size = np.abs(fit.residual_m)
        # the first level of a record is often read before the well has settled, and has one side alone
        wider = np.where(fit.is_first, _FIRST_FACTOR, 1.0)
        least = limits["least_misfit_m"]
        usual = np.maximum(least, limits["fit_spreads"] * wider * fit.spread_m)
        # one digit wrong by one is the commonest gross slip: such a misfit need not be as rare as any other
        unit_m = _unit_m(events)
        of_unit = np.maximum(limits["unit_part"] * unit_m, limits["unit_spreads"] * wider * fit.spread_m)
        self.is_about_unit = (size > of_unit) & (size < limits["unit_most"] * unit_m)
        self.limit_m = np.where(self.is_about_unit, np.minimum(usual, of_unit), usual)
        self.hint_limit_m = np.minimum(np.maximum(least, limits["hint_spreads"] * wider * fit.spread_m), self.limit_m)
        may_be_off = events.checked & self._stands_out(events, size, usual)
        # A misfit that prints like its limit must not be reported as beyond it.
        beyond = size - _resolution(events)
        off = may_be_off & (beyond > self.limit_m)
        # far beyond the limit a level needs no quiet levels beside it
        self.is_alone: Flags = np.asarray(fit.is_alone | (size > _SURE * usual), dtype=np.bool_)
        self.is_shared: Flags = np.asarray(fit.shared >= limits["least_shared"], dtype=np.bool_)
        # neighbours that moved may put a level in doubt that its own record does not
        may_be_explained = may_be_off | (events.checked & ~_is_on_line(events) & fit.by_neighbours)
        suspect = may_be_explained & (beyond > self.hint_limit_m)
        own_limit = np.maximum(least, limits["fit_spreads"] * wider * fit.own_spread_m)
        own = events.checked & ~_is_on_line(events) & (np.abs(fit.own_residual_m) > own_limit)
        explained = explain_misfits(events, np.flatnonzero(suspect | own), suspect & ~self.is_shared, own)
        # digits and round amounts are no rare coincidence: they explain only what stands alone, and the latter what is
        # off without it
        self.explained: dict[int, Explanation] = {
            row: of
            for row, of in explained.items()
            if of.rule not in (DIGITS, AMOUNT) or (self.is_alone[row] and (of.rule == DIGITS or off[row]))
        }
        self.rows: Places = np.flatnonzero(off)

    def _stands_out(self, events: Events, size: Floats, usual: Floats) -> Flags:
        """Return which levels their own record contradicts too: others are natural, whatever the neighbours did."""
        fit = events.fit
        own_share = fit.own_residual_m * np.sign(fit.residual_m) >= _LEAST_OWN * size
        # Far beyond the limit the neighbours alone suffice.
        with_neighbours = own_share | (size > _SURE * usual)
        alone = _prominence(events) >= _LEAST_PROMINENCE * size
        # With one reading around there is no line to stand out from.
        stands_out = np.where(fit.by_neighbours, with_neighbours, alone) | ~fit.between
        # a digit wrong by one on the limb of a curve does not stand out from both sides, and is off all the same
        by_unit = self.is_about_unit & ~_is_on_line(events, _LINE_OF_UNIT)
        return np.asarray((stands_out & ~_is_on_line(events)) | by_unit, dtype=np.bool_)


def misfits_of(events: Events) -> Misfits:
    """Return the levels that do not fit, worked out once.

    Parameters as `gwnet.analysis.checks`.
    """
    return events.once("misfits", lambda: Misfits(events))


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
    return {row for row, of in misfits_of(events).explained.items() if not rules or of.rule in rules}


def _is_on_line(events: Events, spreads: float | None = None) -> Flags:
    """Return which levels lie on a straight line between readings of their own well."""
    fit = events.fit
    within = events.limits["hint_fit_spreads"] if spreads is None else spreads
    return np.asarray(fit.between & (np.abs(fit.own_residual_m) <= within * fit.spread_m), dtype=np.bool_)


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
    return 0.01 * FOOT_M if events.in_feet else 0.001
