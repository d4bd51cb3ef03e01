"""Recording a gauging round that was planned, not loaded from a file."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import Connection, select

from gwnet.errors import SettingsError, StoreError
from gwnet.store.fetch.round_values import ROUND_VALUES, RoundValues, live_round
from gwnet.store.models.rounds import GaugingRound
from gwnet.store.models.sites import Site
from gwnet.store.save.bulk import insert_columns, reserve_ids, retire


def save_round(
    connection: Connection,
    site: str,
    code: str,
    values: RoundValues,
    *,
    by: str,
    correct: bool = False,
    reason: str | None = None,
) -> str:
    """Record a round; a live row of it with other values is replaced only where a correction is asked for.

    Parameters as `gwnet.store.save`.

    Parameters
    ----------
    site, code : str
        Codes of the site, which must be on record, and of the round.
    values : RoundValues
        What to record.
    correct : bool, optional
        Whether a live row of the round is retired and replaced.

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
    live = live_round(connection, site, code)
    if live is not None:
        differences = [(name, live[name], stored[name]) for name in ROUND_VALUES if live[name] != stored[name]]
        # Planned again with the same values: nothing to record.
        if not differences:
            return "unchanged"
        if not correct:
            raise _on_record(code, differences)
        retire(connection, "round_record", [live["id"]], by=by, reason=reason)
    insert_columns(
        connection,
        "round_record",
        {
            "id": reserve_ids(connection, "round_record", 1),
            "gauging_round_id": _identity(connection, site, code),
            **stored,
            "recorded_by": by,
            "reason": reason if live is not None else None,
        },
        1,
    )
    return "added" if live is None else "corrected"


def _identity(connection: Connection, site: str, code: str) -> int:
    """Return the id of a round's identity, made where there is none yet."""
    # An identity is made once; a round that was withdrawn and is planned again keeps its own.
    site_id = connection.execute(select(Site.id).where(Site.code == site)).scalar_one()
    known = select(GaugingRound.id).where(GaugingRound.site_id == site_id, GaugingRound.code == code)
    number = connection.execute(known).scalar_one_or_none()
    if number is None:
        number = int(reserve_ids(connection, "gauging_round", 1)[0])
        insert_columns(connection, "gauging_round", {"id": number, "site_id": site_id, "code": [code]}, 1)
    return int(number)


def _on_record(code: str, differences: Sequence[tuple[str, Any, Any]]) -> StoreError:
    words = "; ".join(f"{name}: {_shown(old)} on record, {_shown(new)} here" for name, old, new in differences)
    message = f"The round {code!r} is on record with other values: {words}."
    return StoreError(message, fix="To plan it anew, give --correct --reason TEXT.")


def _shown(value: Any) -> str:
    if value is None or value == "[]":
        return "nothing"
    return value if isinstance(value, str) else str(value)
