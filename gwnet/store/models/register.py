"""The register of a site's comments and promises, which reports answer to, and its query."""

from __future__ import annotations

import datetime as dt

import pandas as pd
from sqlalchemy import CheckConstraint, Connection, ForeignKey, select
from sqlalchemy.orm import Mapped, mapped_column

from gwnet.store.fetch.frames import frame
from gwnet.store.models.base import Base, Recorded, live_index
from gwnet.store.models.base import known_on as on_record
from gwnet.store.models.sites import Site


class RegisterEntry(Recorded, Base):
    """A comment that was received or a promise that was made: open, answered or closed."""

    __tablename__ = "register_entry"
    __table_args__ = (
        *Recorded.recorded_constraints(),
        CheckConstraint("kind IN ('comment', 'promise')", name="kind_known"),
        CheckConstraint("state IN ('open', 'answered', 'closed')", name="state_known"),
        live_index("uq_register_entry_live", "site_id", "code"),
    )

    site_id: Mapped[int] = mapped_column(ForeignKey("site.id"))
    code: Mapped[str]
    kind: Mapped[str]
    raised_on: Mapped[dt.date]
    raised_by: Mapped[str]
    text: Mapped[str]
    due_on: Mapped[dt.date | None]
    state: Mapped[str]
    answer: Mapped[str | None]


def register_entries(
    connection: Connection, known_on: dt.datetime | None = None, site: str | None = None
) -> pd.DataFrame:
    """Return comments received and promises made.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    known_on : datetime.datetime, optional
        Record as known at this time.
    site : str, optional
        Only this site.

    Returns
    -------
    pandas.DataFrame
        One row an entry, by site, day and code: site, entry, kind, raised_on, raised_by, text, due_on, state, answer.
    """
    entry = RegisterEntry
    statement = (
        select(
            Site.code.label("site"),
            entry.code.label("entry"),
            entry.kind,
            entry.raised_on,
            entry.raised_by,
            entry.text,
            entry.due_on,
            entry.state,
            entry.answer,
        )
        .join(Site, Site.id == entry.site_id)
        .where(on_record(entry, known_on))
        .order_by(Site.code, entry.raised_on, entry.code)
    )
    if site is not None:
        statement = statement.where(Site.code == site)
    table = frame(connection, statement)
    table["answer"] = table["answer"].where(table["answer"].notna(), "")
    return table
