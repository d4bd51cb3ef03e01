"""Mappings on record, and the files that were imported by each."""

from __future__ import annotations

import hashlib

import pandas as pd
from sqlalchemy import Connection, func, select

from gwnet.store.fetch.frames import frame
from gwnet.store.models.base import known_on
from gwnet.store.models.mappings import ImportMapping, MappedSource


def mappings(connection: Connection) -> pd.DataFrame:
    """Return the mappings on record, by name.

    Parameters as `gwnet.store.fetch`.

    Returns
    -------
    pandas.DataFrame
        One row a mapping, with the number of files that it brought.
    """
    mapping, link = ImportMapping, MappedSource
    files = select(func.count()).where(link.import_mapping_id == mapping.id).correlate(mapping).scalar_subquery()
    columns = (mapping.name, mapping.sha256, mapping.recorded_at_utc, mapping.recorded_by, files.label("files"))
    return frame(connection, select(*columns).where(known_on(mapping, None)).order_by(mapping.name), "mappings")


def mapping_text(connection: Connection, name: str) -> str | None:
    """Return the TOML of the mapping on record under a name, None where there is none.

    Parameters as `gwnet.store.fetch`.

    Parameters
    ----------
    name : str
        Name of the mapping.
    """
    query = select(ImportMapping.content).where(ImportMapping.name == name, known_on(ImportMapping, None))
    return connection.execute(query).scalar_one_or_none()


def files_of_mapping(connection: Connection, name: str, text: str) -> set[int]:
    """Return the numbers of the source files that were imported by a mapping as it is.

    Parameters as `gwnet.store.fetch`.

    Parameters
    ----------
    name : str
        Name of the mapping.
    text : str
        Its TOML.
    """
    # By its text as well: a mapping that was changed has imported nothing yet.
    sha256 = hashlib.sha256(text.encode("utf-8")).hexdigest()
    query = select(MappedSource.source_file_id).join(ImportMapping, ImportMapping.id == MappedSource.import_mapping_id)
    return set(connection.scalars(query.where(ImportMapping.name == name, ImportMapping.sha256 == sha256)))
