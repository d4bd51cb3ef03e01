"""Formulas and instructions of the field workbook, as text; what they give is worked out in `test_field_workbook`."""

import io
import re
from types import SimpleNamespace

import pytest
from openpyxl import load_workbook
from xlsxwriter import Workbook

from gwnet.analysis.fieldwork.field_sheet import CAUTIONS
from gwnet.exchange.field_checks import check_formula, state_formula
from gwnet.exchange.field_instructions import write_instructions
from gwnet.exchange.field_validation import Lists

from .test_field_workbook import sheet  # noqa: F401

LISTS = Lists("lists!$A$1:$A$9", "lists!$B$1:$B$4", "lists!$C$1:$C$5", "")
NAMES = (
    "date time status depth_to_water depth_to_water_2 depth_to_water_3 sounded_depth depth_to_product quality notes low "
    "high bottom check"
).split()
CELLS = {name: f"${chr(65 + place)}7" for place, name in enumerate(NAMES)}


def in_unit(metres, unit, decimals):
    return SimpleNamespace(tolerance_m=0.006, metres=metres, unit=unit, decimals=decimals)


@pytest.mark.parametrize(("metres", "unit", "tolerance"), [(1.0, "m", "0.0060001"), (0.3048, "ft", "0.0196851")])
def test_the_tolerance_of_repeats_stands_in_the_unit_of_the_sheet(metres, unit, tolerance):
    formula = check_formula(CELLS, in_unit(metres, unit, 3), LISTS)
    assert f">{tolerance})" in formula
    assert f" {unit}: read again. " in formula


def test_formulas_are_balanced_and_speak_of_their_own_row_alone():
    for formula in (check_formula(CELLS, in_unit(1.0, "m", 3), LISTS), state_formula(CELLS)):
        outside = re.sub(r'"[^"]*"', "", formula)
        assert outside.count("(") == outside.count(")") > 0
        assert set(re.findall(r"(?<![!$:A-Z])\$[A-Z]\d+", outside)) <= set(CELLS.values())


def test_a_row_in_which_nothing_is_filled_in_is_neither_complete_nor_to_be_looked_at():
    filled = "COUNTA(" + ",".join(CELLS[name] for name in (*NAMES[1:4], *NAMES[4:10])) + ")=0"
    assert state_formula(CELLS).startswith(f'=IF({filled},""')
    assert check_formula(CELLS, in_unit(1.0, "m", 3), LISTS).startswith(f'=IF({filled},""')


def test_instructions_name_tolerance_cautions_and_how_many_rows_are_complete(sheet):  # noqa: F811
    content = io.BytesIO()
    with Workbook(content, {"in_memory": True}) as book:
        write_instructions(book, book.add_worksheet("how"), sheet, states="rows!$A$2:$A$9")
    page = load_workbook(content)["how"]
    texts = [cell.value for row in page.iter_rows() for cell in row if cell.value is not None]
    assert f"Field sheet: {sheet.site_name or sheet.site}, round {sheet.round}" in texts
    assert any(f"within {sheet.number(sheet.tolerance_m)} {sheet.unit}" in str(text) for text in texts)
    assert set(CAUTIONS) <= set(texts)
    assert f'=COUNTIF(rows!$A$2:$A$9,"complete")&" of {len(sheet.wells)}"' in texts
    assert page.protection.sheet
