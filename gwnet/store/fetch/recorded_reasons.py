"""The reasons given for rows that were recorded or retired in a span of recording time."""

from __future__ import annotations

import datetime as dt
from typing import Any, Final

from sqlalchemy import Connection, func, select

from gwnet.store.models.schema import METADATA
from gwnet.store.models.sites import Site

#: Tables whose rows can move levels, and the columns that say what a row is about.
_SUBJECTS: Final[dict[str, tuple[str, ...]]] = {
    "measuring_point": ("well_id", "access"),
    "tape_check": ("instrument_id",),
    "instrument_record": ("instrument_id",),
    "level_record": ("level_event_id",),
    "construction_part": ("well_id",),
    "well_record": ("well_id",),
    "site_record": ("site_id",),
    "deployment": ("well_id",),
}

#: Tables of which a new row is no edit: only retiring one moves levels on record.
_EDITED_BY_RETIRING: Final = ("level_record", "deployment")


def recorded_reasons(
    connection: Connection, since: dt.datetime, until: dt.datetime | None = None
) -> dict[tuple[Any, ...], list[str]]:
    """Return why rows that can move levels were recorded or retired.

    Parameters as `gwnet.store.fetch`.

    Parameters
    ----------
    since, until : datetime.datetime
        Aware times; recorded or retired after ``since`` and at or before ``until`` (None: no end).

    Returns
    -------
    dict
        Reasons with name and day, by table and subject: well and access for a measuring point, level event for a
        level record, code of the site for its settings, well of an installation, else the id of instrument or well.
    """
    sites = {row.id: row.code for row in connection.execute(select(Site.id, Site.code))}
    reasons_of: dict[tuple[Any, ...], list[str]] = {}
    for name, columns in _SUBJECTS.items():
        table = METADATA.tables[name]
        for when, who, why in (
            (table.c.recorded_at_utc, table.c.recorded_by, table.c.reason),
            (table.c.retired_at_utc, table.c.retired_by, table.c.retired_reason),
        ):
            query = select(*(table.c[column] for column in columns), when, who, why).where(when > since)
            if until is not None:
                # Half-open: what was recorded at the earlier moment belongs to the state before.
                query = query.where(when <= until)
            for *subject, moment, person, reason in connection.execute(query.order_by(when, table.c.id)):
                key = (name, *(sites[subject[0]],)) if name == "site_record" else (name, *subject)
                text = f"{reason or 'no reason given'} ({person}, {moment:%Y-%m-%d})"
                reasons = reasons_of.setdefault(key, [])
                # Many rows of one file have one reason.
                if text not in reasons:
                    reasons.append(text)
    return reasons_of


def newest_edit(connection: Connection, until: dt.datetime | None = None) -> dt.datetime | None:
    """Return when something was last recorded that can move levels already on record.

    Parameters as `gwnet.store.fetch`.

    Parameters
    ----------
    until : datetime.datetime, optional
        Aware time; only what was recorded at or before it.

    Returns
    -------
    datetime.datetime or None
        Newest time at which a survey, tape check, setting or part of a well was recorded or retired, or a level or
        installation retired; None when there is none.
    """
    moments: list[dt.datetime] = []
    for name in _SUBJECTS:
        table = METADATA.tables[name]
        columns = (
            # A new level or installation moves no level that is on record.
            [table.c.retired_at_utc]
            if name in _EDITED_BY_RETIRING
            else [table.c.recorded_at_utc, table.c.retired_at_utc]
        )
        for column in columns:
            query = select(func.max(column))
            moment = connection.execute(query if until is None else query.where(column <= until)).scalar_one()
            if moment is not None:
                moments.append(moment)
    return max(moments, default=None)
