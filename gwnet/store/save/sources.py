"""Keeping the bytes of a file however long it is: never more than a piece in memory."""

from __future__ import annotations

import hashlib
import tempfile
import zlib
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from threading import Event
from typing import IO, Final

from sqlalchemy import Connection, select

from gwnet.errors import IngestError
from gwnet.store.models.sources import SourceFile
from gwnet.store.save.bulk import insert_columns, reserve_ids

#: Bytes of a file that are read at once.
_READ: Final = 1 << 18

#: Compressed bytes that are kept with the file itself, and in each piece of a longer one.
PIECE: Final = 1 << 20

#: How hard to compress: higher takes longer than reading the file.
_LEVEL: Final = 4


class KeptSource:
    """Compresses a file beside other work, to be kept.

    To be used as a context, at whose end what was compressed is forgotten.

    Parameters
    ----------
    path : pathlib.Path
        The file.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._packed: IO[bytes] = tempfile.TemporaryFile()  # noqa: SIM115 (closed at the end of the context)
        self._stopped = Event()
        self._worker = ThreadPoolExecutor(1)
        self._done = self._worker.submit(_compress, path, self._packed, self._stopped)

    def __enter__(self) -> KeptSource:
        """Return itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """End the work and forget it."""
        self._stopped.set()
        self._worker.shutdown(wait=True, cancel_futures=True)
        self._packed.close()

    def keep(self, connection: Connection, *, sha256: str, layout: str, row_count: int, by: str) -> int:
        """Keep the bytes, once.

        Parameters as `gwnet.store.save`.

        Parameters
        ----------
        sha256 : str
            Hash of what was read from the file.
        layout : str
            Name of the layout that it was read with.
        row_count : int
            Rows that were read.

        Returns
        -------
        int
            Number of the source file.

        Raises
        ------
        IngestError
            If the file changed since it was read.
        """
        size, found = self._done.result()
        # Hashed again while compressing: what is kept must be what was read.
        if found != sha256:
            message = "The file changed while it was read; nothing of it was stored."
            raise IngestError(message, where=self.path.name, fix="Load it again when nothing writes to it any more.")
        query = select(SourceFile.id).where(SourceFile.sha256 == sha256)
        known = connection.execute(query).scalar_one_or_none()
        # The same bytes under another name are kept once.
        if known is not None:
            return int(known)
        self._packed.seek(0)
        number = int(reserve_ids(connection, "source_file", 1)[0])
        columns = {
            "id": number,
            "name": self.path.name,
            "sha256": sha256,
            "size_bytes": size,
            "content": self._packed.read(PIECE),
            "layout": layout,
            "row_count": row_count,
            "loaded_by": by,
        }
        insert_columns(connection, "source_file", columns, 1)
        for ordinal, piece in enumerate(iter(lambda: self._packed.read(PIECE), b""), 1):
            part = {"source_file_id": number, "ordinal": ordinal, "content": piece}
            insert_columns(connection, "source_piece", part, 1)
        return number


def _compress(path: Path, packed: IO[bytes], stopped: Event) -> tuple[int, str]:
    """Compress a file into another, unless stopped before its end; return its size and hash."""
    digest, squeeze, size = hashlib.sha256(), zlib.compressobj(_LEVEL), 0
    with path.open("rb") as file:
        while not stopped.is_set() and (piece := file.read(_READ)):
            digest.update(piece)
            size += len(piece)
            packed.write(squeeze.compress(piece))
    packed.write(squeeze.flush())
    return size, digest.hexdigest()
