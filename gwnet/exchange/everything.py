"""The whole record as one archive, from which `gwnet restore` makes an equal one; and reading such an archive."""

from __future__ import annotations

import hashlib
import json
import tempfile
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any, Final, NoReturn

from gwnet.errors import OutputError, StoreError
from gwnet.exchange.extract import Extract
from gwnet.exchange.registry import register_format
from gwnet.store.backup import make_backup
from gwnet.version import PROGRAM

#: Members of the archive: what it is, and the record as an SQLite file.
_ABOUT, _RECORD = "about.json", "record.sqlite"

_PIECE: Final = 1 << 20
#: Largest description that is read [bytes]: one that is larger is not ours.
_LARGEST_ABOUT: Final = 1 << 16

_README: Final = (
    "A groundwater record. record.sqlite is an SQLite 3 database with every row and both of its times, the bytes of "
    "all files that were loaded, samples of loggers, corrections, reviews and issued reports. "
    "'gwnet restore FILE --db ADDRESS' makes a record from this archive, on SQLite or PostgreSQL."
)


@register_format(
    "everything",
    "the whole record as an archive: every row with both of its times, the bytes of all files that were loaded, "
    "samples, corrections, reviews, issued reports; `gwnet restore` makes an equal record from it on either database",
    ending=".zip",
    takes=(),
)
def write_everything(extract: Extract, path: Path) -> None:
    """Write the whole record as an archive.

    Parameters
    ----------
    extract : gwnet.exchange.extract.Extract
        Of the whole record, with its store.
    path : pathlib.Path
        File to make.

    Raises
    ------
    OutputError
        If the extract has no store.
    StoreError
        If the record is damaged.

    Notes
    -----
    The record in it is a verified backup (`gwnet.store.backup.make_backup`), with its SHA-256 beside it.
    """
    if extract.store is None:
        raise OutputError("The whole record is exported from an open record alone.", where=str(path))
    # Times of a ZIP archive begin in 1980; a record without a state counts as of 1970.
    when = max(extract.recorded_at_utc.timetuple()[:6], (1980, 1, 1, 0, 0, 0))
    # Beside the target, whose disk has to have room for the record anyway; the temporary folder of the system may not.
    with tempfile.TemporaryDirectory(prefix=".gwnet-", dir=path.parent) as folder:
        copy = Path(folder) / _RECORD
        copied = make_backup(extract.store, copy, progress=extract.progress)
        about = {
            "about": _README,
            "made_by": PROGRAM,
            "revision": copied.revision,
            "state": extract.state_text,
            "tables": copied.tables,
            "rows": copied.rows,
            "bytes": copy.stat().st_size,
            "sha256": _digest(copy),
        }
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr(_member(_ABOUT, when), json.dumps(about, indent=1, ensure_ascii=False) + "\n")
            member = _member(_RECORD, when)
            # Said beforehand, or zipfile does not take members of more than 2 GiB.
            member.file_size = copy.stat().st_size
            with copy.open("rb") as source, archive.open(member, "w") as target:
                _hand_on(source, target)


@contextmanager
def opened_archive(path: Path) -> Iterator[Path]:
    """Give the backup that an archive holds, once every byte of it was held against its digest.

    Parameters
    ----------
    path : pathlib.Path
        An archive, or a backup, which is given as it is.

    Yields
    ------
    pathlib.Path
        SQLite file, which is removed afterwards where it came from an archive.

    Raises
    ------
    StoreError
        If the archive is damaged, not whole, or not one of ours.
    """
    if not _looks_like_archive(path):
        yield path
        return
    with tempfile.TemporaryDirectory(prefix="gwnet-") as folder:
        target = Path(folder) / _RECORD
        try:
            _unpack(path, target)
        except (zipfile.BadZipFile, zlib.error, EOFError, KeyError, ValueError, NotImplementedError, OSError) as error:
            _refuse(path, f"The archive is damaged or not whole ({error}).", error)
        except RuntimeError as error:  # a flag that says that a member is encrypted
            _refuse(path, f"The archive is damaged ({error}).", error)
        yield target


def _looks_like_archive(path: Path) -> bool:
    """Return whether a file begins as an archive does, or is called one."""
    try:
        with path.open("rb") as file:
            # By its name as well: an archive whose first bytes are damaged is to be called damaged, not tried as a
            # database.
            return file.read(2) == b"PK" or path.suffix.lower() == ".zip"
    except OSError:
        return False


def _unpack(path: Path, target: Path) -> None:
    """Write the record of an archive to a file, and hold its bytes against the digest in the archive."""
    with zipfile.ZipFile(path) as archive:
        names = sorted(archive.namelist())
        # Exactly these two: a name is never used as a path, and another archive is refused before anything is unpacked.
        if names != sorted([_ABOUT, _RECORD]):
            _refuse(path, f"The archive holds {', '.join(names) or 'nothing'}, not {_ABOUT} and {_RECORD}.")
        with archive.open(_ABOUT) as file:
            # A damaged or hostile member could unpack to gigabytes; it is cut here and then is no JSON.
            about = json.loads(file.read(_LARGEST_ABOUT))
        size, sha256 = int(about["bytes"]), str(about["sha256"])
        with archive.open(_RECORD) as source, target.open("wb") as copy:
            # No further than the size that is stated: what would unpack to more must not fill the disk first.
            if _hand_on(source, copy, most=size) != size:
                _refuse(path, f"The record in the archive has not the {size:,} bytes that it should have.")
    if _digest(target) != sha256:
        _refuse(path, "The record in the archive is not the one that was exported: its SHA-256 is another.")


def _refuse(path: Path, message: str, cause: BaseException | None = None) -> NoReturn:
    fix = "Nothing was stored. Copy it again from where it was made, or take another archive or backup."
    raise StoreError(message, where=str(path), fix=fix) from cause


def _member(name: str, when: Any) -> zipfile.ZipInfo:
    """Return a member of the archive with the time of the record, so that one record gives the same bytes."""
    member = zipfile.ZipInfo(name, when)
    member.compress_type = zipfile.ZIP_DEFLATED
    # Permissions are part of the bytes, and zipfile would take 0o600 where nothing is said.
    member.external_attr = 0o644 << 16
    return member


def _hand_on(source: IO[bytes], target: IO[bytes], most: int | None = None) -> int:
    """Copy bytes piece by piece and return how many; stop behind the most that there may be."""
    count = 0
    while piece := source.read(_PIECE):
        target.write(piece)
        count += len(piece)
        if most is not None and count > most:
            break
    return count


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
