"""Withdrawing downloads: their samples count no more, and what other files have at the same instants is stored."""

from __future__ import annotations

import re
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd
from sqlalchemy import Connection, select

from gwnet.errors import IngestError, NotFoundError, SettingsError
from gwnet.ingest.loggers.layout import parse_layout
from gwnet.ingest.loggers.load import LoggerInstruction, store_file
from gwnet.ingest.loggers.result import LoggerFileResult
from gwnet.ingest.loggers.rows import open_logger_file
from gwnet.ingest.loggers.text import file_hash
from gwnet.store.fetch import samples as fetch_samples
from gwnet.store.fetch.sources import write_source
from gwnet.store.models.instruments import Instrument
from gwnet.store.save.bulk import retire
from gwnet.store.session import Store

#: Fewest letters of a hash that name a file.
_FEWEST_LETTERS: Final = 6


@dataclass(frozen=True)
class Withdrawn:
    """What a withdrawal did.

    Attributes
    ----------
    downloads : pandas.DataFrame
        The downloads that were withdrawn, as `gwnet.store.fetch.samples.downloads`.
    stored_again : tuple of gwnet.ingest.loggers.result.LoggerFileResult
        Files on record that gave samples at the same instants, which are theirs from now on.
    notes : tuple of str
        What could not be stored again.
    """

    downloads: pd.DataFrame
    stored_again: tuple[LoggerFileResult, ...]
    notes: tuple[str, ...] = ()


def withdraw(store: Store, named: str | Path, request: LoggerInstruction, *, quantity: str | None = None) -> Withdrawn:
    """Withdraw what a file gave.

    Parameters
    ----------
    store : gwnet.store.session.Store
        Open database.
    named : str or pathlib.Path
        The file: its path, its name on record, or the first letters of its hash.
    request : LoggerInstruction
        Who, when, why; of which instrument, where the file was loaded for several.
    quantity : str, optional
        Only this quantity.

    Returns
    -------
    Withdrawn
        What was withdrawn and stored instead.

    Raises
    ------
    NotFoundError
        If no such download is on record.
    IngestError
        If several files have that name.
    SettingsError
        If the reason or the name is missing.
    """
    if not (request.reason or "").strip() or not request.by.strip():
        raise SettingsError("A withdrawal needs its reason and who decides.", fix="Give --reason TEXT and --by NAME.")
    with store.writing("logger withdraw", request.by, reason=request.reason, now_utc=request.now_utc) as connection:
        live = fetch_samples.downloads(connection)
        chosen = _chosen(live, named, request.instrument, quantity)
        ids = chosen["download_id"].to_numpy(np.int64)
        retire(connection, "download", ids, by=request.by, reason=request.reason)
        stored, notes = _store_others(connection, live, chosen, request)
    return Withdrawn(chosen, stored, notes)


def _chosen(live: pd.DataFrame, named: str | Path, instrument: str | None, quantity: str | None) -> pd.DataFrame:
    """Return the downloads of one file."""
    text = str(named)
    # A file that is there is meant by its bytes, whatever its name is by now.
    chosen = live[live["sha256"] == (file_hash(Path(named)) if Path(named).is_file() else "")]
    if chosen.empty:
        chosen = live[(live["file"] == text) & (live["file"] != "")]
    if chosen.empty and re.fullmatch(rf"[0-9a-fA-F]{{{_FEWEST_LETTERS},64}}", text):
        chosen = live[live["sha256"].str.startswith(text.lower())]
    if instrument is not None:
        chosen = chosen[chosen["instrument"] == instrument]
    if quantity is not None:
        chosen = chosen[chosen["quantity"] == quantity]
    if chosen.empty:
        message = f"No download of {text!r} is on record."
        fix = "Give the path of the file, its name as it was loaded, or the first letters of its SHA-256."
        raise NotFoundError(message, fix=fix)
    hashes = chosen["sha256"].unique()
    if len(hashes) > 1:
        message = f"{len(hashes)} files are on record as {text!r}: {', '.join(digest[:12] for digest in hashes)}."
        raise IngestError(message, fix="Name the one by the first letters of its SHA-256.")
    return chosen.reset_index(drop=True)


def _store_others(
    connection: Connection, live: pd.DataFrame, chosen: pd.DataFrame, request: LoggerInstruction
) -> tuple[tuple[LoggerFileResult, ...], tuple[str, ...]]:
    """Read the files once more whose samples were passed over because the withdrawn ones were there."""
    others = live[~live["download_id"].isin(chosen["download_id"])]
    others = others[(others["same"] > 0) | (others["conflicts"] > 0)]
    wanted = np.zeros(len(others), dtype=bool)
    for gone in chosen.itertuples():
        wanted |= (
            (others["instrument"] == gone.instrument)
            & (others["quantity"] == gone.quantity)
            # An earlier download was not passed over because of this one.
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
        results.append(_store_again(connection, first, request))
    return tuple(results), tuple(notes)


def _store_again(connection: Connection, download: pd.Series, request: LoggerInstruction) -> LoggerFileResult:
    code = str(download["instrument"])
    instrument_id = connection.execute(select(Instrument.id).where(Instrument.code == code)).scalar_one()
    again = LoggerInstruction(request.by, code, "what another download gave before it was withdrawn")
    with tempfile.TemporaryDirectory() as folder:
        path = write_source(connection, int(download["source_file_id"]), Path(folder))
        layout = parse_layout(str(download["layout_text"]), where="layout on record")
        # a file of an earlier version, which passed such rows over, must not keep another from being withdrawn
        layout = replace(layout, repeated_hour=layout.repeated_hour or "first")
        file = open_logger_file(path, layout, quantity=str(download["quantity"]))
        return store_file(connection, file, range(len(file.columns)), int(instrument_id), code, again)
