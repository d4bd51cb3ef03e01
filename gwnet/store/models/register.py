"""The register of a site's comments and promises, which reports answer to."""

import datetime as dt

from sqlalchemy import CheckConstraint, ForeignKey
from sqlalchemy.orm import Mapped, mapped_column

from gwnet.store.models.base import Base, Recorded, live_index


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
