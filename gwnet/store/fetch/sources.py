"""The bytes of kept files, as they were loaded: never more than a piece in memory."""

from __future__ import annotations

import hashlib
import zlib
from collections.abc import Iterator
from pathlib import Path

from sqlalchemy import Connection, inspect, select

from gwnet.errors import NotFoundError, StoreError
from gwnet.store.models.sources import SourceFile, SourcePiece


def source_bytes(connection: Connection, source_file_id: int) -> Iterator[bytes]:
    """Yield the bytes of a kept file as it was loaded, piece by piece.

    Parameters as `gwnet.store.fetch`.

    Parameters
    ----------
    source_file_id : int
        Number of the source file.

    Raises
    ------
    NotFoundError
        If there is no such file on record.
    """
    first = connection.execute(select(SourceFile.content).where(SourceFile.id == source_file_id)).scalar_one_or_none()
    if first is None:
        message = f"There is no source file {source_file_id} on record."
        raise NotFoundError(message)
    loosen = zlib.decompressobj()
    yield loosen.decompress(first)
    query = select(SourcePiece.ordinal).where(SourcePiece.source_file_id == source_file_id)
    for ordinal in connection.execute(query.order_by(SourcePiece.ordinal)).scalars().all():
        piece = select(SourcePiece.content).where(
            SourcePiece.source_file_id == source_file_id, SourcePiece.ordinal == ordinal
        )
        yield loosen.decompress(connection.execute(piece).scalar_one())
    # What the decompressor still holds after the last piece.
    yield loosen.flush()


def read_source(connection: Connection, source_file_id: int, sha256: str) -> bytes:
    """Return the bytes of a kept file as it was loaded, held against its hash.

    Parameters as `gwnet.store.fetch`.

    Parameters
    ----------
    source_file_id : int
        Number of the source file.
    sha256 : str
        Its hash on record, in hexadecimal digits.

    Raises
    ------
    NotFoundError
        If there is no such file on record.
    StoreError
        If the bytes have another hash.
    """
    content = b"".join(source_bytes(connection, source_file_id))
    if hashlib.sha256(content).hexdigest() != sha256:
        message = f"The bytes of source file {source_file_id} are not those that were loaded; nothing was written."
        raise StoreError(message, fix="Examine the record with 'gwnet doctor', and restore a backup.")
    return content


def compare_originals(connection: Connection) -> Iterator[tuple[int, str, str]]:
    """Compare the bytes of every kept file with its hash; a record of the first revision, without pieces, is read, too.

    Parameters as `gwnet.store.fetch`.

    Yields
    ------
    tuple
        Number and name of the file, and what is wrong with it; empty where it is as it was loaded.
    """
    columns = (SourceFile.id, SourceFile.name, SourceFile.sha256, SourceFile.size_bytes)
    has_pieces = inspect(connection).has_table(SourcePiece.__tablename__)
    # Ordered and fetched first, as each file takes queries of its own on the connection.
    for number, name, sha256, size in connection.execute(select(*columns).order_by(SourceFile.id)).all():
        problem = ""
        digest, length = hashlib.sha256(), 0
        try:
            for piece in source_bytes(connection, number) if has_pieces else _whole(connection, number):
                digest.update(piece)
                length += len(piece)
        except Exception as error:  # a damaged file may give any error
            problem = f"cannot be unpacked ({error})"
        else:
            if digest.hexdigest() != sha256 or length != size:
                problem = "is not as it was loaded"
        yield int(number), str(name), problem


def _whole(connection: Connection, number: int) -> Iterator[bytes]:
    content = connection.execute(select(SourceFile.content).where(SourceFile.id == number)).scalar_one()
    yield zlib.decompress(content)


def write_source(connection: Connection, source_file_id: int, folder: Path, *, most_bytes: int | None = None) -> Path:
    """Write a kept file as it was loaded, under its own name, and return its path.

    Parameters as `gwnet.store.fetch`.

    Parameters
    ----------
    source_file_id : int
        Number of the source file.
    folder : pathlib.Path
        Folder to write into.
    most_bytes : int, optional
        Stop after the piece that reaches so many; the whole file unless given.

    Raises
    ------
    NotFoundError
        If there is no such file on record.
    """
    name = connection.execute(select(SourceFile.name).where(SourceFile.id == source_file_id)).scalar_one_or_none()
    # The name alone, as a kept path must not lead out of the folder.
    path = folder / (Path(name or "").name or "download")
    with path.open("wb") as file:
        for piece in source_bytes(connection, source_file_id):
            file.write(piece)
            if most_bytes is not None and file.tell() >= most_bytes:
                break
    return path
