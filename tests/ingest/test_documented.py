"""The documentation of tables and rejections follows from their declarations."""

import re

import pytest

from gwnet.ingest.tables.documented import describe_rejections, describe_tables
from gwnet.ingest.tables.problems import PROBLEMS
from gwnet.store.columns import KINDS
from gwnet.store.contract import TABLES

from ..helpers import ROOT


def sections():
    parts = re.split(r"^### (\w+)$", describe_tables(), flags=re.MULTILINE)[1:]
    return dict(zip(parts[::2], parts[1::2], strict=True))


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)
def test_every_column_has_one_line_with_its_meaning(table):
    lines = [line.split("|") for line in sections()[table.name].splitlines() if line.startswith("|")][2:]
    assert [cells[1].strip().strip("*") for cells in lines] == list(table.names)
    assert [cells[1].strip().startswith("**") for cells in lines] == [column.required for column in table.columns]
    assert {len(cells) for cells in lines} == {6}
    for cells, column in zip(lines, table.columns, strict=True):
        assert cells[3].strip().startswith(KINDS[column.kind])
        assert column.meaning[:1].isupper()
        assert column.meaning.endswith(".")


def test_ranges_defaults_and_former_headings_are_stated():
    text = describe_tables()
    assert (
        "| consecutive |  | whole number | How many levels in a row must pass it. From 1 to 1000. Default: 1. |" in text
    )
    assert "former heading `hung_at`" in text
    assert "Needs `easting` and `northing` or `longitude` and `latitude`." in text


def test_every_problem_has_its_line():
    lines = describe_rejections().splitlines()[2:]
    assert [line.split("`")[1] for line in lines] == sorted(PROBLEMS)


def test_every_problem_that_the_code_reports_is_declared():
    reported = set()
    for folder in ("tables", "readers"):
        for file in (ROOT / "gwnet" / "ingest" / folder).glob("*.py"):
            source = file.read_text(encoding="utf-8")
            reported |= set(re.findall(r'reject\([^"]*?(?:"\w+", )?"([a-z0-9]+(?:-[a-z0-9]+)+)"', source))
    assert len(reported) > 25
    assert reported - set(PROBLEMS) == set()
