"""Every table on record as it was given, the files it came from, and the bytes of those files."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import pandas as pd

from gwnet.errors import NotFoundError, SettingsError
from gwnet.network.base import Group, Instant
from gwnet.store.fetch import registry
from gwnet.store.snapshot import Snapshot

#: What can be listed, with the question for it; those of instruments are of no site.
LISTED: Final[dict[str, Callable[[Snapshot], pd.DataFrame]]] = {
    "sites": lambda record: record.sites,
    "aquifers": lambda record: record.aquifers,
    "wells": lambda record: record.wells,
    "construction": lambda record: record.construction,
    "measuring-points": lambda record: record.measuring_points,
    "instruments": lambda record: record.instruments,
    "tape-checks": lambda record: record.tape_checks,
    "installations": lambda record: record.deployments,
    "rounds": lambda record: record.rounds,
    "thresholds": lambda record: record.thresholds,
    "stages": lambda record: record.stages,
    "context": lambda record: record.context,
    "pumping-tests": lambda record: record.pumping_tests,
    "pumping-rates": lambda record: record.pumping_rates,
    "pumping-readings": lambda record: record.pumping_readings,
    "register": lambda record: registry.register_entries(record.connection, record.known_on, record.site),
}

#: Names of tables that are loaded, where they are listed under another.
_ALSO_CALLED: Final = {"deployments": "installations"}


class Tables(Group):
    """Tables on record."""

    _path = "net.tables"

    def __call__(self, table: str, *, site: str | None = None, known_on: Instant = None) -> pd.DataFrame:
        """Return a table as it is on record, one row each.

        Parameters as `gwnet.network`.

        Parameters
        ----------
        table : str
            One of ``sites``, ``aquifers``, ``wells``, ``construction``, ``measuring-points``, ``instruments``,
            ``tape-checks``, ``installations``, ``rounds``, ``thresholds``, ``stages``, ``context``,
            ``pumping-tests``, ``pumping-rates``, ``pumping-readings``, ``register``.

        Returns
        -------
        pandas.DataFrame
            Lengths in metres, times in UTC; columns as `gwnet.store.fetch.frames.FRAMES`.

        Raises
        ------
        SettingsError
            If there is no such table.
        """
        name = table.replace("_", "-")
        ask = LISTED.get(_ALSO_CALLED.get(name, name))
        if ask is None:
            message = f"There is no table {table!r} to list."
            raise SettingsError(message, fix=f"Give one of {', '.join(LISTED)}.")
        with self._record(site, known_on) as record:
            return ask(record)


class Sources(Group):
    """Files that rows on record came from."""

    _path = "net.sources"

    def __call__(self, known_on: Instant = None) -> pd.DataFrame:
        """Return the files that were loaded, in that order; see `gwnet.store.fetch.registry.sources`."""
        with self._record(None, known_on) as record:
            return record.sources

    def get(self, file: str, out: str | Path) -> Path:
        """Write a file as it was loaded, and hold its bytes against the hash on record.

        Parameters
        ----------
        file : str
            Number, name or beginning of the SHA-256 of the file.
        out : str or pathlib.Path
            File to write, or an existing folder for it.

        Returns
        -------
        pathlib.Path
            The file written.

        Raises
        ------
        NotFoundError
            If no file is meant, or several are.
        StoreError
            If the bytes on record are not those that were loaded; nothing is written.
        OutputError
            If the file cannot be written.
        """
        from gwnet.store.fetch.sources import read_source
        from gwnet.whole_files import replace_files

        row = _chosen(self(), file)
        # The last part of the name alone: a path in it must not lead out of the folder.
        path = Path(out) / Path(str(row["name"])).name if Path(out).is_dir() else Path(out)
        with self._store.reading() as connection:
            content = read_source(connection, int(row["source_file_id"]), str(row["sha256"]))
        return replace_files({path: content}, "file")[0]


def _chosen(files: pd.DataFrame, word: str) -> Any:
    """Return the row of the file that a number, a name or the beginning of a hash means."""
    number, name = files["source_file_id"].astype(str) == word, files["name"] == word
    # In this order: digits alone may be the beginning of a hash as well.
    is_meant = number if number.any() else name if name.any() else files["sha256"].str.startswith(word.lower())
    meant = files[is_meant]
    if len(meant) == 1:
        return meant.iloc[0]
    if meant.empty:
        message = f"No file {word!r} was loaded."
        raise NotFoundError(message, fix="List the files with 'gwnet sources'; give a number, a name or a SHA-256.")
    numbers = ", ".join(meant["source_file_id"].astype(str))
    message = f"{len(meant)} files {word!r} were loaded, with the numbers {numbers}."
    raise NotFoundError(message, fix="Give one of the numbers.")
