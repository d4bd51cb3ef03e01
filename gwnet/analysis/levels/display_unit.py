"""Frames in the unit that they are shown in."""

from __future__ import annotations

import re

import pandas as pd

from gwnet.errors import SettingsError
from gwnet.units import DISPLAY_UNITS, metres_per, text_in_unit

#: Names of columns that hold metres, metres a year or metres a day.
_METRES = re.compile(r"_m(?P<each>_per_year|_per_day|)$")


def in_unit(table: pd.DataFrame, unit: str) -> pd.DataFrame:
    """Return a frame with its lengths in another unit.

    Parameters
    ----------
    table : pandas.DataFrame
        Frame whose columns of lengths end in ``_m``, those of slopes in
        ``_m_per_year`` and those of velocities in ``_m_per_day``.
    unit : str
        ``m`` or ``ft``.

    Returns
    -------
    pandas.DataFrame
        The frame itself for m; otherwise a copy whose columns end in ``_ft``, ``_ft_per_year`` and
        ``_ft_per_day``, with the signed lengths of its notes in that unit as well.

    Raises
    ------
    SettingsError
        If the unit is neither.
    """
    if unit not in DISPLAY_UNITS:
        message = f"Results can be given in {' or '.join(DISPLAY_UNITS)}, not in {unit!r}."
        raise SettingsError(message)
    if unit == "m":  # the frame itself, as callers must not change it anyway
        return table
    lengths = [column for column in table.columns if _METRES.search(column)]
    converted = table.assign(**{column: table[column] / metres_per(unit) for column in lengths})
    if "note" in converted.columns:
        words = [text_in_unit(note, unit) if isinstance(note, str) else note for note in converted["note"]]
        converted = converted.assign(note=pd.Series(words, index=converted.index, dtype=converted["note"].dtype))
    return converted.rename(columns={column: _METRES.sub(rf"_{unit}\g<each>", column) for column in lengths})
