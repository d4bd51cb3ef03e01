"""Mappings on record: kept once, replaced by a changed one of the same name, linked to the files that they brought."""

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DatabaseError

from gwnet.errors import StoreError
from gwnet.store.fetch.mappings import files_of_mapping, mapping_text, mappings
from gwnet.store.models.mappings import ImportMapping, MappedSource
from gwnet.store.save.bulk import insert_columns, reserve_ids
from gwnet.store.save.mappings import keep_mapping, link_sources

from ..helpers import follow
from .conftest import MONDAY


def writing(store):
    return store.writing("import", "Ana", now_utc=follow(store, MONDAY))


def source_file(store, sha256):
    columns = {"name": "a.csv", "sha256": sha256, "size_bytes": 1, "content": [b"x"], "layout": "wells", "row_count": 1}
    with writing(store) as connection:
        number = int(reserve_ids(connection, "source_file", 1)[0])
        insert_columns(connection, "source_file", {"id": number, **columns, "loaded_by": "Ana"}, 1)
    return number


def test_a_mapping_is_kept_once_and_a_changed_one_replaces_it(store):
    with writing(store) as connection:
        first = keep_mapping(connection, "north", "name = 1", by="Ana")
        assert keep_mapping(connection, "north", "name = 1", by="Ben") == first
        assert keep_mapping(connection, "north", "name = 2", by="Ben") != first
        keep_mapping(connection, "south", "name = 3", by="Ben")
    with store.reading() as connection:
        listed = mappings(connection)
        assert listed[["name", "recorded_by", "files"]].to_numpy().tolist() == [
            ["north", "Ben", 0],
            ["south", "Ben", 0],
        ]
        assert mapping_text(connection, "north") == "name = 2"
        assert mapping_text(connection, "west") is None
        kept = connection.execute(text("SELECT count(*) FROM import_mapping")).scalar_one()
        assert kept == 3


def test_files_are_linked_once_to_the_mapping_as_it_was(store):
    files = [source_file(store, letter * 64) for letter in "ab"]
    with writing(store) as connection:
        number = keep_mapping(connection, "north", "name = 1", by="Ana")
        link_sources(connection, number, files[:1])
        link_sources(connection, number, files)
    with store.reading() as connection:
        assert files_of_mapping(connection, "north", "name = 1") == set(files)
        assert files_of_mapping(connection, "north", "name = 2") == set()
        assert mappings(connection)["files"].tolist() == [2]


@pytest.mark.parametrize("table", [ImportMapping.__tablename__, MappedSource.__tablename__])
def test_neither_mappings_nor_links_are_deleted(store, table):
    number = source_file(store, "a" * 64)
    with writing(store) as connection:
        link_sources(connection, keep_mapping(connection, "n", "x", by="Ana"), [number])
    with pytest.raises((DatabaseError, StoreError)), writing(store) as connection:
        connection.execute(text(f"DELETE FROM {table}"))
