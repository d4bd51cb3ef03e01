"""Drop-downs, input messages and refusals of a field workbook's cells."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd
from xlsxwriter import Workbook
from xlsxwriter.utility import xl_col_to_name

from gwnet.analysis.fieldwork.field_sheet import FieldSheet
from gwnet.constants import BOTTOM_TOLERANCE_M
from gwnet.store.columns import QUALITIES
from gwnet.store.contract import NUMBER_ALLOWED, STATUSES

#: Longest texts that a spreadsheet program takes in a message.
_TITLE: Final = 32
_PROMPT: Final = 255
_ERROR: Final = 225

#: Statuses that have no depth.
WITHOUT_DEPTH: Final = tuple(status for status in STATUSES if status not in NUMBER_ALLOWED)


@dataclass(frozen=True)
class Lists:
    """Ranges of the words that cells may hold, on a hidden sheet.

    Attributes
    ----------
    statuses, without_depth, qualities, tapes : str
        Ranges; ``tapes`` is empty where no tape is on record.
    """

    statuses: str
    without_depth: str
    qualities: str
    tapes: str

    @classmethod
    def written(cls, book: Workbook, tapes: Sequence[str]) -> Lists:
        """Write the words to a hidden sheet.

        Returns
        -------
        Lists
            Where they stand.
        """
        # A sheet of their own: a list written into the rule takes 255 signs at most, and its words no comma.
        page = book.add_worksheet("(lists)")
        page.hide()
        ranges = []
        for place, words in enumerate((STATUSES, WITHOUT_DEPTH, QUALITIES, tuple(tapes))):
            for row, word in enumerate(words):
                page.write_string(row, place, word)
            letter = xl_col_to_name(place)
            ranges.append(f"'(lists)'!${letter}$1:${letter}${len(words)}" if words else "")
        return cls(*ranges)


Rule = dict[str, Any]


def add_validations(
    page: Any,
    row: int,
    place: Mapping[str, int],
    sheet: FieldSheet,
    lists: Lists,
    *,
    well: Mapping[str, Any] | None = None,
    earlier: pd.DataFrame | None = None,
) -> None:
    """Give the cells of a row their drop-downs, input messages and refusals.

    Parameters
    ----------
    page : xlsxwriter.worksheet.Worksheet
        Sheet.
    row : int
        Row, counted from 0.
    place : mapping of str to int
        Position of each column.
    sheet : gwnet.analysis.fieldwork.field_sheet.FieldSheet
        Round, unit and tolerance.
    lists : Lists
        Ranges of words.
    well : mapping, optional
        Row of the sheet's wells; none for a spare row.
    earlier : pandas.DataFrame, optional
        Earlier depths of that well.
    """
    cells = {name: f"{xl_col_to_name(column)}{row + 1}" for name, column in place.items()}
    rules: dict[str, Rule] = {**_plain_rules(sheet, lists), **_depth_rules(sheet, cells, planned=well is not None)}
    rules["depth_to_water"]["input_message"] = _what_to_expect(sheet, well, earlier)
    if well is not None and well["other_accesses"]:
        accesses = [str(well["access"]), *str(well["other_accesses"]).split(", ")]
        # The list stands in the rule itself, where words are separated by commas; without one the cell is free.
        if not any("," in access for access in accesses) and len(",".join(accesses)) <= _PROMPT:
            rules["access"] = _rule("list", "Access", "Which of the well's measuring points was read from?")
            rules["access"]["source"] = accesses
    if well is not None:
        rules["sounded_depth"]["input_message"] += _known_bottom(sheet, well)
    for name, rule in rules.items():
        page.data_validation(row, place[name], row, place[name], _fitted(rule))


def _rule(kind: str, title: str, prompt: str, *, error: str = "", how: str = "stop", **more: Any) -> Rule:
    return {
        "validate": kind,
        "input_title": title,
        "input_message": prompt,
        "error_title": title,
        "error_message": error or prompt,
        "error_type": how,
        **more,
    }


def _fitted(rule: Rule) -> Rule:
    limits = {"input_title": _TITLE, "error_title": _TITLE, "input_message": _PROMPT, "error_message": _ERROR}
    return {key: _cut(value, limits[key]) if key in limits else value for key, value in rule.items()}


def _cut(text: str, most: int) -> str:
    # xlsxwriter leaves a rule with a longer text out, with a warning only.
    return text if len(text) <= most else text[: most - 1] + "…"


def _plain_rules(sheet: FieldSheet, lists: Lists) -> dict[str, Rule]:
    """Return the rules that are the same in every row."""
    first, last = (dt.datetime.combine(day, dt.time()) for day in (sheet.starts_on, sheet.ends_on))
    span = f"{sheet.starts_on}" if len(sheet.days) == 1 else f"{sheet.starts_on} to {sheet.ends_on}"
    rules = {
        "date": _rule(
            "date",
            "Day of the visit",
            f"The round: {span}. Write YYYY-MM-DD.",
            error=f"This is not a day of the round ({span}). Keep it only if the well was visited then.",
            how="warning",
            criteria="between",
            minimum=first,
            maximum=last,
        ),
        "time": _rule(
            "time",
            "Time of the reading",
            f"Local time ({sheet.time_zone}), hh:mm. Empty if it is not known.",
            error="This is not a time of day. Write hh:mm, 00:00 to 23:59.",
            criteria="between",
            minimum=dt.time(0, 0),
            maximum=dt.time(23, 59, 59),
        ),
        "status": _rule(
            "list",
            "What was met",
            "Static unless something else was met. Without a reading, say why: dry, no access, …",
            error="Choose one of the words of the list.",
            source=f"={lists.statuses}",
        ),
        "quality": _rule(
            "list",
            "Your own judgement",
            "How good is the reading? Say in the notes what makes it less than good.",
            error="Choose one of the words of the list.",
            source=f"={lists.qualities}",
        ),
        "product_relative_density": _rule(
            "decimal",
            "Density of the product",
            "Relative to water, for example 0.83. Empty if it is not known.",
            error="A relative density lies between 0.3 and 1.2.",
            criteria="between",
            minimum=0.3,
            maximum=1.2,
        ),
        "discharge": _rule(
            "decimal",
            "Discharge",
            "Of a flowing or pumped well, in litres a second, if measured.",
            error="A discharge is a number, not below zero.",
            criteria=">=",
            value=0,
        ),
        "notes": _rule("any", "Remarks", "What a stranger must know: weather, damage, pump times, caps found open."),
        "observer": _rule("any", "Observer", "Who read."),
        "method": _rule("any", "Method", "For example electric tape, steel tape, interface probe."),
    }
    # Without tapes on record there is no list to choose from, and any tape is as good as another.
    if lists.tapes:
        rules["instrument"] = _rule(
            "list",
            "Tape or probe",
            "The one that was used here; its own correction is applied.",
            error=(
                "It is not among the tapes in service. Choose one of the list; keep another only if it is on record "
                "(table instruments)."
            ),
            how="warning",
            source=f"={lists.tapes}",
        )
    return rules


def _depth_rules(sheet: FieldSheet, cells: Mapping[str, str], *, planned: bool) -> dict[str, Rule]:
    """Return the rules of depths: they warn, and who has looked again may keep the number."""
    first = cells["depth_to_water"]
    # A tape may reach a little below the recorded bottom, by the accuracy of soundings.
    bottom_slack = BOTTOM_TOLERANCE_M / sheet.metres
    wanted = [f"ISNUMBER({first})", f'OR({first}>=0,{cells["status"]}="flowing")']
    if planned:
        low, high, bottom = cells["low"], cells["high"], cells["bottom"]
        wanted.append(f"OR(COUNT({low})=0,AND({first}>=N({low}),{first}<=N({high})))")
        wanted.append(f"OR(COUNT({bottom})=0,{first}<=N({bottom})+{bottom_slack:.4f})")
    tolerance = sheet.number(sheet.tolerance_m)
    # The dust of binary numbers on top: readings that differ by the tolerance itself agree.
    allowed = f"{sheet.tolerance_m / sheet.metres + 1e-7:.7f}"
    rules = {
        "depth_to_water": _rule(
            "custom",
            "Depth to water",
            "",
            error=(
                "Not a number, outside the expected range, below the bottom, or negative while the well is not "
                "flowing. Check unit, digits and well, and read again. Keep it only if it is right."
            ),
            how="warning",
            value=f"=AND({','.join(wanted)})",
        ),
        "sounded_depth": _rule(
            "decimal",
            "Bottom",
            "Tape reading with the probe on the bottom, from the measuring point.",
            error="The bottom is a number larger than zero.",
            criteria=">",
            value=0,
        ),
        "depth_to_product": _rule(
            "custom",
            "Depth to product",
            "Top of floating product from the measuring point; empty where there is none.",
            error="Product floats: its depth is a number, not larger than the depth to water.",
            how="warning",
            value=f"=AND(ISNUMBER({cells['depth_to_product']}),{cells['depth_to_product']}<={first})",
        ),
    }
    for name, words in (("depth_to_water_2", "second"), ("depth_to_water_3", "third")):
        rules[name] = _rule(
            "custom",
            f"The {words} reading",
            f"Lift the tape, read again. The readings must agree within {tolerance} {sheet.unit}.",
            error=(
                f"It does not agree with the first within {tolerance} {sheet.unit}, or is not a number. "
                "Read again; keep all readings and say in the notes what was met."
            ),
            how="warning",
            value=f"=AND(ISNUMBER({cells[name]}),ABS({cells[name]}-N({first}))<={allowed})",
        )
    return rules


def _what_to_expect(sheet: FieldSheet, well: Mapping[str, Any] | None, earlier: pd.DataFrame | None) -> str:
    """Return the input message of the first depth: the last one, the range expected, and the bottom."""
    parts = [f"In {sheet.unit} below the measuring point."]
    if well is not None:
        number: Callable[[float], str] = sheet.number
        read = None if earlier is None else earlier[earlier["depth_to_water_m"].notna()]
        if read is not None and not read.empty:
            last = read.iloc[0]
            parts.append(f"Last {number(last['depth_to_water_m'])} on {last['measured_on']}.")
        parts.append(sheet.expectation(well))
        if number(well["bottom_m"]):
            parts.append(f"Bottom {number(well['bottom_m'])}.")
    return " ".join(parts)


def _known_bottom(sheet: FieldSheet, well: Mapping[str, Any]) -> str:
    known = sheet.number(well["bottom_m"])
    if not known:
        return ""
    return f" Bottom at {known} {sheet.unit} ({well['bottom_source']}); a tape reads less by the length of its probe."
