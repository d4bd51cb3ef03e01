"""States of the thresholds of a record over a period."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Final

import pandas as pd

from gwnet.analysis.levels.table import levels
from gwnet.analysis.maps.site_maps import placed_wells, unit_of_coordinates
from gwnet.analysis.thresholds.elevations import with_elevations
from gwnet.analysis.thresholds.lanes import CHANGE, GRADIENT, LOGGER, MANUAL
from gwnet.analysis.thresholds.logger_days import days_of_loggers
from gwnet.analysis.thresholds.states import ThresholdState, find_states
from gwnet.store.snapshot import Snapshot
from gwnet.units import metres_per

#: Columns of `states_table`.
STATE_COLUMNS: Final = tuple(
    "site well threshold kind threshold_elevation_m consecutive first last state reason readings_beyond "
    "readings_judged logger_days_beyond logger_days_judged extreme_m extreme_at margin_m caution basis action form "
    "limit_m days other_well distance_m gradient".split()
)

#: Columns of `crossings_table`.
CROSSING_COLUMNS: Final = tuple(
    "site well threshold kind threshold_elevation_m source first last ended_by levels levels_in_period in_a_row "
    "consecutive confirmed_on peak_m peak_at margin_m review form limit_m".split()
)


def limits_of(record: Snapshot) -> pd.DataFrame:
    """Return the thresholds of a record with their elevations; made once, so not to be changed in place.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record.

    Returns
    -------
    pandas.DataFrame
        As `gwnet.analysis.thresholds.elevations.with_elevations`.
    """
    return record.once(
        "thresholds with elevations",
        lambda: with_elevations(
            record.thresholds,
            placed_wells(record),
            record.measuring_points,
            record.construction,
            unit_of_coordinates(str(record.settings["crs"])),
        ),
    )


def limits_in_force(limits: pd.DataFrame, wells: pd.DataFrame) -> pd.DataFrame:
    """Return the thresholds of wells that a trend can reach: those on water elevations that have no end.

    Parameters
    ----------
    limits : pandas.DataFrame
        Thresholds, as of `limits_of`.
    wells : pandas.DataFrame
        The wells, with their ``well_id``.
    """
    # a change or a gradient is reached by no level of one well alone
    on_levels = limits[~limits["quantity"].isin((CHANGE, GRADIENT))]
    return on_levels[on_levels["valid_until_utc"].isna() & on_levels["well_id"].isin(wells["well_id"])]


def wells_of(limits: pd.DataFrame) -> list[str]:
    """Return the wells whose levels thresholds are judged by, the other ends of gradients among them.

    Parameters
    ----------
    limits : pandas.DataFrame
        Thresholds, as of `limits_of`.
    """
    return sorted({*limits["well"], *limits["other_well"]} - {""})


def threshold_states(
    record: Snapshot,
    first: dt.date | None = None,
    last: dt.date | None = None,
    wells: Sequence[str] | None = None,
) -> tuple[ThresholdState, ...]:
    """Return the states of the thresholds of a site over a period.

    Parameters
    ----------
    record : gwnet.store.snapshot.Snapshot
        The record of one site.
    first, last : datetime.date, optional
        First and last local day; those of the levels of the wells with thresholds unless given.
    wells : sequence of str, optional
        Wells, in order; all of the site unless given.

    Returns
    -------
    tuple of gwnet.analysis.thresholds.states.ThresholdState
        As `gwnet.analysis.thresholds.states.find_states`.
    """
    codes = list(record.wells["well"]) if wells is None else list(wells)
    limits = limits_of(record)
    here = wells_of(limits[limits["well"].isin(codes)])
    table, logged = levels(record), days_of_loggers(record, here)
    spans = [frame.loc[frame["well"].isin(here), "day"] for frame in (table, logged) if len(frame)]
    known = pd.concat(spans) if spans else pd.Series(dtype="datetime64[us]")
    if known.empty:
        # Without any level there is still a state: no level in the period.
        known = pd.Series([pd.Timestamp(first or last or dt.date(1970, 1, 1))])
    first, last = first or known.min().date(), last or known.max().date()
    return find_states(limits, table, logged, codes, first, last, str(record.settings["time_zone"]))


def states_table(states: Sequence[ThresholdState], site: str, unit: str = "m") -> pd.DataFrame:
    """Return states as a table, one row a threshold.

    Parameters
    ----------
    states : sequence of ThresholdState
        States.
    site : str
        Code of their site.
    unit : {"m", "ft"}, optional
        Unit of lengths in words; columns are in metres.

    Returns
    -------
    pandas.DataFrame
        Columns of `STATE_COLUMNS`.
    """

    def length(metres: float) -> str:
        return f"{metres / metres_per(unit):.3f} {unit}"

    rows = []
    for state in states:
        extreme = state.extreme
        rows.append(
            {
                "site": site,
                "threshold_elevation_m": state.elevation_m,
                "limit_m": state.level_m,
                "days": state.days or None,
                "readings_beyond": state.counts[MANUAL].beyond,
                "readings_judged": state.counts[MANUAL].judged,
                "logger_days_beyond": state.counts[LOGGER].beyond,
                "logger_days_judged": state.counts[LOGGER].judged,
                "extreme_m": None if extreme is None else extreme.value_m,
                "extreme_at": "" if extreme is None else extreme.at,
                "margin_m": None if extreme is None else extreme.margin_m,
                "first": state.first.isoformat(),
                "last": state.last.isoformat(),
                "reason": state.reason.text(length),
                "caution": state.caution.text(length),
                **{name: getattr(state, name) for name in _SAME},
            }
        )
    table = pd.DataFrame(rows, columns=list(STATE_COLUMNS))
    return table.astype(dict.fromkeys((*_LENGTHS, "extreme_m", "days", "distance_m", "gradient"), "float64"))


_LENGTHS: Final = ("threshold_elevation_m", "margin_m", "limit_m")
_SAME: Final = tuple("well threshold kind consecutive state basis action form other_well distance_m gradient".split())


def crossings_table(states: Sequence[ThresholdState], site: str) -> pd.DataFrame:
    """Return the crossings of states as a table, one row a crossing.

    Parameters
    ----------
    states : sequence of ThresholdState
        States.
    site : str
        Code of their site.

    Returns
    -------
    pandas.DataFrame
        Columns of `CROSSING_COLUMNS`; ended_by is empty where the crossing goes on at the end of the period,
        confirmed_on where the rule is not met.
    """
    rows = [
        (
            site,
            state.well,
            state.threshold,
            state.kind,
            state.elevation_m,
            crossing.source,
            crossing.first.isoformat(),
            crossing.last.isoformat(),
            _text(crossing.ended_by),
            crossing.levels,
            crossing.levels_in_period,
            crossing.in_a_row,
            state.consecutive,
            _text(crossing.confirmed_on),
            crossing.peak.value_m,
            crossing.peak.at,
            crossing.peak.margin_m,
            "provisional" if crossing.is_provisional else "approved",
            state.form,
            state.level_m,
        )
        for state in states
        for crossing in state.crossings
    ]
    table = pd.DataFrame(rows, columns=list(CROSSING_COLUMNS))
    return table.astype(dict.fromkeys((*_LENGTHS, "peak_m"), "float64"))


def _text(day: dt.date | None) -> str:
    return "" if day is None else day.isoformat()
