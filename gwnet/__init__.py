"""Groundwater monitoring-network record: from readings to levels, hydrographs, same-day maps and quarterly reports.

Importing the package loads nothing heavy; `open` loads what it needs when it is called.

Examples
--------
>>> import gwnet
>>> net = gwnet.open("gwnet.sqlite")  # doctest: +SKIP
>>> net  # what is on record, and what to ask for  # doctest: +SKIP
>>> net.levels("MW-1", start="2024-01-01")  # doctest: +SKIP
>>> net.levels.series("MW-1").resample("MS").median()  # doctest: +SKIP
>>> net.trends.figure("MW-1")  # doctest: +SKIP
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from gwnet.version import __version__

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from gwnet.network import Network

__all__ = ["__version__", "open"]


def open(address: str | Path, *, say: Callable[[str], None] | None = None) -> Network:
    """Open a groundwater record.

    Parameters
    ----------
    address : str or pathlib.Path
        SQLAlchemy URL, or path of an SQLite file. Use ``gwnet init`` to make one.
    say : callable, optional
        Takes sentences for the person who waits until another program has written, for example ``print``.

    Returns
    -------
    gwnet.network.Network
        The open record; close it with its ``close`` method, or use it in a ``with`` statement.

    Raises
    ------
    StoreError
        If the database does not exist or holds no gwnet record.
    SchemaBehindError, SchemaAheadError
        If it was made by another version of the program.
    """
    from gwnet.network import Network

    return Network(address, say=say)
