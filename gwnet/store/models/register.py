"""The register of a site's comments and promises, which reports answer to."""

from __future__ import annotations

import datetime as dt

from sqlalchemy import CheckConstraint, ColumnElement, ForeignKey

from gwnet.store.models.base import Base, Recorded, column, live_index


class RegisterEntry(Recorded, Base):
    """A comment that was received or a promise that was made: open, answered or closed."""

    __tablename__ = "register_entry"
    __table_args__ = (
        *Recorded.recorded_constraints(),
        CheckConstraint("kind IN ('comment', 'promise')", name="kind_known"),
        CheckConstraint("state IN ('open', 'answered', 'closed')", name="state_known"),
        live_index("uq_register_entry_live", "site_id", "code"),
    )

    site_id: ColumnElement[int] = column(ForeignKey("site.id"))
    code: ColumnElement[str]
    kind: ColumnElement[str]
    raised_on: ColumnElement[dt.date]
    raised_by: ColumnElement[str]
    text: ColumnElement[str]
    due_on: ColumnElement[dt.date | None]
    state: ColumnElement[str]
    answer: ColumnElement[str | None]
