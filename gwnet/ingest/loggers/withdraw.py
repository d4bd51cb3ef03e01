"""Withdrawing downloads: their samples count no more, and what other files gave at the same instants is laid down."""

from __future__ import annotations

import hashlib
import re
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd
from sqlalchemy import Connection, select

from gwnet.errors import IngestError, NotFoundError, SettingsError
from gwnet.ingest.loggers.load import LoggerInstruction, ReadableFile, lay_down
from gwnet.ingest.loggers.result import LoggerFileResult
from gwnet.store.fetch import samples as fetch_samples
from gwnet.store.fetch.sources import write_source
from gwnet.store.models.instruments import Instrument
from gwnet.store.save.bulk import retire
from gwnet.store.session import Store

#: Opens a kept file with the text of the layout that it was read with, to read one quantity.
KeptOpener = Callable[[Path, str, str], ReadableFile]

#: Fewest letters of a hash that name a file.
_FEWEST_LETTERS: Final = 6


@dataclass(frozen=True)
class Withdrawn:
    """What a withdrawal did.

    Attributes
    ----------
    downloads : pandas.DataFrame
        The downloads that were withdrawn, as `gwnet.store.fetch.samples.downloads`.
    laid_down : tuple of gwnet.ingest.loggers.result.LoggerFileResult
        Files on record that gave samples at the same instants, which are theirs from now on.
    notes : tuple of str
        What could not be laid down.
    """

    downloads: pd.DataFrame
    laid_down: tuple[LoggerFileResult, ...]
    notes: tuple[str, ...] = ()


def withdraw(
    store: Store, named: str | Path, told: LoggerInstruction, opener: KeptOpener, *, quantity: str | None = None
) -> Withdrawn:
    """Withdraw what a file gave.

    Parameters
    ----------
    store : gwnet.store.session.Store
        Open database.
    named : str or pathlib.Path
        The file: its path, its name on record, or the first letters of its hash.
    told : LoggerInstruction
        Who, when, why; of which instrument, where the file was loaded for several.
    opener : callable
        Opens a kept file with the text of a layout, to read one quantity.
    quantity : str, optional
        Only this quantity.

    Returns
    -------
    Withdrawn
        What was withdrawn and laid down instead.

    Raises
    ------
    NotFoundError
        If no such download is on record.
    IngestError
        If several files have that name.
    SettingsError
        If the reason or the name is missing.
    """
    if not (told.reason or "").strip() or not told.by.strip():
        raise SettingsError("A withdrawal needs its reason and who decides.", fix="Give --reason TEXT and --by NAME.")
    with store.writing() as connection:
        live = fetch_samples.downloads(connection)
        chosen = _chosen(live, named, told.instrument, quantity)
        ids = chosen["download_id"].to_numpy(np.int64)
        retire(connection, "download", ids, at_utc=told.now_utc, by=told.by, reason=told.reason)
        laid, notes = _lay_down_others(connection, live, chosen, told, opener)
    return Withdrawn(chosen, laid, notes)


def _chosen(live: pd.DataFrame, named: str | Path, instrument: str | None, quantity: str | None) -> pd.DataFrame:
    """Return the downloads of one file."""
    text = str(named)
    found = live[live["sha256"] == _hash_of(Path(named))]
    if found.empty:
        found = live[(live["file"] == text) & (live["file"] != "")]
    if found.empty and re.fullmatch(rf"[0-9a-fA-F]{{{_FEWEST_LETTERS},64}}", text):
        found = live[live["sha256"].str.startswith(text.lower())]
    if instrument is not None:
        found = found[found["instrument"] == instrument]
    if quantity is not None:
        found = found[found["quantity"] == quantity]
    if found.empty:
        message = f"No download of {text!r} is on record."
        fix = "Give the path of the file, its name as it was loaded, or the first letters of its SHA-256."
        raise NotFoundError(message, fix=fix)
    hashes = found["sha256"].unique()
    if len(hashes) > 1:
        message = f"{len(hashes)} files are on record as {text!r}: {', '.join(one[:12] for one in hashes)}."
        raise IngestError(message, fix="Name the one by the first letters of its SHA-256.")
    return found.reset_index(drop=True)


def _hash_of(path: Path) -> str:
    if not path.is_file():
        return ""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _lay_down_others(
    connection: Connection, live: pd.DataFrame, chosen: pd.DataFrame, told: LoggerInstruction, opener: KeptOpener
) -> tuple[tuple[LoggerFileResult, ...], tuple[str, ...]]:
    """Read the files once more whose samples were passed over because the withdrawn ones were there."""
    others = live[~live["download_id"].isin(chosen["download_id"])]
    others = others[(others["same"] > 0) | (others["conflicts"] > 0)]
    wanted = np.zeros(len(others), dtype=bool)
    for gone in chosen.itertuples():
        wanted |= (
            (others["instrument"] == gone.instrument)
            & (others["quantity"] == gone.quantity)
            & (others["download_id"] > gone.download_id)
            & (others["first_ms"] <= gone.last_ms)
            & (others["last_ms"] >= gone.first_ms)
        ).to_numpy(bool)
    results, notes = [], []
    for _, rows in others[wanted].groupby(["source_file_id", "instrument", "quantity"], sort=False):
        first = rows.iloc[0]
        if not first["layout_text"]:
            notes.append(f"{first['file']} shares samples with it, and the layout that it was read with is not known")
            continue
        results.append(_lay_down_again(connection, first, told, opener))
    return tuple(results), tuple(notes)


def _lay_down_again(
    connection: Connection, download: pd.Series, told: LoggerInstruction, opener: KeptOpener
) -> LoggerFileResult:
    code = str(download["instrument"])
    instrument_id = connection.execute(select(Instrument.id).where(Instrument.code == code)).scalar_one()
    again = LoggerInstruction(told.now_utc, told.by, code, "what another download gave before it was withdrawn")
    with tempfile.TemporaryDirectory() as folder:
        path = write_source(connection, int(download["source_file_id"]), Path(folder))
        file = opener(path, str(download["layout_text"]), str(download["quantity"]))
        return lay_down(connection, file, range(len(file.columns)), int(instrument_id), code, again)
