"""Change of water elevation between two visits, with its uncertainty, or the reason why the two cannot be compared."""

from __future__ import annotations

import math
from dataclasses import dataclass

from gwnet.analysis.levels.bounds import BELOW_SCREEN, SENSOR_OUT
from gwnet.analysis.levels.changes import change_half_width
from gwnet.reporting.rounds import Event


@dataclass(frozen=True, slots=True)
class Change:
    """A change, positive when the water rose.

    Parameters
    ----------
    value_m : float
        Water elevation now less then; NaN when they cannot be compared [m].
    uncertainty_m : float
        95 % half-width; NaN when one of the two is not known [m].
    reason : str
        Why there is no value; empty when there is one.
    """

    value_m: float
    uncertainty_m: float
    reason: str = ""

    @property
    def known(self) -> bool:
        """Whether there is a value."""
        return not self.reason

    @property
    def is_significant(self) -> bool:
        """Whether the change exceeds its uncertainty; an unknown uncertainty proves nothing."""
        return self.known and math.isfinite(self.uncertainty_m) and abs(self.value_m) > self.uncertainty_m


def change_between(now: Event | None, then: Event | None, absent: str) -> Change:
    """Return the change from an earlier event to a later one at the same well.

    Parameters
    ----------
    now, then : Event or None
        The two events; None when there is none.
    absent : str
        What to say when there was no earlier event.

    Returns
    -------
    Change
        Value with its half-width, as of `gwnet.analysis.levels.changes`, or the reason why there is none.
    """
    if now is None:
        return _none("no level now")
    if reason := why_no_number(now):
        return _none(f"now {reason}")
    if then is None:
        return _none(absent)
    if reason := why_no_number(then):
        return _none(f"then {reason}")
    value = float(now["water_elevation_m"]) - float(then["water_elevation_m"])
    return Change(value, float(change_half_width(now, then)))


def _none(reason: str) -> Change:
    return Change(math.nan, math.nan, reason)


def is_read_below_screen(event: Event) -> bool:
    """Return whether an event was read in the well below its screen, and is a bound for the aquifer."""
    return BELOW_SCREEN in str(event.get("finding", "")).split("; ")


def why_bound(event: Event) -> str:
    """Return why the level of an event is only a bound: its status, or what the water or the sensor was below."""
    noticed = str(event.get("finding", "")).split("; ")
    return next((phrase for phrase in (BELOW_SCREEN, SENSOR_OUT) if phrase in noticed), str(event["status"]))


def why_no_number(event: Event) -> str:
    """Return why an event cannot be compared with others; empty when it can."""
    # First of all, as a bound has a number too, which is no level.
    if event["bound"]:
        return f"{why_bound(event)}, only a bound"
    if not math.isfinite(float(event["water_elevation_m"])):
        return str(event["status"]) if event["status"] != "static" else "without a number"
    if not event["usable"]:
        return str(event["unusable_reason"] or event["status"])
    return ""
