"""Levels as they are worked out from the record, kept for readers that speak SQL."""

import datetime as dt

from sqlalchemy import ForeignKey, Integer
from sqlalchemy.orm import Mapped, mapped_column

from gwnet.store.models.base import Base, UtcDateTime


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

    event_id: Mapped[int] = mapped_column(
        ForeignKey("level_event.id"), primary_key=True, autoincrement=False, type_=Integer
    )
    site: Mapped[str]
    well: Mapped[str]
    aquifer: Mapped[str]
    access: Mapped[str]
    measured_at_utc: Mapped[dt.datetime] = mapped_column(UtcDateTime())
    day: Mapped[dt.date]
    status: Mapped[str]
    depth_to_water_m: Mapped[float | None]
    water_elevation_m: Mapped[float | None]
    uncertainty_m: Mapped[float | None]
    bound: Mapped[str]
    bound_elevation_m: Mapped[float | None]
    usable: Mapped[bool]
    unusable_reason: Mapped[str]
    review: Mapped[str]
    finding: Mapped[str]
    state_serial: Mapped[int]
    known_on_utc: Mapped[dt.datetime] = mapped_column(UtcDateTime())
    computed_at_utc: Mapped[dt.datetime] = mapped_column(UtcDateTime())
    version: Mapped[str]
    row_sha256: Mapped[str]
