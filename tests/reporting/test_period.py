"""Periods: constructed, against the calendar."""

import datetime as dt

import pytest

from gwnet.errors import ReportError
from gwnet.reporting.definition.period import date_text, parse_period


@pytest.mark.parametrize(
    ("text", "first", "last", "title"),
    [
        ("2026-Q1", "2026-01-01", "2026-03-31", "First quarter of 2026 (1 January 2026 to 31 March 2026)"),
        ("2024-q4", "2024-10-01", "2024-12-31", "Fourth quarter of 2024 (1 October 2024 to 31 December 2024)"),
        ("2026", "2026-01-01", "2026-12-31", "Year 2026 (1 January 2026 to 31 December 2026)"),
        ("2024-02", "2024-02-01", "2024-02-29", "February 2024"),
        ("2026-12", "2026-12-01", "2026-12-31", "December 2026"),
        ("2026-01-15..2026-04-14", "2026-01-15", "2026-04-14", "15 January 2026 to 14 April 2026"),
        (" 2026-Q1 ", "2026-01-01", "2026-03-31", "First quarter of 2026 (1 January 2026 to 31 March 2026)"),
        ("9999-Q4", "9999-10-01", "9999-12-31", "Fourth quarter of 9999 (1 October 9999 to 31 December 9999)"),
    ],
)
def test_reads_every_form(text, first, last, title):
    period = parse_period(text)
    assert (period.first.isoformat(), period.last.isoformat(), period.title()) == (first, last, title)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "2026-Q5",
        "2026-13",
        "26-Q1",
        "2026-02-30..2026-03-01",
        "2026-04-01..2026-03-01",
        "../../etc",
        "2026-Q1/../x",
        "2026 Q1",
        "0000",
        "２０２６",
    ],
)
def test_refuses_what_is_no_period(text):
    with pytest.raises(ReportError, match=r"cannot be used.*Write a quarter"):
        parse_period(text)


def test_label_is_safe_in_a_file_name():
    assert parse_period("2026-01-15 .. 2026-04-14").label == "2026-01-15..2026-04-14"


def test_year_before():
    assert parse_period("2024-02").a_year_before().last == dt.date(2023, 2, 28)
    assert parse_period("2025-02").a_year_before().last == dt.date(2024, 2, 29)
    assert parse_period("2024-02-29..2024-03-01").a_year_before().first == dt.date(2023, 2, 28)
    before = parse_period("2026-Q1").a_year_before()
    assert (before.first, before.last) == (dt.date(2025, 1, 1), dt.date(2025, 3, 31))


def test_days_at_the_edges_are_inside():
    period = parse_period("2026-Q1")
    assert period.contains(dt.date(2026, 1, 1))
    assert period.contains(dt.date(2026, 3, 31))
    assert not period.contains(dt.date(2026, 4, 1))
    assert period.overlaps(dt.date(2025, 12, 1), dt.date(2026, 1, 1))
    assert not period.overlaps(dt.date(2025, 12, 1), dt.date(2025, 12, 31))


def test_date_in_words():
    assert date_text(dt.date(2026, 3, 1)) == "1 March 2026"
