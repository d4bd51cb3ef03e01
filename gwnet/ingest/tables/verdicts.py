"""Verdicts that are written while level events are recorded: repeats that disagree."""

from __future__ import annotations

import json
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, select

from gwnet.hydro.reduction.elevation import combine_repeats
from gwnet.ingest.tables.instruction import Instruction
from gwnet.store.models.base import known_on, some_at_a_time
from gwnet.store.models.verdicts import Verdict
from gwnet.store.save.bulk import insert_columns, reserve_ids, retire
from gwnet.units import is_feet, metres_per

RULE = "repeats disagree"


def note_disagreements(
    connection: Connection,
    event_ids: NDArray[np.int64],
    repeats_m: NDArray[np.float64],
    tolerance_m: NDArray[np.float64],
    chosen: NDArray[np.int64],
    units: Sequence[str],
    instruction: Instruction,
) -> int:
    """Write a verdict for each event whose repeats disagree.

    Parameters as `gwnet.ingest.tables`.

    Parameters
    ----------
    event_ids : numpy.ndarray of int64, shape (n,)
        Events just recorded.
    repeats_m : numpy.ndarray, shape (n, 3)
        Their repeats [m].
    tolerance_m : numpy.ndarray, shape (n,)
        Tolerance of their sites [m].
    chosen : numpy.ndarray of int64, shape (n,)
        Chosen reading, 0 for none.
    units : sequence of str
        Units of their sites.

    Returns
    -------
    int
        Number of verdicts written.
    """
    repeats = combine_repeats(repeats_m, tolerance_m, chosen=chosen)
    rows = np.flatnonzero(repeats.disagree)
    if not rows.size:
        return 0
    spread, tolerance = repeats.spread_m[rows], tolerance_m[rows]
    insert_columns(
        connection,
        "verdict",
        {
            "id": reserve_ids(connection, "verdict", rows.size),
            "level_event_id": event_ids[rows],
            "rule": RULE,
            "severity": "serious",
            "limits": [
                json.dumps({"tolerance_m": round(t, 6), "spread_m": round(s, 6)})
                for s, t in zip(spread, tolerance, strict=True)
            ],
            "message": [
                f"The repeats differ by {_length(s, units[row])}; the site allows {_length(t, units[row])}."
                for s, t, row in zip(spread, tolerance, rows.tolist(), strict=True)
            ],
            "recorded_by": instruction.by,
            "reason": "checked on recording",
        },
        rows.size,
    )
    return int(rows.size)


def _length(value_m: float, unit: str) -> str:
    """Return a length as the checks write it: hundredths of a foot, or millimetres."""
    return f"{value_m / metres_per(unit):.2f} ft" if is_feet(unit) else f"{value_m:.3f} m"


def retire_verdicts(connection: Connection, event_ids: NDArray[np.int64], instruction: Instruction) -> None:
    """Retire the verdicts of events that were corrected, recorded again or withdrawn.

    Parameters as `gwnet.ingest.tables`.

    Parameters
    ----------
    event_ids : numpy.ndarray of int64
        The events; of withdrawn ones every verdict goes, of others that on disagreeing repeats.
    """
    old = _live_verdicts(connection, event_ids, every_rule=instruction.withdraw)
    if old:
        reason = instruction.reason or "recorded again"
        retire(connection, "verdict", old, by=instruction.by, reason=reason)


def _live_verdicts(connection: Connection, event_ids: NDArray[np.int64], *, every_rule: bool) -> list[int]:
    live_ids: list[int] = []
    for some in some_at_a_time(event_ids.tolist()):
        query = select(Verdict.id).where(Verdict.level_event_id.in_(some), known_on(Verdict, None))
        if not every_rule:
            query = query.where(Verdict.rule == RULE)
        live_ids += connection.scalars(query)
    return live_ids
