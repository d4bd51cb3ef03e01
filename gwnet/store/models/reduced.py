"""Levels as they are worked out from the record, kept for readers that speak SQL."""

from __future__ import annotations

import datetime as dt

from sqlalchemy import ColumnElement, ForeignKey

from gwnet.store.models.base import Base, UtcDateTime, column


class ReducedLevel(Base):
    """The water elevation of a level event, with its uncertainty, bound and reason, as of one state of the record.

    It is no part of the record: it holds nothing that cannot be worked out anew. What could change a level deletes all
    rows in its own transaction, so that no row is older than what it rests on; they are made anew afterwards. ``bound``
    is empty, ``<=`` or ``>=``, and ``bound_elevation_m`` then the elevation that it is of. ``state_serial`` and
    ``known_on_utc`` are the state of the record from which the row was worked out; ``row_sha256`` shows a row that was
    altered since.
    """

    __tablename__ = "reduced_level"
    __table_args__ = ({"info": {"guard": "copy"}},)

    event_id: ColumnElement[int] = column(ForeignKey("level_event.id"), primary_key=True, autoincrement=False)
    site: ColumnElement[str]
    well: ColumnElement[str]
    aquifer: ColumnElement[str]
    access: ColumnElement[str]
    measured_at_utc: ColumnElement[dt.datetime] = column(UtcDateTime())
    day: ColumnElement[dt.date]
    status: ColumnElement[str]
    depth_to_water_m: ColumnElement[float | None]
    water_elevation_m: ColumnElement[float | None]
    uncertainty_m: ColumnElement[float | None]
    bound: ColumnElement[str]
    bound_elevation_m: ColumnElement[float | None]
    usable: ColumnElement[bool]
    unusable_reason: ColumnElement[str]
    review: ColumnElement[str]
    finding: ColumnElement[str]
    state_serial: ColumnElement[int]
    known_on_utc: ColumnElement[dt.datetime] = column(UtcDateTime())
    computed_at_utc: ColumnElement[dt.datetime] = column(UtcDateTime())
    version: ColumnElement[str]
    row_sha256: ColumnElement[str]
