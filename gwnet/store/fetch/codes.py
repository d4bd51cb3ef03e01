"""Refusing codes that are not on record, with the nearest that are."""

from __future__ import annotations

from difflib import get_close_matches

import pandas as pd

from gwnet.errors import NotFoundError


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
