"""Checks of wells against one another: typed elevations, clusters, copied readings."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations
from typing import Final

import numpy as np
import pandas as pd

from gwnet.analysis.checks.check import SERIOUS, WARNING, CheckList, Finding, Limit
from gwnet.analysis.checks.events import HINT_FIT_SPREADS, HINT_SPREADS, LEAST_MISFIT, Events
from gwnet.constants import SURVEY_ACCURACY_M
from gwnet.hydro.checks import places as checks_places
from gwnet.hydro.checks import visits as checks_visits
from gwnet.hydro.checks.alternatives import FOOT_M

CHECKS: Final = CheckList()

APART: Final = "stands apart from its neighbours"
GROUND: Final = "measuring point does not fit the ground"
ORDER: Final = "order of heads in the cluster reversed"
COPIED: Final = "readings of another well"
EXCHANGED: Final = "readings of two wells exchanged"

#: Amounts that typed elevations are wrong by, in the site's unit.
_TYPED: Final = (1.0, 10.0, 100.0)


def describe_amount(events: Events, amount_m: float, error_m: float = 0.0) -> str:
    """Return a clause that names the round amount that a difference comes near to; empty for none.

    Parameters
    ----------
    events : gwnet.analysis.checks.events.Events
        Level events of one site.
    amount_m : float
        Difference [m].
    error_m : float, optional
        Standard error of the difference [m].

    Returns
    -------
    str
        Clause with a leading comma, or nothing.
    """
    unit, metres = ("ft", FOOT_M) if events.in_feet else ("m", 1.0)
    for number in _TYPED:
        typed = number * metres
        # To 6 % of the amount, or three errors of the difference, an error counting a tenth of it at the most.
        if abs(abs(amount_m) - typed) <= max(0.06 * typed, 3.0 * min(error_m, 0.1 * typed)):
            return f", which is about {number:g} {unit}"
    return ""


@CHECKS.add(
    APART,
    SERIOUS,
    "a well off its neighbours over several quarters, as with a mistyped elevation or a perched well",
    Limit("apart_spreads", 6.0, "robust standard deviations by which a well may differ from its neighbours"),
    Limit("apart_m", 0.2, "differences from the neighbours smaller than this are never reported [m]"),
    Limit("least_rounds", 3.0, "fewest quarters of a year with levels before a well is compared with its neighbours"),
)
def _find_wells_apart(events: Events) -> Iterator[Finding]:
    """Find wells whose levels differ from those of their neighbours over several quarters."""
    limits = events.limits
    aquifers = events.wells["aquifer"].where(events.wells["aquifer"].notna(), "").to_numpy(dtype=object)
    place = events.wells[["easting", "northing"]].to_numpy(dtype=np.float64)
    for aquifer in sorted(set(aquifers.tolist()) - {""}):
        rows = np.flatnonzero(events.sound & (aquifers[events.well] == aquifer))
        # Positions among the wells of this aquifer only, so that arrays stay as short as it is.
        wells, of = np.unique(events.well[rows], return_inverse=True)
        if wells.size < checks_places.LEAST_WELLS:
            continue
        typical = checks_places.typical_levels(of, events.quarter[rows], events.level_m[rows], wells.size)
        enough = typical.periods >= limits["least_rounds"]
        offsets = checks_places.apart_from_neighbours(
            place[wells, 0],
            place[wells, 1],
            np.where(enough, typical.level_m, np.nan),
            spreads=limits["apart_spreads"],
            least_m=limits["apart_m"],
        )
        for number in np.flatnonzero(offsets.apart).tolist():
            offset, limit = float(offsets.offset_m[number]), float(offsets.limit_m[number])
            message = (
                f"In {typical.periods[number]} quarters the well is {events.length(abs(offset))} "
                f"{'above' if offset > 0 else 'below'} what its neighbours in aquifer {aquifer} suggest "
                f"(limit {events.length(limit)}){describe_amount(events, offset)}: an elevation may be wrong, or the "
                "well taps other water."
            )
            values = {
                "offset_m": round(offset, 4),
                "limit_m": round(limit, 4),
                "apart_spreads": limits["apart_spreads"],
            }
            values |= {"apart_m": limits["apart_m"], "quarters": int(typical.periods[number])}
            code = str(events.wells["well"].iat[wells[number]])
            yield Finding(message, values, well=code)


@CHECKS.add(
    GROUND,
    WARNING,
    "an elevation less its height that is not the elevation of the ground",
    Limit("survey_ground_m", 0.1, "measuring point less its height may differ from the ground by this [m]"),
)
def _find_off_ground(events: Events) -> Iterator[Finding]:
    """Find measuring points whose elevation less their height is not the elevation of the ground."""
    points = events.points[events.points["site"] == events.site].reset_index(drop=True)
    wells = events.inputs.wells.set_index("well_id")
    ground = points["well_id"].map(wells["ground_elevation_m"]).to_numpy(dtype=np.float64)
    # A ground without a stated accuracy is taken to be levelled as the point was.
    ground_accuracy = (
        points["well_id"].map(wells["ground_accuracy_m"]).fillna(SURVEY_ACCURACY_M).to_numpy(dtype=np.float64)
    )
    accuracy = points["accuracy_m"].fillna(SURVEY_ACCURACY_M).to_numpy(dtype=np.float64)
    suggested = (points["elevation_m"] - points["height_above_ground_m"]).to_numpy(dtype=np.float64)
    limit = np.hypot(np.hypot(accuracy, ground_accuracy), events.limits["survey_ground_m"])
    of_well: dict[str, Finding] = {}
    # NaN where either is not on record: no comparison, no finding.
    for place in np.flatnonzero(np.abs(suggested - ground) > limit).tolist():
        off = float(suggested[place] - ground[place])
        since = points["valid_from_utc"].iat[place]
        message = (
            f"Measuring point {points['access'].iat[place]} in force from {since:%Y-%m-%d}: its elevation less its "
            f"height above ground lies {events.length(abs(off))} {'above' if off > 0 else 'below'} the ground on "
            f"record (limit {events.length(limit[place])}){describe_amount(events, off)}."
        )
        values = {
            "difference_m": round(off, 4),
            "limit_m": round(float(limit[place]), 4),
            "survey_ground_m": events.limits["survey_ground_m"],
            "measuring_point_id": int(points["measuring_point_id"].iat[place]),
        }
        well = str(points["well"].iat[place])
        if well in of_well:
            of_well[well] = replace(of_well[well], message=f"{of_well[well].message} {message}")
        else:
            of_well[well] = Finding(message, values, well=well)
    yield from of_well.values()


@CHECKS.add(
    ORDER,
    WARNING,
    "heads of a cluster against the order in its own record",
    Limit("cluster_share", 0.9, "share of a cluster's pairs of levels in one order that makes the order a rule"),
    Limit("cluster_days", 3.0, "days within which two levels of a cluster make a pair [d]"),
    Limit("least_pairs", 8.0, "fewest pairs of levels that show a cluster's order"),
)
def _find_reversed_order(events: Events) -> Iterator[Finding]:
    """Find pairs of levels of a cluster whose order is not the usual one."""
    pairs = _cluster_pairs(events)
    if not pairs:
        return
    shallow = np.concatenate([pair[0] for pair in pairs])
    deep = np.concatenate([pair[1] for pair in pairs])
    number = np.repeat(np.arange(len(pairs)), [pair[0].size for pair in pairs])
    # A level without an uncertainty counts as exact, so its order counts.
    uncertainty = np.nan_to_num(events["uncertainty_m"])
    difference = events.level_m[deep] - events.level_m[shallow]
    order = checks_visits.order_in_cluster(
        number,
        difference,
        np.hypot(uncertainty[shallow], uncertainty[deep]),
        share=events.limits["cluster_share"],
        least=events.limits["least_pairs"],
    )
    residual, spread = np.abs(events.fit.residual_m), events.fit.spread_m
    # The level that is farther off its own record is the likelier slip of the two.
    off = np.nan_to_num(np.divide(residual, spread, out=np.zeros_like(residual), where=spread > 0.0))
    findings = {}
    for place in np.flatnonzero(order.reversed).tolist():
        low, high = int(deep[place]), int(shallow[place])
        row = low if off[low] >= off[high] else high
        message = (
            f"{events.codes[low]} is {events.length(abs(difference[place]))} "
            f"{'above' if difference[place] > 0 else 'below'} {events.codes[high]}; in {order.share[place]:.0%} of "
            f"{order.count[place]} pairs of levels it is {'above' if order.usual[place] > 0 else 'below'}."
        )
        values = {
            "difference_m": round(float(difference[place]), 6),
            "share": round(float(order.share[place]), 4),
            "pairs": int(order.count[place]),
            "cluster_share": events.limits["cluster_share"],
        }
        # One finding a level, however many wells of the cluster it disagrees with.
        findings[row] = Finding(message, values, row)
    yield from findings.values()


def _cluster_pairs(events: Events) -> list[tuple[np.ndarray, np.ndarray]]:
    """Return for each two wells of a cluster the events that make pairs: of the shallower and of the deeper well."""
    wells = events.wells.reset_index(drop=True)
    named = wells[wells["cluster"].notna() & (wells["cluster"] != "")]
    rows = np.flatnonzero(events.checked)
    pairs = []
    for _, group in named.sort_values(["screen_top_m", "well"], kind="stable").groupby("cluster", sort=True):
        for upper, lower in combinations(group.index.tolist(), 2):
            of_upper, of_lower = rows[events.well[rows] == upper], rows[events.well[rows] == lower]
            first, second = checks_visits.pairs_within(
                events.time_d[of_upper], events.time_d[of_lower], events.limits["cluster_days"]
            )
            if first.size:
                pairs.append((of_upper[first], of_lower[second]))
    return pairs


@CHECKS.add(
    COPIED,
    WARNING,
    "a reading that fits a neighbour and not its own well; serious beyond `fit_spreads`",
    HINT_SPREADS,
    others=(SERIOUS,),
)
def _find_copied_readings(events: Events) -> Iterator[Finding]:
    """Find wells with the same readings as another well on the same day that do not fit their own record."""
    yield from find_copied(events)


def find_copied(events: Events) -> list[Finding]:
    """Return the findings of readings that are another well's.

    Parameters as `gwnet.analysis.checks`.

    Returns
    -------
    list of Finding
        One a reading.
    """
    return events.once("copied", lambda: list(_copied(events)))


def _copied(events: Events) -> Iterator[Finding]:
    records = events.inputs.depth_to_water_m[events.order]
    # One repeat may agree by chance with another well's; two of them on one day hardly.
    several = (~np.isnan(records)).sum(axis=1) >= 2
    residual, spread = np.abs(events.fit.residual_m), events.fit.spread_m
    off = np.nan_to_num(np.divide(residual, spread, out=np.zeros_like(residual), where=spread > 0.0))
    rows = np.flatnonzero(several & events.checked)
    if not rows.size:
        return
    table = pd.DataFrame({"row": rows, "day": events.day[rows].astype(np.int64), "well": events.well[rows]})
    for column in range(records.shape[1]):
        # In tenths of a millimetre: readings that came by different conversions differ in the last bits.
        table[f"r{column}"] = np.rint(np.nan_to_num(records[rows, column], nan=-1.0) * 1e4).astype(np.int64)
    keys = ["day", *[name for name in table.columns if name.startswith("r") and name != "row"]]
    table["off"] = off[rows]
    table["wells"] = table.groupby(keys)["well"].transform("nunique")
    for _, same in table[table["wells"] > 1].groupby(keys):
        worst = same.sort_values("off", kind="stable").iloc[-1]
        # At half the usual limit: the repeats are the evidence, the misfit only says which of both is the copy.
        if worst["off"] <= events.limits["hint_spreads"] / 2.0:
            continue
        row = int(worst["row"])
        others = sorted({events.codes[other] for other in same["row"]} - {events.codes[row]})
        message = (
            f"All repeats are those of {', '.join(others)} on the same day, and the level does not fit the well's own "
            f"record (off by {worst['off']:.1f} robust standard deviations)."
        )
        severity = SERIOUS if worst["off"] > events.limits["fit_spreads"] else WARNING
        yield Finding(message, {"spreads": round(float(worst["off"]), 2), "as": others}, row, severity=severity)


@CHECKS.add(
    EXCHANGED,
    WARNING,
    "two readings of a round that fit each other's wells",
    HINT_SPREADS,
    HINT_FIT_SPREADS,
    LEAST_MISFIT,
)
def _find_exchanged_readings(events: Events) -> Iterator[Finding]:
    """Find pairs of wells of one day that both fit with the depth of the other."""
    yield from find_exchanged(events)


def find_exchanged(events: Events) -> list[Finding]:
    """Return the findings of readings of two wells that were exchanged.

    Parameters as `gwnet.analysis.checks`.

    Returns
    -------
    list of Finding
        One a pair of readings, booked at the first.
    """
    return events.once("exchanged", lambda: list(_exchanged(events)))


def _exchanged(events: Events) -> Iterator[Finding]:
    limits, fit = events.limits, events.fit
    off = np.abs(fit.residual_m) > np.maximum(limits["least_misfit_m"], limits["hint_spreads"] * fit.spread_m)
    rows = np.flatnonzero(off & events.checked & (events.booked.quantity == "depth_to_water"))
    depth = events.booked.value * events.booked.metres
    within = limits["hint_fit_spreads"] * fit.spread_m
    for day in np.unique(events.day[rows]):
        for row, other in combinations(rows[events.day[rows] == day].tolist(), 2):
            moved = depth[row] - depth[other]
            fits = (
                abs(fit.residual_m[row] + moved) <= within[row] and abs(fit.residual_m[other] - moved) <= within[other]
            )
            # Two visits of one well that fit exchanged are a matter of their times.
            if fits and events.well[row] != events.well[other]:
                yield _describe_exchange(events, row, other)


def _describe_exchange(events: Events, row: int, other: int) -> Finding:
    misfit = events.fit.residual_m[row]
    message = (
        f"The level is {events.length(abs(misfit))} {'above' if misfit > 0 else 'below'} what is around it, and that "
        f"of {events.codes[other]} on the same day does not fit either; with their depths exchanged both would."
    )
    return Finding(message, {"misfit_m": round(float(misfit), 6), "other": events.codes[other]}, row, (row, other))
