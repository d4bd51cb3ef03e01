"""Refusing codes that are not on record, with the nearest that are."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from difflib import get_close_matches

import pandas as pd
from sqlalchemy import Connection

from gwnet.errors import NotFoundError
from gwnet.store.fetch import programme as fetch_programme
from gwnet.store.fetch import registry as fetch


def check_codes(
    connection: Connection,
    known_on: dt.datetime | None,
    *,
    site: str | None = None,
    wells: Sequence[str] | None = None,
    aquifer: str | None = None,
    round_code: str | None = None,
) -> None:
    """Refuse codes that are not on record.

    Parameters as `gwnet.store.fetch`.

    Parameters
    ----------
    wells : sequence of str, optional
        Codes of wells.
    aquifer, round_code : str, optional
        Codes.

    Raises
    ------
    NotFoundError
        If one is not on record; the message names the nearest that are.
    """
    if site is not None:
        fetch.one_site(connection, site, known_on)
    if wells is not None:
        known = fetch.wells(connection, known_on, site)["well"]
        for well in wells:
            require_code("well", well, known)
    if aquifer is not None:
        require_code("aquifer", aquifer, fetch.aquifers(connection, known_on)["aquifer"])
    if round_code is not None:
        require_code("round", round_code, fetch_programme.rounds(connection, known_on, site)["round"])


def require_code(what: str, code: str, known: pd.Series) -> None:
    """Refuse a code that is not on record.

    Parameters
    ----------
    what : str
        What the code is of, for the message.
    code : str
        The code.
    known : pandas.Series of str
        Codes on record.

    Raises
    ------
    NotFoundError
        If it is not among them; the message names the nearest that are.
    """
    if (known == code).any():
        return
    near = get_close_matches(code, known.astype(str).tolist(), n=3, cutoff=0.5)
    hint = f"Did you mean {', '.join(near)}?" if near else f"On record: {', '.join(known.astype(str)[:8])} …"
    message = f"There is no {what} {code!r} on record."
    raise NotFoundError(message, fix=hint)
