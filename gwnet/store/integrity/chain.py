"""Digests that chain the states of the record."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections.abc import Mapping, Sequence
from typing import Any

from gwnet.store.models.base import SQLITE_TIME_FORMAT

#: Columns of a state that its digest covers, in their order.
COVERED = ("serial", "recorded_at_utc", "clock_utc", "recorded_by", "act", "reason", "program", "previous_digest")


def state_digest(state: Mapping[str, Any], parts: Sequence[Sequence[Any]]) -> str:
    """Return the digest of a state.

    Parameters
    ----------
    state : mapping
        Its columns.
    parts : sequence of sequence
        What it covers of each part, in their order; see `gwnet.store.integrity.digests.Part`.

    Returns
    -------
    str
        SHA-256 in hexadecimal digits.
    """
    covered = [_plain(state[name]) for name in COVERED]
    # Without spaces and in a fixed order, as the digest is over the text.
    text = json.dumps([covered, [list(part) for part in parts]], ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def _plain(value: Any) -> Any:
    return value.astimezone(dt.UTC).strftime(SQLITE_TIME_FORMAT) if isinstance(value, dt.datetime) else value
