"""The limits of the checks by name, and what a site sets instead."""

from __future__ import annotations

import json
from collections.abc import Mapping
from difflib import get_close_matches
from typing import Final

import pandas as pd

from gwnet.analysis.checks.check import Limit
from gwnet.analysis.checks.rules import CHECKS, markdown_table
from gwnet.constants import DRIFT_SHARE_LIMIT, LEAST_FAULT_M, RESIDUAL_LIMIT_M

#: Limits of the checks of loggers (`gwnet.analysis.loggers.findings`).
LOGGER_LIMITS: Final = (
    Limit("logger_residual_m", RESIDUAL_LIMIT_M, "a manual reading may be this far off the others of a sensor [m]"),
    Limit(
        "logger_drift_share", DRIFT_SHARE_LIMIT, "share of a sensor's drift in the water's movement that is reported"
    ),
    Limit("logger_fault_m", LEAST_FAULT_M, "spikes and steps of a logger smaller than this are never reported [m]"),
)

#: Every limit by its name.
LIMITS: Final[Mapping[str, Limit]] = {
    limit.name: limit for limits in (*(check.limits for check in CHECKS), LOGGER_LIMITS) for limit in limits
}


def describe_limits() -> str:
    """Return the limits for the documentation.

    Returns
    -------
    str
        Markdown table: name, default, what it limits, where the default comes from.
    """
    return markdown_table(
        ("limit", "default", "what it limits", "source"),
        [(f"`{limit.name}`", f"{limit.default:g}", limit.meaning, limit.source) for limit in LIMITS.values()],
    )


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
    # The site's own interval, kept as a setting of its own since due dates use it, too.
    if pd.notna(settings["tape_check_interval_days"]):
        limits["tape_check_days"] = float(settings["tape_check_interval_days"])
    given = json.loads(settings["check_limits"]) if settings["check_limits"] else {}
    # Reported and not refused: a limit renamed in a later version must not stop the checks.
    unknown = {name: float(value) for name, value in given.items() if name not in LIMITS}
    limits |= {name: float(value) for name, value in given.items() if name in LIMITS}
    return limits, unknown


def unknown_limit_message(name: str) -> str:
    """Return a sentence on a limit that does not exist, with the nearest that do.

    Parameters
    ----------
    name : str
        Name as given.
    """
    near = get_close_matches(name, LIMITS, n=3, cutoff=0.5)
    hint = f" Did you mean {' or '.join(near)}?" if near else ""
    return f"The site's check_limits name {name!r}, and no check has such a limit; it changes nothing.{hint}"
