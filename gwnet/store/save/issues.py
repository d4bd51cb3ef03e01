"""Registering an issued report."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection, select

from gwnet.store.fetch.issues import Issue, find_issue, issues
from gwnet.store.models.sites import Site
from gwnet.store.save.bulk import insert_columns, reserve_ids


def save_issue(
    connection: Connection,
    *,
    site: str,
    definition: str,
    definition_sha256: str,
    period: str,
    known_on_utc: dt.datetime,
    sha256: str,
    printed: Mapping[str, Any],
    by: str,
    remark: str | None = None,
) -> tuple[Issue, bool]:
    """Register an issued report; the same bytes of the same period again change nothing.

    Parameters as `gwnet.store.save`.

    Parameters
    ----------
    site, definition, definition_sha256, period : str
        What the report was made from.
    known_on_utc : datetime.datetime
        Its data cut-off.
    sha256 : str
        Digest of its PDF.
    printed : mapping
        As `Issue.printed`.
    remark : str, optional
        Anything that the register should say.

    Returns
    -------
    Issue
        As registered.
    bool
        Whether it was registered now, not before.
    """
    # The same bytes of another period are another issue.
    same = [
        issue
        for issue in issues(connection, site=site, definition=definition)
        if issue.sha256 == sha256 and issue.period == period
    ]
    if same:
        return same[0], False
    number = int(reserve_ids(connection, "report_issue", 1)[0])
    site_id = connection.execute(select(Site.id).where(Site.code == site)).scalar_one()
    insert_columns(
        connection,
        "report_issue",
        {
            "id": number,
            "site_id": site_id,
            "definition": definition,
            "definition_sha256": definition_sha256,
            "period": period,
            "known_on_utc": known_on_utc,
            "sha256": sha256,
            "printed_values": json.dumps(printed, ensure_ascii=False, sort_keys=True),
            "recorded_by": by,
            "reason": remark,
        },
        1,
    )
    return find_issue(connection, str(number)), True
