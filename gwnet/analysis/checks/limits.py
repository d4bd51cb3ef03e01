"""The limits of the checks: names, defaults, where they come from, and what a site sets instead."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Final

import pandas as pd

from gwnet.constants import DRIFT_SHARE_LIMIT, LEAST_FAULT_M, RESIDUAL_LIMIT_M, TAPE_CHECK_INTERVAL_DAYS


@dataclass(frozen=True)
class Limit:
    """One limit.

    Attributes
    ----------
    default : float
        Value where the site sets none.
    meaning : str
        What it limits, in one phrase with its unit.
    source : str
        Where the default comes from.
    """

    default: float
    meaning: str
    source: str = "project default"


#: Every limit by its name.
LIMITS: Final[Mapping[str, Limit]] = {
    "jump_spreads": Limit(6.0, "robust standard deviations of a well's changes that make a jump"),
    "season_spreads": Limit(6.0, "robust standard deviations of a season's levels that make a level unusual"),
    "fit_spreads": Limit(7.0, "robust standard deviations by which a level may miss what is around it"),
    "hint_spreads": Limit(5.0, "robust standard deviations of misfit from which an explanation is looked for"),
    "hint_fit_spreads": Limit(2.0, "robust standard deviations within which an explanation fits"),
    "least_shared": Limit(2.0, "neighbours off to the same side that make a misfit a thing of nature"),
    "least_changes": Limit(8.0, "fewest changes or misfits of a well that tell what is usual"),
    "least_in_season": Limit(8.0, "fewest levels of a season that tell its limits"),
    "least_misfit_m": Limit(0.05, "jumps and misfits smaller than this are never told [m]"),
    "bottom_tolerance_m": Limit(
        0.15, "water may be read this far below the bottom [m]", "0.5 ft, USGS SJ-600027 p. 16 (accuracy of soundings)"
    ),
    "recovery_hours": Limit(
        24.0, "hours after pumping in which a level cannot be static", "US EPA RCRA guidance of 1992, p. 7-4"
    ),
    "tape_check_days": Limit(
        TAPE_CHECK_INTERVAL_DAYS,
        "days between checks of a tape, where the site's tape_check_interval_days says nothing",
        "twelve months, USGS TM 1-A1 (Cunningham and Schalk, 2011), p. 8 and 35",
    ),
    "silting_m": Limit(0.5, "loss of depth that is told, and each further one [m]"),
    "deeper_m": Limit(0.3, "sounded depth may exceed the depth as built by this [m]"),
    "covered_share": Limit(0.2, "share of the screen covered that makes silting serious"),
    "cluster_share": Limit(0.9, "share of a cluster's pairs of levels in one order that makes the order a rule"),
    "cluster_days": Limit(3.0, "days within which two levels of a cluster make a pair [d]"),
    "least_pairs": Limit(8.0, "fewest pairs of levels that tell a cluster's order"),
    "apart_spreads": Limit(6.0, "robust standard deviations by which a well may stand apart from its neighbours"),
    "apart_m": Limit(0.2, "wells nearer to their neighbours than this are never told [m]"),
    "least_rounds": Limit(3.0, "fewest quarters of a year with levels before a well is held against its neighbours"),
    "survey_ground_m": Limit(0.1, "measuring point less its height may differ from the ground by this [m]"),
    "step_spreads": Limit(4.0, "standard errors of a step at a new measuring point that make it count"),
    "least_step_m": Limit(0.03, "steps at a new measuring point smaller than this are never told [m]"),
    "tape_spreads": Limit(3.5, "standard errors of a step with another tape that make it count"),
    "tape_step_m": Limit(
        0.006, "steps with another tape smaller than this are never told [m]", "0.02 ft, USGS TM 1-A1, p. 6-8 and 37"
    ),
    "least_tape_wells": Limit(5.0, "fewest wells that tell a step with another tape"),
    "least_same_readings": Limit(3.0, "fewest wells of a round with their last readings again that are told"),
    "logger_residual_m": Limit(RESIDUAL_LIMIT_M, "a manual reading may be this far off the others of a sensor [m]"),
    "logger_drift_share": Limit(DRIFT_SHARE_LIMIT, "share of a sensor's drift in the water's movement that is told"),
    "logger_fault_m": Limit(LEAST_FAULT_M, "spikes and steps of a logger smaller than this are never told [m]"),
    "window_days": Limit(0.0, "days outside a round's dates in which its levels may still be taken [d]"),
}  # fmt: skip


def limits_of(settings: pd.Series) -> tuple[dict[str, float], dict[str, float]]:
    """Return the limits of a site, and what it sets that is no limit.

    Parameters
    ----------
    settings : pandas.Series
        The site's row of `gwnet.store.fetch.registry.sites`.

    Returns
    -------
    tuple of dict
        Every limit by name; and the names and numbers that name no limit.
    """
    limits = {name: limit.default for name, limit in LIMITS.items()}
    if pd.notna(settings["tape_check_interval_days"]):
        limits["tape_check_days"] = float(settings["tape_check_interval_days"])
    given = json.loads(settings["check_limits"]) if settings["check_limits"] else {}
    unknown = {name: float(value) for name, value in given.items() if name not in LIMITS}
    limits |= {name: float(value) for name, value in given.items() if name in LIMITS}
    return limits, unknown


def unknown_limit_message(name: str) -> str:
    """Return a sentence on a limit that does not exist, with the nearest that do.

    Parameters
    ----------
    name : str
        Name as given.

    Returns
    -------
    str
        The sentence.
    """
    near = get_close_matches(name, LIMITS, n=3, cutoff=0.5)
    hint = f" Did you mean {' or '.join(near)}?" if near else ""
    return f"The site's check_limits name {name!r}, and no check has such a limit; it changes nothing.{hint}"
