"""The structure of a report's PDF, as another program reads it (poppler's pdfinfo, pikepdf). Constructed records."""

import re
import shutil
import subprocess

import pikepdf
import pytest

from gwnet.reporting.content import Group, Heading, PageTitle
from gwnet.reporting.pdf.render import render_pdf


@pytest.fixture(scope="module")
def file(rendered24, tmp_path_factory):
    path = tmp_path_factory.mktemp("tags") / "report.pdf"
    path.write_bytes(rendered24.content)
    return path


@pytest.fixture(scope="module")
def root(file):
    with pikepdf.open(file) as document:
        yield document.Root


def elements(node):
    """Yield the elements of the structure in the order of reading."""
    kids = node.get("/K", [])
    for kid in kids if isinstance(kids, pikepdf.Array) else [kids]:
        if isinstance(kid, pikepdf.Dictionary) and kid.get("/Type") == "/StructElem":
            yield kid
            yield from elements(kid)


def titles(report):
    """Return how many titles a report has: of its results, of pages, and of sections that begin without a page's own."""
    pages = sum(isinstance(block, PageTitle) for section in report.sections for block in section.blocks)
    plain = sum(not isinstance(section.blocks[0], PageTitle) for section in report.sections)
    return 1 + pages + plain


def kinds(root):
    return [str(item.S)[1:] for item in elements(root.StructTreeRoot)]


def test_the_document_says_that_it_is_tagged_and_is_archival_all_the_same(root, rendered24):
    assert bool(root.MarkInfo.Marked)
    assert rendered24.archival
    assert str(root.Lang) == "en-GB"


def test_two_other_programs_find_nothing_wrong(file):
    """The PDF/A-3b rules of the PDF library's validator, and qpdf's check of the file's form."""
    from pikepdf import pdfa

    assert str(pdfa.validate_written(file, "3b").verdict).lower().endswith("pass")
    if shutil.which("qpdf") is None:
        pytest.skip("no qpdf: install Debian's qpdf to run this test")
    told = subprocess.run(["qpdf", "--check", file], capture_output=True, text=True, check=False)
    assert told.returncode == 0, told.stdout + told.stderr


def test_headings_tables_and_figures_are_counted_once_each(root, report24):
    found = kinds(root)
    headings = [block for section in report24.sections for block in section.blocks if isinstance(block, Heading)]
    assert found.count("H1") == 1
    assert found.count("H2") == titles(report24)
    assert found.count("H3") == len(headings)
    assert found.count("Table") == len(report24.tables())
    assert found.count("Figure") == len(report24.figures())
    assert found.count("Caption") == sum(part.captioned for part in (*report24.tables(), *report24.figures()))


def test_every_figure_says_what_it_shows_and_where_it_is(root, report24):
    figures = [item for item in elements(root.StructTreeRoot) if item.S == "/Figure"]
    assert [str(item.Alt) for item in figures] == [figure.alt for figure in report24.figures()]
    for item in figures:
        left, bottom, right, top = (float(edge) for edge in item.A.BBox)
        assert 0 <= left < right <= 600
        assert 0 <= bottom < top <= 850


def test_every_row_of_a_table_stands_once_with_as_many_cells_as_columns(root, report24):
    tables = [item for item in elements(root.StructTreeRoot) if item.S == "/Table"]
    for item, table in zip(tables, report24.tables(), strict=True):
        rows = [kid for kid in item.K if kid.get("/S") == "/TR"]
        heads = 2 if any(column.group for column in table.columns) else 1
        assert len(rows) == heads + len(table.rows)
        for row in rows:
            assert sum(int(cell.get("/A", {}).get("/ColSpan", 1)) for cell in row.K) == len(table.columns)
        for row, content in zip(rows[heads:], table.rows, strict=True):
            first = row.K[0]
            assert first.S == "/TH"
            assert first.A.Scope == "/Row"
            assert len(row.K) == (1 if isinstance(content, Group) else len(table.columns))
        assert {str(cell.A.Scope) for cell in rows[heads - 1].K} == {"/Column"}


def test_every_mark_on_a_page_is_in_the_structure_and_the_other_way_round(file):
    with pikepdf.open(file) as document:
        nums = document.Root.StructTreeRoot.ParentTree.Nums
        held = {int(nums[place]): len(nums[place + 1]) for place in range(0, len(nums), 2)}
        for place, page in enumerate(document.pages):
            stream = page.Contents
            parts = stream if isinstance(stream, pikepdf.Array) else [stream]
            text = b"\n".join(bytes(part.read_bytes()) for part in parts)
            marks = sorted(int(number) for number in re.findall(rb"/MCID (\d+)", text))
            assert marks == list(range(held.get(place, 0)))
            assert text.count(b"BDC") + text.count(b"BMC") == text.count(b"EMC")


def test_another_program_reads_the_same_tree(file, report24):
    if shutil.which("pdfinfo") is None:
        pytest.skip("no pdfinfo: install Debian's poppler-utils to run this test")
    told = subprocess.run(["pdfinfo", "-struct", file], capture_output=True, text=True, check=True)
    assert told.stderr == ""
    lines = [line.split("(")[0].split(":")[0].strip() for line in told.stdout.splitlines()]
    assert lines[0] == "Document"
    assert lines.count("Table") == len(report24.tables())
    assert lines.count("H2") == titles(report24)
    assert lines.count("Figure") == len(report24.figures())


@pytest.mark.slow
def test_the_same_report_has_the_same_tags(report24, rendered24):
    assert render_pdf(report24, creator="gwnet test").content == rendered24.content
