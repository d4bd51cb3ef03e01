"""Readings that a round planned and that are neither there nor explained."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import Final

from gwnet.analysis.checks.check import SERIOUS, CheckList, Finding
from gwnet.analysis.checks.events import Events

CHECKS: Final = CheckList()

MISSING: Final = "no reading and no reason"


#: Wells that a finding names at most.
_MOST_NAMED: Final = 8


@CHECKS.add(
    MISSING, SERIOUS, "wells planned in a round with nothing on record; one finding a round", is_of_events=False
)
def _find_missing_readings(events: Events) -> Iterator[Finding]:
    """Find wells that a round planned, or all that existed on its first day, without an event in it."""
    read = set(zip(events.records["round"], events.records["well"], strict=True))
    for planned in events.rounds.itertuples():
        # A round without a list of wells means all that existed when it began.
        wells = planned.wells or _existing_wells(events, planned.starts_on)
        missing = [well for well in wells if (planned.round, well) not in read]
        if not missing:
            continue
        day = planned.starts_on.isoformat()
        values = {"starts_on": day, "wells": missing, "planned": len(wells)}
        if len(missing) == 1:
            message = f"Round {planned.round} planned the well, and neither a reading nor a reason is on record."
        else:
            more = f" and {len(missing) - _MOST_NAMED} more" if len(missing) > _MOST_NAMED else ""
            message = (
                f"Round {planned.round} planned {len(wells)} wells; of {len(missing)} neither a reading nor a reason "
                f"is on record ({', '.join(missing[:_MOST_NAMED])}{more})."
            )
        well = missing[0] if len(missing) == 1 else ""
        yield Finding(message, values, well=well, round=planned.round, measured_at=day)


def _existing_wells(events: Events, day: dt.date) -> list[str]:
    """Return the wells of the site that were drilled and not yet decommissioned on a day."""
    wells = events.inputs.wells
    wells = wells[wells["site"] == events.site]
    # A well without a date of drilling is taken to have been there.
    drilled = wells["drilled_on"].map(lambda d: d is None or d <= day).astype(bool)
    existing = wells["decommissioned_on"].map(lambda d: d is None or d > day).astype(bool)
    return [str(well) for well in wells.loc[drilled & existing, "well"]]
