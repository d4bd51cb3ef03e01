"""What is on record of one gauging round, as it was planned."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import Connection, select

from gwnet.store.models.base import known_on
from gwnet.store.models.rounds import GaugingRound, RoundRecord
from gwnet.store.models.sites import Site

#: What can be corrected of a round.
ROUND_VALUES: Final = ("starts_on", "ends_on", "purpose", "wells", "crew", "notes")


@dataclass(frozen=True)
class RoundValues:
    """What is recorded of a gauging round.

    Attributes
    ----------
    starts_on, ends_on : datetime.date
        First and last local day; the last may be None.
    wells : tuple of str
        Codes of the wells in the order of the walk; empty for all.
    purpose, crew, notes : str
        Texts; empty for none.
    """

    starts_on: dt.date
    ends_on: dt.date | None = None
    wells: tuple[str, ...] = ()
    purpose: str = ""
    crew: str = ""
    notes: str = ""

    def columns(self) -> dict[str, Any]:
        """Return the values as they are stored."""
        return {
            "starts_on": self.starts_on,
            "ends_on": self.ends_on,
            "wells": json.dumps(list(self.wells), ensure_ascii=False),
            "purpose": self.purpose or None,
            "crew": self.crew or None,
            "notes": self.notes or None,
        }


def round_on_record(connection: Connection, site: str, code: str) -> RoundValues | None:
    """Return what is on record of a round now, None where there is no such live round.

    Parameters as `gwnet.store.fetch`; ``site`` and ``code`` are the codes of the site and the round.
    """
    row = live_round(connection, site, code)
    if row is None:
        return None
    return RoundValues(
        starts_on=row["starts_on"],
        ends_on=row["ends_on"],
        wells=tuple(json.loads(row["wells"])),
        purpose=row["purpose"] or "",
        crew=row["crew"] or "",
        notes=row["notes"] or "",
    )


def live_round(connection: Connection, site: str, code: str) -> dict[str, Any] | None:
    """Return the live row of a round as it is stored, None where there is none.

    Parameters as `gwnet.store.fetch`; ``site`` and ``code`` are the codes of the site and the round.
    """
    record = RoundRecord
    query = (
        select(record.id, *(getattr(record, name) for name in ROUND_VALUES))
        .join(GaugingRound, GaugingRound.id == record.gauging_round_id)
        .join(Site, Site.id == GaugingRound.site_id)
        .where(Site.code == site, GaugingRound.code == code, known_on(record, None))
    )
    row = connection.execute(query).mappings().one_or_none()
    return None if row is None else dict(row)
