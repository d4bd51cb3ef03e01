"""Vertical gradients in clusters: which wells make a pair, which levels belong together, and why some do not."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection
from itertools import pairwise
from typing import Any, Final

import numpy as np
import pandas as pd

from gwnet.analysis.levels.table import levels as levels_of
from gwnet.analysis.maps.site_maps import SetRule
from gwnet.errors import NotFoundError
from gwnet.hydro.gradients.vertical import vertical_gradients
from gwnet.records import Selection
from gwnet.store.snapshot import Snapshot

#: Columns of the table of vertical gradients, in order.
VERTICAL_COLUMNS: Final = tuple(
    (
        "site cluster upper_well lower_well round date screen_distance_m head_difference_m "
        "head_difference_uncertainty_m vertical_gradient vertical_gradient_uncertainty direction hours_apart note"
    ).split()
)

#: Screens whose middles lie nearer in elevation than this stand at one depth [m] (project default).
ONE_DEPTH_M: Final = 0.5

_NOT_DETERMINED: Final = "not determined"


def site_vertical_table(
    record: Snapshot, *, clusters: Collection[str] | None = None, window_days: float | None = None
) -> pd.DataFrame:
    """Return the vertical gradients of the clusters of a site, straight from the record.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record of one site.
    clusters : collection of str, optional
        Only these clusters.
    window_days : float, optional
        Most days between the two levels of a pair; the site's own same-day window unless given.

    Returns
    -------
    pandas.DataFrame
        As `vertical_table`.

    Raises
    ------
    NotFoundError
        If a cluster is not on record, or none is.
    """
    wells = record.wells
    known = sorted(set(wells["cluster"].dropna()) - {""})
    missing = [code for code in clusters or () if code not in known]
    if missing or not known:
        message = f"No cluster {', '.join(missing)} is on record." if missing else "No cluster of wells is on record."
        raise NotFoundError(message, fix=f"On record: {', '.join(known)}." if known else "Name clusters in wells.")
    named = wells[wells["cluster"].isin(list(clusters) if clusters else known)]
    window = SetRule(window_days).for_site(record.settings).window_days or 0.0
    return vertical_table(levels_of(record, Selection.of(named["well"].tolist())), named, window_days=window)


def vertical_table(
    levels: pd.DataFrame,
    wells: pd.DataFrame,
    *,
    window_days: float = 0.0,
) -> pd.DataFrame:
    """Return the vertical gradient of each pair of a cluster in each round.

    Parameters
    ----------
    levels : pandas.DataFrame
        Reduced levels of one site, as `gwnet.analysis.levels.table.levels`.
    wells : pandas.DataFrame
        Wells of the site, as `gwnet.store.fetch.registry.wells`.
    window_days : float, optional
        Most days between the two levels of a pair; 0 for the same local date.

    Returns
    -------
    pandas.DataFrame
        Columns of `VERTICAL_COLUMNS`; one row a pair and round (or day, for levels outside rounds), sorted by site,
        cluster, pair and date. The screen distance is from the middle of the lower to the middle of the upper
        screen. The head difference is lower less upper, so that it and the gradient are positive upward; ``direction``
        is ``upward``, ``downward`` or ``not determined``, and empty where there is no gradient, with the reason in
        ``note``.

    Notes
    -----
    A pair is a well and the next deeper one of its cluster, by the middles of their screens; wells whose middles lie
    within half a metre stand at one depth and do not pair with each other. Of several levels of a well in a round,
    one that can be used goes before one that cannot; then the pair that lies closest in time is taken. A bound (dry,
    overflowing without a head) gives no gradient.
    """
    named = wells[wells["cluster"].fillna("") != ""]
    middle = 0.5 * (named["screen_top_m"].astype(float) + named["screen_bottom_m"].astype(float))
    named = named.assign(middle=named["ground_elevation_m"].astype(float) - middle)
    rows: list[dict[str, Any]] = []
    for (site, cluster), group in named.groupby(["site", "cluster"]):
        own = levels[(levels["site"] == site) & levels["well"].isin(group["well"])]
        # Levels outside rounds go by their day, each a round of its own.
        own = own.assign(key=own["round"].where(own["round"] != "", own["day"].dt.strftime("%Y-%m-%d")))
        for upper, lower in _pairs(group):
            where = {"site": site, "cluster": cluster, "upper_well": upper["well"], "lower_well": lower["well"]}
            rows += [where | row for row in _of_pair(own, upper, lower, window_days)]
    table = pd.DataFrame(rows, columns=list(VERTICAL_COLUMNS))
    return table.sort_values(["site", "cluster", "upper_well", "lower_well", "date", "round"], ignore_index=True)


def _pairs(group: pd.DataFrame) -> list[tuple[dict[str, Any], dict[str, Any]]]:
    """Return each well with the next deeper ones; those without a screen on record come last."""
    # Without a screen on record last: such a well pairs with no other, but is named.
    ordered = group.sort_values("middle", ascending=False, kind="stable")
    depths: list[list[dict[str, Any]]] = []
    for row in ordered.to_dict("records"):
        if depths and depths[-1][0]["middle"] - row["middle"] < ONE_DEPTH_M:
            depths[-1].append(row)
        else:
            depths.append([row])
    return [(upper, lower) for shallow, deep in pairwise(depths) for upper in shallow for lower in deep]


def _of_pair(
    own: pd.DataFrame, upper: dict[str, Any], lower: dict[str, Any], window_days: float
) -> list[dict[str, Any]]:
    """Return a row for each round in which one of a pair was measured and both existed."""
    by_key = [dict(list(own[own["well"] == well["well"]].groupby("key"))) for well in (upper, lower)]
    none = own.iloc[:0]
    rows = []
    for key in sorted(set(by_key[0]) | set(by_key[1])):
        above, below = (levels.get(key, none) for levels in by_key)
        day = pd.concat([above["day"], below["day"]]).min().date()
        # A well that was not drilled yet is not missing from the round.
        if all(len(levels) or _exists(well, day) for levels, well in zip((above, below), (upper, lower), strict=True)):
            rows.append(_row(above, below, (upper, lower), day, window_days))
    return rows


def _exists(well: dict[str, Any], day: dt.date) -> bool:
    """Return whether a well existed on a day, as far as its dates are on record."""
    drilled, given_up = (well.get(name) for name in ("drilled_on", "decommissioned_on"))
    is_drilled = not isinstance(drilled, dt.date) or drilled <= day
    return is_drilled and (not isinstance(given_up, dt.date) or given_up >= day)


def _row(
    above: pd.DataFrame,
    below: pd.DataFrame,
    pair: tuple[dict[str, Any], dict[str, Any]],
    day: dt.date,
    window_days: float,
) -> dict[str, Any]:
    both = [side[side["usable"].astype(bool)] for side in (above, below)]
    row: dict[str, Any] = {
        "round": str((above if len(above) else below)["round"].iloc[0]),
        "date": day.isoformat(),
        # The same distance for all rounds: it is of the wells, not of their levels.
        "screen_distance_m": pair[0]["middle"] - pair[1]["middle"],
        "direction": "",
    }
    for well, side, kept in zip(pair, (above, below), both, strict=True):
        if not np.isfinite(well["middle"]):
            return row | {"note": f"{well['well']}: no screen on record, or no elevation of the ground"}
        if not len(kept):
            why = str(side["unusable_reason"].iloc[0]) if len(side) else "not measured"
            return row | {"note": f"{well['well']}: {why}"}
    return row | _gradient(_closest(both[0], both[1]), pair, window_days)


def _closest(above: pd.DataFrame, below: pd.DataFrame) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return the two levels that lie closest in time, the earlier of such pairs."""
    firsts, seconds = (side["measured_at_utc"].dt.tz_localize(None).to_numpy() for side in (above, below))
    apart = np.abs(firsts[:, None] - seconds[None, :])
    i, j = np.unravel_index(int(np.argmin(apart)), apart.shape)
    return above.iloc[int(i)].to_dict(), below.iloc[int(j)].to_dict()


def _gradient(
    levels: tuple[dict[str, Any], dict[str, Any]],
    pair: tuple[dict[str, Any], dict[str, Any]],
    window_days: float,
) -> dict[str, Any]:
    """Return the gradient between two levels, or that they were not taken on one day."""
    above, below = levels
    days = [level["day"].date() for level in levels]
    apart = abs((days[0] - days[1]).days)
    hours = abs(above["measured_at_utc"] - below["measured_at_utc"]) / pd.Timedelta(hours=1)
    timed = bool(above["time_known"]) and bool(below["time_known"])
    row = {"date": min(days).isoformat(), "hours_apart": round(float(hours), 2) if timed else np.nan}
    if apart > window_days:
        return row | {"note": f"not on one day: {days[0].isoformat()} and {days[1].isoformat()}"}
    vertical = vertical_gradients(
        pair[0]["middle"],
        pair[1]["middle"],
        above["water_elevation_m"],
        below["water_elevation_m"],
        upper_half_width_m=above["uncertainty_m"],
        lower_half_width_m=below["uncertainty_m"],
    )
    way = "upward" if float(vertical.gradient) > 0.0 else "downward"
    return row | {
        "head_difference_m": float(vertical.head_difference_m),
        "head_difference_uncertainty_m": float(vertical.half_width_m),
        "vertical_gradient": float(vertical.gradient),
        "vertical_gradient_uncertainty": float(vertical.gradient_half_width),
        # A difference within its half-width has a sign by chance.
        "direction": way if bool(vertical.determined) else _NOT_DETERMINED,
        "note": "; ".join(_notes(levels, pair, apart)),
    }


def _notes(
    levels: tuple[dict[str, Any], dict[str, Any]], pair: tuple[dict[str, Any], dict[str, Any]], apart: int
) -> list[str]:
    """Return what a reader of a vertical gradient must know."""
    notes = []
    if apart:
        notes.append(f"levels {apart} day{'s' if apart > 1 else ''} apart")
    top = float(pair[0]["ground_elevation_m"]) - float(pair[0]["screen_top_m"])
    # With the water table in the screen only the part below it is open to the head, a part that
    # changes from round to round.
    if levels[0]["water_elevation_m"] < top:
        notes.append(f"water stands in the screen of {pair[0]['well']}; the middle of the whole screen is taken")
    bottom = float(pair[0]["ground_elevation_m"]) - float(pair[0]["screen_bottom_m"])
    lower_top = float(pair[1]["ground_elevation_m"]) - float(pair[1]["screen_top_m"])
    if bottom < lower_top:
        notes.append("the screens overlap")
    if any(np.isnan(level["uncertainty_m"]) for level in levels):
        notes.append("no uncertainty of a level is known")
    return notes
