"""Every frame is fetched once: no SQL statement runs twice with the same parameters within one question."""

from collections import Counter
from contextlib import contextmanager

import pytest
from sqlalchemy import event
from sqlalchemy.engine import Engine

from gwnet.analysis.checks.quality import findings
from gwnet.analysis.levels.table import levels
from gwnet.analysis.review.decisions import join_decisions
from gwnet.analysis.review.queue import review_queue
from gwnet.network import Network
from gwnet.records import Selection
from gwnet.store.snapshot import Snapshot


@contextmanager
def counted():
    """Count the statements that run, by their text and parameters."""
    statements = Counter()

    def count(connection, cursor, statement, parameters, context, executemany):
        if not statement.startswith(("BEGIN", "PRAGMA")):
            statements[statement, repr(parameters)] += 1

    event.listen(Engine, "before_cursor_execute", count)
    try:
        yield statements
    finally:
        event.remove(Engine, "before_cursor_execute", count)


def repeated(statements):
    return [statement for (statement, _), count in statements.items() if count > 1]


@pytest.fixture(scope="module")
def network(demo_record):
    with Network(demo_record) as net:
        yield net


QUESTIONS = {
    "levels": lambda net: net.levels(),
    "levels --loggers daily": lambda net: net.levels(loggers="daily"),
    "trend --well": lambda net: net.trends(wells=["W-04"]),
    "map": lambda net: net.map("upper", "2026-02-17"),
    "map --change-from": lambda net: net.map.change("upper", "2026-02-17", since="2025-02-17"),
    "hydrograph": lambda net: net.hydrograph(["W-04"]),
    "check": lambda net: net.checks(),
    "check --round": lambda net: net.checks(round="2024-Q1"),
    "review": lambda net: net.review.queue(),
    "review --well": lambda net: net.review.queue(wells=["W-04"]),
}


@pytest.mark.slow
@pytest.mark.parametrize("ask", QUESTIONS.values(), ids=QUESTIONS.keys())
def test_a_question_fetches_each_frame_once(network, ask):
    with counted() as statements:
        ask(network)
    assert sum(statements.values()) > 2
    assert repeated(statements) == []


def test_questions_of_one_snapshot_share_its_frames(network):
    site = network.sites()["site"][0]
    with network.store.reading() as connection:
        record = Snapshot(connection, site=site)
        with counted() as statements:
            levels(record)
            join_decisions(record, findings(record))
            review_queue(record, Selection())
        assert repeated(statements) == []
        with counted() as again:
            levels(record)
            join_decisions(record, findings(record))
            review_queue(record, Selection())
    assert not again
