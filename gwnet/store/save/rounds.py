"""Recording a gauging round that was planned, not loaded from a file."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import Connection, select

from gwnet.errors import SettingsError, StoreError
from gwnet.store.models.base import known_on
from gwnet.store.models.rounds import GaugingRound, RoundRecord
from gwnet.store.models.sites import Site
from gwnet.store.save.bulk import insert_columns, reserve_ids, retire

#: What can be corrected of a round.
_VALUES: Final = ("starts_on", "ends_on", "purpose", "wells", "crew", "notes")


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

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    site, code : str
        Codes of the site and the round.

    Returns
    -------
    RoundValues or None
        Its live values.
    """
    row = _live(connection, site, code)
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


def save_round(
    connection: Connection,
    site: str,
    code: str,
    values: RoundValues,
    *,
    now_utc: dt.datetime,
    by: str,
    correct: bool = False,
    reason: str | None = None,
) -> str:
    """Record a round; a live row of it with other values is replaced only where a correction is asked for.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection of a writing unit of work.
    site, code : str
        Codes of the site, which must be on record, and of the round.
    values : RoundValues
        What to record.
    now_utc : datetime.datetime
        Aware time of the recording.
    by : str
        Who records.
    correct : bool, optional
        Whether a live row of the round is retired and replaced.
    reason : str, optional
        Why; needed to correct.

    Returns
    -------
    str
        ``added``, ``unchanged`` or ``corrected``.

    Raises
    ------
    SettingsError
        If a correction has no reason.
    StoreError
        If the round is on record with other values and no correction was asked for.
    """
    if correct and not (reason or "").strip():
        raise SettingsError("A correction needs its reason.", fix="Give it with --reason TEXT.")
    stored = values.columns()
    live = _live(connection, site, code)
    if live is not None:
        differences = [(name, live[name], stored[name]) for name in _VALUES if live[name] != stored[name]]
        if not differences:
            return "unchanged"
        if not correct:
            raise _on_record(code, differences)
        retire(connection, "round_record", [live["id"]], at_utc=now_utc, by=by, reason=reason)
    insert_columns(
        connection,
        "round_record",
        {
            "id": reserve_ids(connection, "round_record", 1),
            "gauging_round_id": _identity(connection, site, code),
            **stored,
            "recorded_at_utc": now_utc,
            "recorded_by": by,
            "reason": reason if live is not None else None,
        },
        1,
    )
    return "added" if live is None else "corrected"


def _live(connection: Connection, site: str, code: str) -> dict[str, Any] | None:
    record = RoundRecord
    query = (
        select(record.id, *(getattr(record, name) for name in _VALUES))
        .join(GaugingRound, GaugingRound.id == record.gauging_round_id)
        .join(Site, Site.id == GaugingRound.site_id)
        .where(Site.code == site, GaugingRound.code == code, known_on(record, None))
    )
    row = connection.execute(query).mappings().one_or_none()
    return None if row is None else dict(row)


def _identity(connection: Connection, site: str, code: str) -> int:
    """Return the id of a round's identity, made where there is none yet."""
    site_id = connection.execute(select(Site.id).where(Site.code == site)).scalar_one()
    known = select(GaugingRound.id).where(GaugingRound.site_id == site_id, GaugingRound.code == code)
    found = connection.execute(known).scalar_one_or_none()
    if found is None:
        found = int(reserve_ids(connection, "gauging_round", 1)[0])
        insert_columns(connection, "gauging_round", {"id": found, "site_id": site_id, "code": [code]}, 1)
    return int(found)


def _on_record(code: str, differences: Sequence[tuple[str, Any, Any]]) -> StoreError:
    words = "; ".join(f"{name}: {_shown(old)} on record, {_shown(new)} here" for name, old, new in differences)
    message = f"The round {code!r} is on record with other values: {words}."
    return StoreError(message, fix="To plan it anew, give --correct --reason TEXT.")


def _shown(value: Any) -> str:
    if value is None or value == "[]":
        return "nothing"
    return value if isinstance(value, str) else str(value)
