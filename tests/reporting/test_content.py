"""The content tree: reasons for empty cells, numbering, printing of numbers. Constructed."""

import datetime as dt

import pytest

from gwnet.errors import ReportError
from gwnet.reporting.content import (
    Cell,
    Column,
    Cover,
    FigureSlot,
    Group,
    Report,
    Section,
    Table,
    cell_text,
    note_letters,
    number_text,
    numbered,
)

from .plain import plain_report, plain_table


def report(*sections):
    return Report("T", "S", "P", "PROVISIONAL", dt.datetime(2026, 1, 1, tzinfo=dt.UTC), Cover(()), tuple(sections))


@pytest.mark.parametrize("value", [None, "", "  ", float("nan"), float("inf")])
def test_an_empty_cell_needs_a_reason(value):
    with pytest.raises(ReportError, match="gives no reason"):
        Cell(value)
    assert cell_text(Cell(value, "dry"), Column("x")) == "—"


@pytest.mark.parametrize(
    ("value", "decimals", "signed", "text"),
    [
        (1.005, 2, False, "1.00"),
        (-0.0004, 3, True, "0.000"),
        (0.0, 1, True, "0.0"),
        (-1.25, 2, False, "−1.25"),
        (0.5, 1, True, "+0.5"),
        (7, None, False, "7"),
    ],
)
def test_numbers(value, decimals, signed, text):
    assert number_text(value, decimals, signed=signed) == text


def test_bound_is_printed_with_its_sign():
    assert cell_text(Cell(29.2, "bound", prefix="≤"), Column("h", "m", 3)) == "≤ 29.200"


def test_row_of_wrong_length_is_refused():
    with pytest.raises(ReportError, match="Row 1 has 1 cells; the table has 2 columns"):
        Table("k", "c", (Column("a"), Column("b")), ((Cell("x"),),))


def test_letters_follow_first_appearance_and_go_on_after_z():
    rows = tuple((Cell(None, f"reason {number % 28}"),) for number in range(29))
    letters = list(note_letters(Table("k", "c", (Column("a"),), rows)).values())
    assert (letters[0], letters[25], letters[26], letters[27], len(letters)) == ("a", "z", "aa", "ab", 28)


def test_numbering_runs_through_the_report():
    one = Section("a", "A", (Table("t1", "c", (Column("x"),), ()), FigureSlot("f1", "c", "a", b"")))
    two = Section("b", "B", (FigureSlot("f2", "c", "a", b""), Table("t2", "c", (Column("x"),), ())))
    done = numbered(report(one, two))
    assert [table.number for table in done.tables()] == [1, 2]
    assert [figure.number for figure in done.figures()] == [1, 2]


@pytest.mark.parametrize(
    ("kind", "blocks"),
    [
        ("table", [Table("t", "c", (Column("x"),), ())] * 2),
        ("figure", [FigureSlot("f", "c", "a", b"")] * 2),
    ],
)
def test_repeated_keys_are_refused(kind, blocks):
    with pytest.raises(ReportError, match=f"Two parts of kind {kind} share the key"):
        numbered(report(Section("a", "A", tuple(blocks))))


def test_plain_table_shows_headings_units_groups_and_reasons():
    table = Table(
        "t",
        "Levels.",
        (Column("Well"), Column("last", "m", 2, "right", signed=True, group="Change")),
        (Group("Upper"), (Cell("A"), Cell(0.25)), (Cell("B"), Cell(None, "dry"))),
        ("A note.",),
    )
    assert plain_table(table) == (
        "Table. Levels.\nWell | Change: last [m]\n-- Upper\nA | +0.25\nB | — (a)\nA note.\n(a) dry"
    )


def test_plain_report_of_the_constructed_record_says_what_the_sections_hold(report24):
    text = plain_report(report24)
    assert text.startswith("Quarterly groundwater monitoring report\nHolm wellfield (HOL)\nFirst quarter of 2026")
    for number, title in enumerate((section.title for section in report24.sections), start=1):
        assert f"\n{number} {title}\n" in text
