"""Keeping a mapping beside the files that were imported by it."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

from sqlalchemy import Connection, select

from gwnet.store.models.base import known_on
from gwnet.store.models.mappings import ImportMapping, MappedSource
from gwnet.store.save.bulk import insert_columns, reserve_ids, retire


def keep_mapping(connection: Connection, name: str, text: str, *, by: str) -> int:
    """Keep a mapping and return its number; one of the same name and another text is retired.

    Parameters as `gwnet.store.save`.

    Parameters
    ----------
    name : str
        Its name.
    text : str
        Its TOML.
    """
    sha256 = hashlib.sha256(text.encode("utf-8")).hexdigest()
    query = select(ImportMapping.id, ImportMapping.sha256)
    live = connection.execute(query.where(ImportMapping.name == name, known_on(ImportMapping, None))).one_or_none()
    # An unchanged mapping keeps its number and the files linked with it.
    if live is not None and live.sha256 == sha256:
        return int(live.id)
    if live is not None:
        retire(connection, "import_mapping", [live.id], by=by, reason="the mapping was changed")
    number = int(reserve_ids(connection, "import_mapping", 1)[0])
    columns = {"id": number, "name": name, "sha256": sha256, "content": text, "recorded_by": by}
    insert_columns(connection, "import_mapping", columns, 1)
    return number


def link_sources(connection: Connection, mapping_id: int, source_ids: Sequence[int]) -> None:
    """Say which files were imported by a mapping; those that are known to be are passed over.

    Parameters as `gwnet.store.save`.

    Parameters
    ----------
    mapping_id : int
        Number of the mapping.
    source_ids : sequence of int
        Numbers of the source files.
    """
    query = select(MappedSource.source_file_id).where(MappedSource.import_mapping_id == mapping_id)
    known = set(connection.scalars(query))
    fresh = [number for number in dict.fromkeys(source_ids) if number not in known]
    if fresh:
        ids = reserve_ids(connection, "mapped_source", len(fresh))
        columns = {"id": ids, "source_file_id": fresh, "import_mapping_id": [mapping_id] * len(fresh)}
        insert_columns(connection, "mapped_source", columns, len(fresh))
