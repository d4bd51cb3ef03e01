"""Checks of wells against one another: typed elevations, clusters, copied readings."""

from __future__ import annotations

from itertools import combinations
from typing import Final

import numpy as np
import pandas as pd

from gwnet.analysis.checks.events import SERIOUS, WARNING, Events, Finding
from gwnet.constants import SURVEY_ACCURACY_M
from gwnet.hydro.checks import places as checks_places
from gwnet.hydro.checks import visits as checks_visits
from gwnet.hydro.checks.neighbours import Fit

APART: Final = "stands apart from its neighbours"
GROUND: Final = "measuring point does not fit the ground"
ORDER: Final = "order of heads in the cluster reversed"
COPIED: Final = "readings of another well"
EXCHANGED: Final = "readings of two wells exchanged"

#: Amounts that typed elevations are wrong by [m], with their names.
_TYPED: Final = ((0.3048, "1 ft"), (1.0, "1 m"), (3.048, "10 ft"), (10.0, "10 m"), (100.0, "100 m"), (30.48, "100 ft"))


def place_findings(events: Events, fit: Fit) -> list[Finding]:
    """Return what is noticed when wells are held against one another.

    Parameters
    ----------
    events : Events
        Level events of one site.
    fit : gwnet.hydro.checks.neighbours.Fit
        How each level fits what is around it.

    Returns
    -------
    list of Finding
        Findings of the rules of this module.
    """
    return [*_apart(events), *_ground(events), *_order(events, fit), *_copied(events, fit), *_exchanged(events, fit)]


def about(amount_m: float, error_m: float = 0.0) -> str:
    """Return a clause that names the round amount that a difference comes near to; empty for none.

    Parameters
    ----------
    amount_m : float
        Difference [m].
    error_m : float, optional
        Standard error of the difference [m].

    Returns
    -------
    str
        Clause with a leading comma, or nothing.
    """
    for typed, name in _TYPED:
        if abs(abs(amount_m) - typed) <= max(0.06 * typed, 3.0 * min(error_m, 0.1 * typed)):
            return f", which is about {name}"
    return ""


def _apart(events: Events) -> list[Finding]:
    """Find wells whose levels stand apart from those of their neighbours over several quarters."""
    limits = events.limits
    aquifers = events.wells["aquifer"].where(events.wells["aquifer"].notna(), "").to_numpy(dtype=object)
    place = events.wells[["easting", "northing"]].to_numpy(dtype=np.float64)
    made = []
    for aquifer in sorted(set(aquifers.tolist()) - {""}):
        rows = np.flatnonzero(events.sound & (aquifers[events.well] == aquifer))
        wells, of = np.unique(events.well[rows], return_inverse=True)
        if wells.size < checks_places.LEAST_WELLS:
            continue
        typical = checks_places.typical_levels(of, events.quarter[rows], events.level_m[rows], wells.size)
        enough = typical.periods >= limits["least_rounds"]
        found = checks_places.apart_from_neighbours(
            place[wells, 0],
            place[wells, 1],
            np.where(enough, typical.level_m, np.nan),
            spreads=limits["apart_spreads"],
            least_m=limits["apart_m"],
        )
        for number in np.flatnonzero(found.apart).tolist():
            offset, limit = float(found.offset_m[number]), float(found.limit_m[number])
            message = (
                f"In {typical.periods[number]} quarters the well stands {events.length(abs(offset))} "
                f"{'above' if offset > 0 else 'below'} what its neighbours in aquifer {aquifer} suggest "
                f"(limit {events.length(limit)}){about(offset)}: an elevation may be wrong, or the well taps "
                "other water."
            )
            values = {
                "offset_m": round(offset, 4),
                "limit_m": round(limit, 4),
                "apart_spreads": limits["apart_spreads"],
            }
            values |= {"apart_m": limits["apart_m"], "quarters": int(typical.periods[number])}
            code = str(events.wells["well"].iat[wells[number]])
            made.append(Finding(APART, SERIOUS, message, values, well=code))
    return made


def _ground(events: Events) -> list[Finding]:
    """Find measuring points whose elevation less their height is not the elevation of the ground."""
    points = events.points[events.points["site"] == events.site].reset_index(drop=True)
    wells = events.inputs.wells.set_index("well_id")
    ground = points["well_id"].map(wells["ground_elevation_m"]).to_numpy(dtype=np.float64)
    ground_accuracy = (
        points["well_id"].map(wells["ground_accuracy_m"]).fillna(SURVEY_ACCURACY_M).to_numpy(dtype=np.float64)
    )
    accuracy = points["accuracy_m"].fillna(SURVEY_ACCURACY_M).to_numpy(dtype=np.float64)
    suggested = (points["elevation_m"] - points["height_above_ground_m"]).to_numpy(dtype=np.float64)
    limit = np.hypot(np.hypot(accuracy, ground_accuracy), events.limits["survey_ground_m"])
    made = []
    for place in np.flatnonzero(np.abs(suggested - ground) > limit).tolist():
        off = float(suggested[place] - ground[place])
        since = points["valid_from_utc"].iat[place]
        message = (
            f"Measuring point {points['access'].iat[place]} in force from {since:%Y-%m-%d}: its elevation less its "
            f"height above ground lies {events.length(abs(off))} {'above' if off > 0 else 'below'} the ground on "
            f"record (limit {events.length(limit[place])}){about(off)}."
        )
        values = {
            "difference_m": round(off, 4),
            "limit_m": round(float(limit[place]), 4),
            "survey_ground_m": events.limits["survey_ground_m"],
            "measuring_point_id": int(points["measuring_point_id"].iat[place]),
        }
        made.append(Finding(GROUND, WARNING, message, values, well=str(points["well"].iat[place])))
    return _one_each(made)


def _one_each(found: list[Finding]) -> list[Finding]:
    """Join findings of one rule and well into one."""
    made: dict[tuple[str, str], Finding] = {}
    for one in found:
        key = (one.rule, one.well)
        if key in made:
            message = f"{made[key].message} {one.message}"
            one = Finding(one.rule, one.severity, message, made[key].limits, well=one.well)
        made[key] = one
    return list(made.values())


def _order(events: Events, fit: Fit) -> list[Finding]:
    """Find pairs of levels of a cluster whose order is not the usual one."""
    pairs = _cluster_pairs(events)
    if not pairs:
        return []
    shallow = np.concatenate([one[0] for one in pairs])
    deep = np.concatenate([one[1] for one in pairs])
    number = np.repeat(np.arange(len(pairs)), [one[0].size for one in pairs])
    uncertainty = np.nan_to_num(events.column("uncertainty_m"))
    difference = events.level_m[deep] - events.level_m[shallow]
    found = checks_visits.order_in_cluster(
        number,
        difference,
        np.hypot(uncertainty[shallow], uncertainty[deep]),
        share=events.limits["cluster_share"],
        least=events.limits["least_pairs"],
    )
    off = np.nan_to_num(np.abs(fit.residual_m) / fit.spread_m)
    made = {}
    for place in np.flatnonzero(found.reversed).tolist():
        low, high = int(deep[place]), int(shallow[place])
        row = low if off[low] >= off[high] else high
        message = (
            f"{events.code(low)} stands {events.length(abs(difference[place]))} "
            f"{'above' if difference[place] > 0 else 'below'} {events.code(high)}; in {found.share[place]:.0%} of "
            f"{found.count[place]} pairs of levels it stands {'above' if found.usual[place] > 0 else 'below'}."
        )
        values = {
            "difference_m": round(float(difference[place]), 6),
            "share": round(float(found.share[place]), 4),
            "pairs": int(found.count[place]),
            "cluster_share": events.limits["cluster_share"],
        }
        made[row] = Finding(ORDER, WARNING, message, values, row)
    return list(made.values())


def _cluster_pairs(events: Events) -> list[tuple[np.ndarray, np.ndarray]]:
    """Return for each two wells of a cluster the events that make pairs: of the shallower and of the deeper well."""
    wells = events.wells.reset_index(drop=True)
    named = wells[wells["cluster"].notna() & (wells["cluster"] != "")]
    rows = np.flatnonzero(events.checked)
    made = []
    for _, group in named.sort_values(["screen_top_m", "well"], kind="stable").groupby("cluster", sort=True):
        for upper, lower in combinations(group.index.tolist(), 2):
            of_upper, of_lower = rows[events.well[rows] == upper], rows[events.well[rows] == lower]
            first, second = checks_visits.pairs_within(
                events.time_d[of_upper], events.time_d[of_lower], events.limits["cluster_days"]
            )
            if first.size:
                made.append((of_upper[first], of_lower[second]))
    return made


def _copied(events: Events, fit: Fit) -> list[Finding]:
    """Find wells with the same readings as another well on the same day that do not fit their own record."""
    records = events.inputs.depth_to_water_m[events.order]
    several = (~np.isnan(records)).sum(axis=1) >= 2
    off = np.nan_to_num(np.abs(fit.residual_m) / fit.spread_m)
    rows = np.flatnonzero(several & events.checked)
    if not rows.size:
        return []
    table = pd.DataFrame({"row": rows, "day": events.day[rows].astype(np.int64), "well": events.well[rows]})
    for column in range(records.shape[1]):
        table[f"r{column}"] = np.rint(np.nan_to_num(records[rows, column], nan=-1.0) * 1e4).astype(np.int64)
    keys = ["day", *[name for name in table.columns if name.startswith("r") and name != "row"]]
    table["off"] = off[rows]
    table["wells"] = table.groupby(keys)["well"].transform("nunique")
    made = []
    for _, same in table[table["wells"] > 1].groupby(keys, sort=True):
        worst = same.sort_values("off", kind="stable").iloc[-1]
        if worst["off"] <= events.limits["hint_spreads"] / 2.0:
            continue
        row = int(worst["row"])
        others = sorted({events.code(int(other)) for other in same["row"]} - {events.code(row)})
        message = (
            f"All repeats are those of {', '.join(others)} on the same day, and the level does not fit the well's own "
            f"record (off by {worst['off']:.1f} robust standard deviations)."
        )
        made.append(Finding(COPIED, WARNING, message, {"spreads": round(float(worst["off"]), 2), "as": others}, row))
    return made


def _exchanged(events: Events, fit: Fit) -> list[Finding]:
    """Find pairs of wells of one day that both fit with the depth of the other."""
    limits = events.limits
    off = np.abs(fit.residual_m) > np.maximum(limits["least_misfit_m"], limits["hint_spreads"] * fit.spread_m)
    rows = np.flatnonzero(off & events.checked & (events.booked.quantity == "depth_to_water"))
    depth = events.booked.value * events.booked.metres
    within = limits["hint_fit_spreads"] * fit.spread_m
    made = []
    for day in np.unique(events.day[rows]):
        for one, other in combinations(rows[events.day[rows] == day].tolist(), 2):
            moved = depth[one] - depth[other]
            fits = (
                abs(fit.residual_m[one] + moved) <= within[one] and abs(fit.residual_m[other] - moved) <= within[other]
            )
            if fits and events.well[one] != events.well[other]:
                made += [_swapped(events, fit, one, other), _swapped(events, fit, other, one)]
    return made


def _swapped(events: Events, fit: Fit, row: int, other: int) -> Finding:
    message = (
        f"The level stands {events.length(abs(fit.residual_m[row]))} {'above' if fit.residual_m[row] > 0 else 'below'} "
        f"what is around it, and so does that of {events.code(other)} on the same day; with their depths exchanged "
        "both would fit."
    )
    values = {"misfit_m": round(float(fit.residual_m[row]), 6), "other": events.code(other)}
    return Finding(EXCHANGED, WARNING, message, values, row)
