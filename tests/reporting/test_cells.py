"""Layout of table cells: constructed texts, properties of line breaking and of widths."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gwnet.reporting.content import Cell, Column, Group, Table
from gwnet.reporting.pdf.cells import _Need, lay_out_table, share_width, wrap_text
from gwnet.reporting.pdf.fonts import BOLD, REGULAR, markup, printable, runs, text_width
from gwnet.reporting.pdf.styles import CELL_SIZE, TEXT_WIDTH


@settings(deadline=None)
@given(st.text(alphabet="abc -/ÄΩ井<&>\u00a0", max_size=120), st.floats(25, 200))
def test_lines_fit_and_nothing_is_lost(text, width):
    lines = wrap_text(text, REGULAR, width)
    assert all(text_width(line, REGULAR, CELL_SIZE) <= width + 0.01 for line in lines)
    assert "".join(printable("".join(lines)).split()) == "".join(printable(text).split())


def test_date_and_time_stay_together():
    assert wrap_text("2026-02-10\u00a009:40 local", REGULAR, 75.0) == ("2026-02-10\u00a009:40", "local")


def test_long_word_breaks_after_a_dash_first():
    assert wrap_text("north-western-piezometer", REGULAR, 60.0)[0] == "north-western-"


@given(
    st.lists(st.tuples(st.floats(5, 300), st.floats(0, 400), st.booleans()), min_size=1, max_size=14),
    st.booleans(),
)
def test_widths_add_up_to_the_page(columns, grow_last):
    needs = [_Need(least, least + more, 0.0, fixed) for least, more, fixed in columns]
    widths = share_width(needs, TEXT_WIDTH, grow_last=grow_last)
    assert sum(widths) == pytest.approx(TEXT_WIDTH)
    if sum(need.least + 6.4 for need in needs) <= TEXT_WIDTH:
        assert all(width >= need.least - 1e-6 for width, need in zip(widths, needs, strict=True))


def test_numbers_are_never_broken():
    columns = (Column("Well"), *(Column(f"Value {number}", "m", 3, "right") for number in range(8)), Column("Remark"))
    rows = ((Cell("MW-1"), *(Cell(1234.567) for _ in range(8)), Cell("a remark of many words " * 6)),)
    layout = lay_out_table(Table("t", "c", columns, rows), TEXT_WIDTH)
    assert all(cell.lines == ("1234.567",) for cell in layout.rows[0].cells[1:9])


def test_a_row_taller_than_a_page_is_cut_into_pieces():
    table = Table("t", "c", (Column("Well"), Column("Remark")), ((Cell("MW-1"), Cell("word " * 4000)),))
    layout = lay_out_table(table, TEXT_WIDTH)
    assert len(layout.rows) > 1
    assert max(row.height for row in layout.rows) < 300
    assert layout.rows[0].cells[0].lines == ("MW-1",)
    assert layout.rows[1].cells[0].lines == ()
    assert sum(len(row.cells[1].lines) for row in layout.rows) > 100


def test_columns_of_text_share_their_width_so_that_a_table_is_short():
    """The middle one of three columns had seven lines beside white."""
    columns = (Column("Condition"), Column("Where"), Column("What follows"))
    long = "N1-L: warning in force since 2018-01-01, levels begin on 2018-02-20; " * 4
    rows = (
        (Cell("Threshold set before a baseline"), Cell(long), Cell("Judge crossings with the levels that are there.")),
        (Cell("Confined space"), Cell("N2-U"), Cell("No entry without a permit, a gas test and an attendant outside.")),
    )
    layout = lay_out_table(Table("t", "c", columns, rows), TEXT_WIDTH)
    assert sum(layout.widths) == pytest.approx(TEXT_WIDTH)
    assert [max(len(cell.lines) for cell in row.cells) for row in layout.rows] == [4, 2]
    assert " ".join(layout.rows[0].cells[1].lines) == long.strip()


def test_a_heading_that_has_just_its_width_is_not_broken():
    """The hours of pumping tests stood as Hour and s."""
    names = ("Test", "Pumped well", "Kind", "Start", "Stop", "Hours", "Rates", "Readings", "Purpose", "Crew")
    words = ("ST-1", "P-1", "constant rate", "2017-11-08 08:00", "2017-11-08 12:00", None, "10; 15; 20; 25", None)
    columns = tuple(Column(name, "", 2, "right") if name in ("Hours", "Readings") else Column(name) for name in names)
    texts = (*words, "Losses of the supply well before the new network starts", "I. Tamsel, R. Övelund")
    row = tuple(Cell(4.0) if text is None else Cell(text) for text in texts)
    layout = lay_out_table(Table("t", "c", columns, (row,)), TEXT_WIDTH)
    assert layout.head.lines[5] == ("Hours",)


def test_group_rows_and_shared_headings_are_laid_out():
    columns = (Column("Well"), Column("a", group="G"), Column("b", group="G"))
    layout = lay_out_table(Table("t", "c", columns, (Group("Upper"), (Cell("x"), Cell("1"), Cell("2")))), TEXT_WIDTH)
    assert layout.head.spans[0][:2] == (1, 3)
    assert layout.rows[0].group == ("Upper",)


def test_markup_is_escaped_and_missing_letters_come_from_the_spare_face():
    assert markup("<b>A</b> & B") == "&lt;b&gt;A&lt;/b&gt; &amp; B"
    assert runs("a✓b", REGULAR) == ((REGULAR, "a"), ("GwnetSpare", "✓"), (REGULAR, "b"))
    assert runs("✓", BOLD) == (("GwnetSpare-Bold", "✓"),)


def test_a_letter_that_no_face_has_is_printed_as_its_code_point():
    assert runs("井", REGULAR) == ((REGULAR, "[U+4E95]"),)


def test_control_characters_cannot_reach_the_page():
    shown = "".join(piece for _, piece in runs("a\x00b\nc\x1b[31m\ud800", REGULAR))
    assert shown == "a\ufffdb c\ufffd[31m\ufffd"
