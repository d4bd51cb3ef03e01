"""The formulas with which a field workbook checks a row while it is filled in."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from gwnet.analysis.fieldwork.field_sheet import SOUNDING_CHANGE_M, FieldSheet
from gwnet.constants import BOTTOM_TOLERANCE_M
from gwnet.exchange.field_validation import Lists

#: Binary dust of a difference between two numbers, well below any reading, in the unit of the sheet.
_DUST: Final = 1e-7

#: Cells that show that somebody filled the row in.
_FILLED: Final = tuple(
    "time status depth_to_water depth_to_water_2 depth_to_water_3 sounded_depth depth_to_product quality notes".split()
)


def check_formula(cells: Mapping[str, str], sheet: FieldSheet, lists: Lists) -> str:
    """Return the formula that says what is to be looked at again in a row.

    Parameters
    ----------
    cells : mapping of str to str
        Address of each column's cell in the row.
    sheet : gwnet.analysis.fieldwork.field_sheet.FieldSheet
        Tolerance, unit and decimals.
    lists : gwnet.exchange.field_validation.Lists
        Ranges of words.

    Returns
    -------
    str
        Formula; it gives sentences, or the empty text where the row is sound or empty.
    """
    first, second, third = (cells[name] for name in ("depth_to_water", "depth_to_water_2", "depth_to_water_3"))
    depths = f"{first}:{third}"
    status, sounded, product = cells["status"], cells["sounded_depth"], cells["depth_to_product"]
    low, high, bottom = cells["low"], cells["high"], cells["bottom"]
    # 3.406 - 3.400 is a little more than 0.006 in binary numbers, and readings at the tolerance agree.
    tolerance = f"{sheet.tolerance_m / sheet.metres + _DUST:.7f}"
    beyond = f"{BOTTOM_TOLERANCE_M / sheet.metres:.4f}"
    change = f"{SOUNDING_CHANGE_M / sheet.metres:.4f}"
    spread = f"MAX({depths})-MIN({depths})"
    rules = (
        (f"COUNTA({cells['date']})=0", '"The date is missing. "'),
        (
            f"AND(COUNTA({status})=0,COUNT({depths})=0)",
            '"There is neither a reading nor a status. "',
        ),
        # COUNTA counts texts as well, COUNT numbers alone: a decimal comma makes a text in many settings.
        (f"COUNTA({depths})>COUNT({depths})", '"A depth is not a number. "'),
        (
            f"OR(AND(COUNTA({first})=0,COUNTA({second}:{third})>0),AND(COUNTA({second})=0,COUNTA({third})>0))",
            '"Fill the readings from the left. "',
        ),
        (f"AND(COUNT({first})=1,COUNTA({second})=0)", '"The second reading is missing. "'),
        (
            f"AND(COUNT({depths})>1,{spread}>{tolerance})",
            f'"The readings differ by "&FIXED({spread},{sheet.decimals},TRUE)&" {sheet.unit}: read again. "',
        ),
        (
            f"AND(COUNT({first})=1,COUNT({low})=1,OR(N({first})<N({low}),N({first})>N({high})))",
            '"Outside the range expected for the season: look again. "',
        ),
        (
            f"AND(COUNT({first})=1,COUNT({bottom})=1,N({first})>N({bottom})+{beyond})",
            '"Deeper than the bottom of the well. "',
        ),
        (
            f'AND(COUNT({first})=1,N({first})<0,{status}<>"flowing")',
            '"A depth below zero needs the status flowing. "',
        ),
        (
            f"AND(COUNT({depths})>0,COUNTIF({lists.without_depth},{status})>0)",
            f'"A well that is "&{status}&" has no depth. "',
        ),
        (f'AND({status}="static",COUNT({first})=0)', '"A static level needs its depth. "'),
        (
            f"AND(COUNT({product})=1,OR(COUNT({first})=0,N({product})>N({first})))",
            '"Product floats above the water: check both depths. "',
        ),
        (
            f"AND(COUNT({sounded})=1,COUNT({bottom})=1,ABS(N({sounded})-N({bottom}))>{change})",
            f'"The bottom is "&FIXED(ABS(N({sounded})-N({bottom})),{sheet.decimals},TRUE)&" {sheet.unit} off '
            'the last: sound again. "',
        ),
    )
    pieces = "&".join(f'IF({condition},{words},"")' for condition, words in rules)
    # Rows that nobody has filled in yet say nothing, or the sheet would be full of warnings before the first visit.
    return f'=IF({_nothing(cells)},"",TRIM({pieces}))'


def state_formula(cells: Mapping[str, str]) -> str:
    """Return the formula that says whether a row is empty, complete or to be looked at again.

    Parameters
    ----------
    cells : mapping of str to str
        Address of each column's cell in the row.
    """
    return f'=IF({_nothing(cells)},"",IF({cells["check"]}="","complete","look again"))'


def _nothing(cells: Mapping[str, str]) -> str:
    return f"COUNTA({','.join(cells[name] for name in _FILLED)})=0"
