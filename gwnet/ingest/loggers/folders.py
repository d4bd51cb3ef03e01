"""Folders of logger files: what is in one, and one that is emptied run by run as files arrive.

A file is loaded first and moved aside then. A run that is killed between the two leaves the file where it was; the next
one finds its bytes on record, stores nothing again, and moves it. No file is ever deleted or replaced.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import pandas as pd

from gwnet.errors import IngestError, OutputError
from gwnet.ingest.loggers.result import LoggerFileResult, LoggersResult
from gwnet.whole_files import lock_folder

#: Folder that files are moved to when they are done, inside the inbox.
DONE: Final[str] = "done"

#: Endings of files that are no logger files.
_OTHERS: Final = (".toml", ".md", ".part", ".tmp", ".crdownload")

#: Columns of the summary.
INBOX_COLUMNS: Final = tuple("file outcome moved_to instrument rows added same conflicts findings note".split())

#: Loads files one by one.
Loading = Callable[[Sequence[Path]], LoggersResult]


@dataclass(frozen=True)
class Arrived:
    """One file of an inbox and what became of it.

    Attributes
    ----------
    path : pathlib.Path
        Where it was.
    outcome : str
        ``loaded``, ``already loaded``, ``refused`` (it stays) or ``arriving`` (it may not be whole yet, and stays).
    moved_to : pathlib.Path or None
        Where it is now; None where it stays.
    result : gwnet.ingest.loggers.result.LoggerFileResult or None
        What the load did; None where it was left alone.
    """

    path: Path
    outcome: str
    moved_to: Path | None
    result: LoggerFileResult | None


@dataclass(frozen=True)
class InboxResult:
    """What one run over an inbox did.

    Attributes
    ----------
    files : tuple of Arrived
        The files by name.
    """

    files: tuple[Arrived, ...]

    @property
    def has_findings(self) -> bool:
        """Return whether somebody should look: files that were refused, or loaded with findings."""
        results = tuple(file.result for file in self.files if file.result is not None)
        return LoggersResult(results).has_findings or any(file.outcome == "refused" for file in self.files)

    def frame(self) -> pd.DataFrame:
        """Return the result as rows.

        Returns
        -------
        pandas.DataFrame
            One row a file, with the columns of `INBOX_COLUMNS`; counts are over all its series.
        """
        return pd.DataFrame([_row(file) for file in self.files], columns=list(INBOX_COLUMNS))


def _row(file: Arrived) -> dict[str, object]:
    result = file.result or LoggerFileResult(file.path.name)
    counts = {name: sum(getattr(series.counts, name) for series in result.series) for name in ("rows", "added", "same")}
    words = [*result.findings, *result.notes, *([str(result.error)] if result.error is not None else [])]
    return {
        "file": file.path.name,
        "outcome": file.outcome,
        "moved_to": "" if file.moved_to is None else str(file.moved_to),
        "instrument": result.instrument,
        **counts,
        "conflicts": result.conflict_count,
        "findings": len(result.findings),
        "note": "; ".join(words),
    }


def list_logger_files(paths: Sequence[Path]) -> list[Path]:
    """Return files, those in folders in place of the folders; each once.

    Parameters
    ----------
    paths : sequence of pathlib.Path
        Files and folders. Hidden files, layouts and folders within folders are passed over.

    Returns
    -------
    list of pathlib.Path
        In the order given, those of a folder by name.

    Raises
    ------
    IngestError
        If a folder holds no file.
    """
    files: list[Path] = []
    for path in paths:
        if not path.is_dir():
            files.append(path)
            continue
        inside = _files_in(path)
        if not inside:
            raise IngestError("The folder holds no file of a logger.", where=str(path), fix="Check its name.")
        files += inside
    return list(dict.fromkeys(files))


def _files_in(folder: Path) -> list[Path]:
    try:
        entries = sorted(folder.iterdir(), key=lambda path: path.name)
    except OSError as error:
        message = f"The folder cannot be read: {error.strerror or error}."
        raise IngestError(message, where=str(folder), fix="Check its name and permissions.") from None
    return [
        path for path in entries if path.is_file() and path.name[0] not in ".~" and path.suffix.lower() not in _OTHERS
    ]


def empty_inbox(folder: Path, loading: Loading, *, settled_before: float, done: Path | None = None) -> InboxResult:
    """Load the files of a folder and move those that are on record aside.

    Parameters
    ----------
    folder : pathlib.Path
        The inbox.
    loading : callable
        Loads files.
    settled_before : float
        A file that was changed after this moment is taken to arrive still [s since 1970-01-01 UTC].
    done : pathlib.Path, optional
        Where they are moved to, on the same disk; ``done`` within the inbox unless given.

    Returns
    -------
    InboxResult
        What became of each file.

    Raises
    ------
    IngestError
        If there is no such folder.
    OutputError
        If another run is at work in it, or files cannot be moved.
    """
    if not folder.is_dir():
        raise IngestError("There is no such folder.", where=str(folder), fix="Check its name.")
    aside = done if done is not None else folder / DONE
    with _locked(folder):
        try:
            aside.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise _cannot_move(aside, error) from None
        return InboxResult(tuple(_take(path, loading, aside, settled_before) for path in _files_in(folder)))


def _take(path: Path, loading: Loading, aside: Path, settled_before: float) -> Arrived:
    """Load one file and move it aside."""
    before = path.stat()
    if before.st_mtime > settled_before:
        return Arrived(path, "arriving", None, None)
    [result] = loading([path]).files
    if result.error is not None:
        return Arrived(path, "refused", None, result)
    outcome = "loaded" if result.landed else "already loaded"
    after = path.stat()
    # what arrived while it was read is for the next run
    if (before.st_mtime_ns, before.st_size) != (after.st_mtime_ns, after.st_size):
        return Arrived(path, "arriving", None, result)
    return Arrived(path, outcome, _move_aside(path, aside), result)


def _move_aside(path: Path, aside: Path) -> Path:
    """Move a file into a folder under a name that is free there."""
    number = 1
    while True:
        target = aside / (path.name if number == 1 else f"{path.stem} ({number}){path.suffix}")
        try:
            if _is_same_file(path, target):
                # a run was killed after the file had its new name and before it lost the old one
                path.unlink()
                return target
            _give_name(path, target)
        except FileExistsError:
            number += 1
        except OSError as error:
            raise _cannot_move(target, error) from None
        else:
            return target


def _is_same_file(path: Path, target: Path) -> bool:
    try:
        return path.samefile(target)
    except FileNotFoundError:
        return False


def _give_name(path: Path, target: Path) -> None:
    """Give a file a name that nothing has; FileExistsError where something has it."""
    try:
        # unlike a rename, a link never replaces what is there
        os.link(path, target, follow_symlinks=False)
    except FileExistsError:
        raise
    except OSError:
        # no links on this disk: the name is taken first, by an empty file of our own
        os.close(os.open(target, os.O_CREAT | os.O_EXCL | os.O_WRONLY))
        try:
            path.replace(target)
        except OSError:
            target.unlink()
            raise
        return
    path.unlink()


def _cannot_move(path: Path, error: OSError) -> OutputError:
    message = f"Files cannot be moved aside: {error.strerror or error}."
    return OutputError(message, where=str(path), fix="Name a folder on the same disk that may be written to.")


@contextmanager
def _locked(folder: Path) -> Iterator[None]:
    """Hold the inbox; refuse where another run does. The system lets go of it when a run is killed."""
    try:
        descriptor, is_locked = lock_folder(folder)
    except BlockingIOError:
        message = "Another run is at work in this folder."
        raise OutputError(message, where=str(folder), fix="Wait for it to end; it does what this one would.") from None
    try:
        if not is_locked and sys.platform != "win32":
            raise OutputError("This folder cannot be locked.", where=str(folder), fix="Name one on a local disk.")
        yield
    finally:
        os.close(descriptor)
