"""Waiting for the write lock of a record that another program holds."""

import threading

import pytest

from gwnet.errors import StoreError
from gwnet.store import revision, waiting
from gwnet.store.save.bulk import insert_columns, reserve_ids
from gwnet.store.session import open_store


@pytest.fixture
def pair(store_url):
    """Give a record opened twice, the second time with a list that takes what is said to who waits."""
    said = []
    first, second = open_store(store_url, create=True), open_store(store_url, create=True, say=said.append)
    revision.upgrade(first)
    yield first, second, said
    first.close()
    second.close()


def add_site(connection, code):
    site = reserve_ids(connection, "site", 1)
    insert_columns(connection, "site", {"id": site, "code": [code]}, 1)
    columns = {"id": reserve_ids(connection, "site_record", 1), "site_id": site, "recorded_by": "Ben"}
    named = {"crs": "EPSG:25832", "vertical_datum": "local", "length_unit": "m", "time_zone": "UTC"}
    insert_columns(connection, "site_record", {**columns, **named}, 1)


def test_who_waits_is_told_and_hears_for_what(pair, monkeypatch):
    monkeypatch.setattr(waiting, "_SHORT_S", 0.0)
    first, second, said = pair
    told = threading.Event()
    monkeypatch.setattr(waiting, "_FIRST_WORD_S", 0.1)
    monkeypatch.setattr(waiting, "_LOOK_S", 0.01)
    second = open_store(second.engine.url, create=True, say=lambda words: (said.append(words), told.set()))
    serials = []

    def wait_for_it():
        with second.writing("check", "Ana") as connection:
            serials.append(waiting.newest_serial(connection))

    hand = threading.Thread(target=wait_for_it)
    with first.writing("load", "Ben") as connection:
        hand.start()
        assert told.wait(30)
        add_site(connection, "S")
    hand.join(30)
    second.close()
    assert serials == [1]
    assert said[0].startswith("waiting for another program that writes to the record (")
    assert said[-1].startswith("waited ")
    assert said[-1].endswith(" s for 'load' by Ben (state 1)")


def test_who_waits_for_a_program_that_hangs_gives_up(pair, monkeypatch):
    for name, seconds in (("PATIENCE_S", 0.3), ("_FIRST_WORD_S", 0.1), ("_NEXT_WORD_S", 0.1), ("_LOOK_S", 0.01)):
        monkeypatch.setattr(waiting, name, seconds)
    first, second, said = pair
    with first.writing("load", "Ben") as connection:
        with (
            pytest.raises(StoreError, match="Another program has been writing to the record"),
            second.writing("check", "Ana"),
        ):
            pass
        add_site(connection, "S")
    assert said
    with second.writing("check", "Ana") as connection:
        assert waiting.newest_serial(connection) == 1


def test_who_waits_holds_no_lock_that_the_other_needs(pair, monkeypatch):
    monkeypatch.setattr(waiting, "_FIRST_WORD_S", 0.1)
    monkeypatch.setattr(waiting, "_LOOK_S", 0.01)
    first, second, said = pair

    def wait_for_it():
        with second.writing("check", "Ana"):
            said.append("got it")

    hand = threading.Thread(target=wait_for_it)
    with first.altering() as connection:
        hand.start()
        while not said:
            threading.Event().wait(0.01)
        connection.exec_driver_sql("ALTER TABLE state ADD COLUMN of_a_later_version INTEGER")
    hand.join(30)
    assert said[-1] == "got it"


def test_a_lock_that_is_free_is_taken_without_a_word(pair):
    _, second, said = pair
    with second.writing("load", "Ana") as connection:
        add_site(connection, "S")
    assert said == []


def test_what_was_waited_for_is_listed_up_to_three_acts(pair):
    first, _, _ = pair
    for number in range(5):
        with first.writing("load", f"Hand {number}") as connection:
            add_site(connection, f"S{number}")
    with first.reading() as connection:
        assert waiting._acts_since(connection, 1) == [
            "'load' by Hand 1 (state 2)",
            "'load' by Hand 2 (state 3)",
            "'load' by Hand 3 (state 4)",
            "1 more",
        ]
