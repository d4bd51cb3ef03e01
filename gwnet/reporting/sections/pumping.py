"""Pumping tests: what was done, levels before it, drawdowns, analyses with limits, and what they do not determine."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd

from gwnet.reporting.content import Block, Bullets, Cell, Column, Heading, Paragraph, Table
from gwnet.reporting.definition.checks import TEXTS, DefinitionFile, KeyTable, one_of, positive_or
from gwnet.reporting.drawing import Drawing
from gwnet.reporting.registry import register_section
from gwnet.reporting.sections.common import length_cell, length_column, number_cell, number_of, text_cell, text_of
from gwnet.reporting.sections.comparison import picture_slot
from gwnet.reporting.view import ReportView

#: What the reader of a conclusion must know.
FOR_A_PROFESSIONAL: Final = (
    "What a well may be pumped at is not concluded here: interference with other wells and waters, seasonal lows and "
    "licences are for a licensed professional and the local authority."
)

#: Residuals are smaller than the levels of a report.
_RESIDUAL_DECIMALS: Final = 3

_NOT_DETERMINED: Final = "not determined by the data"


@dataclass(frozen=True, slots=True)
class PumpingSettings:
    """Which tests are analysed, and how."""

    tests: tuple[str, ...] = ()
    methods: tuple[str, ...] = ("theis", "recovery")
    step_methods: tuple[str, ...] = ("step", "step-theis")
    background: str = "mean"
    before_hours: float = 24.0
    is_air_removed: bool = True
    superpose: tuple[str, ...] = ()


def _settings(given: Mapping[str, Any], _file: DefinitionFile) -> PumpingSettings:
    values: dict[str, Any] = {key: 24.0 if value is None else value for key, value in given.items()}
    values["is_air_removed"] = values.pop("air_pressure", "removed") == "removed"
    return PumpingSettings(**values)


PUMPING: Final = KeyTable(
    "pumping",
    {
        "tests": TEXTS,
        "methods": TEXTS,
        "step_methods": TEXTS,
        "background": one_of("mean", "line"),
        "before_hours": positive_or("day"),
        "air_pressure": one_of("removed", "kept"),
        "superpose": TEXTS,
    },
    _settings,
)

_FRAMES: Final = {
    "pumping_tests": "test well kind starts_at stops_at hours rates_l_s wells readings purpose crew",
    "pumping_rates": "test well elapsed_min rate_l_s method notes",
    "pumping_static": (
        "test well background n static_elevation_m static_depth_m uncertainty_m slope_m_per_day "
        "slope_uncertainty_m_per_day barometer barometric_efficiency largest_air_correction_m air_not_known"
    ),
    "pumping_drawdowns": (
        "test well distance_m measured_at elapsed_min since_change_min rate_l_s source passed depth_to_water_m "
        "water_elevation_m air_correction_m static_elevation_m drawdown_m uncertainty_m"
    ),
    "pumping_fits": "test wells method parameter value unit lower upper identifiable n rmse_m note superposed",
    "pumping_remarks": "test what message",
}


@register_section(
    "pumping_test",
    "Pumping tests",
    "the pumping tests of the period: record, levels before them, analyses with limits, conclusions",
    place=155,
    tables=(PUMPING,),
    frames=_FRAMES,
    notes=lambda view: ["pumping"] if len(view.data.extras.frame("pumping_tests")) else [],
)
def compose_pumping_tests(view: ReportView, _drawing: Drawing) -> Sequence[Block]:
    """Return the section on pumping tests."""
    extras = view.data.extras
    tests = extras.frame("pumping_tests")
    if tests.empty:
        return [Paragraph("No pumping test is on record in this period.")]
    blocks: list[Block] = [_record(tests)]
    for code in tests["test"]:
        blocks += _of_test(view, str(code))
    return [*blocks, Paragraph(FOR_A_PROFESSIONAL)]


def _record(tests: pd.DataFrame) -> Table:
    columns = (
        Column("Test"),
        Column("Pumped well"),
        Column("Kind"),
        Column("Start"),
        Column("Stop"),
        Column("Hours", "", 2, "right"),
        Column("Rates", "L/s"),
        Column("Readings", "", 0, "right"),
        Column("Purpose"),
        Column("Crew"),
    )
    rows = tuple(
        (
            Cell(str(row["test"])),
            Cell(str(row["well"])),
            Cell(str(row["kind"])),
            Cell(_minute(row["starts_at"])),
            text_cell(_minute(row["stops_at"])),
            number_cell(number_of(row["hours"]), "end not on record"),
            text_cell(row["rates_l_s"]),
            Cell(int(row["readings"])),
            text_cell(row["purpose"]),
            text_cell(row["crew"]),
        )
        for row in tests.to_dict("records")
    )
    return Table("pumping-tests", "Pumping tests of the period; times are local.", columns, rows)


def _minute(text: Any) -> str:
    return text_of(text)[:16].replace("T", " ")


def _of_test(view: ReportView, code: str) -> list[Block]:
    extras = view.data.extras
    parts = {name: extras.frame(name) for name in _FRAMES}
    own = {name: table[table["test"] == code] for name, table in parts.items()}
    blocks: list[Block] = [Heading(f"Test {code}")]
    pictures = [
        picture_slot(picture) for picture in extras.pictures.get("pumping_test", ()) if code in picture.bookmarks
    ]
    # figures are half a page high: tables between them fill the other halves
    blocks += pictures[:1]
    if len(own["pumping_rates"]):
        blocks.append(_rates(code, own["pumping_rates"]))
    if len(own["pumping_static"]):
        blocks.append(_static(view, code, own["pumping_static"], own["pumping_drawdowns"]))
    blocks += pictures[1:]
    if len(own["pumping_fits"]):
        blocks.append(_fits(view, code, own["pumping_fits"]))
        blocks += [Paragraph(text) for text in _conclusions(own["pumping_fits"])]
    remarks = tuple(view.measures.words(str(text)) for text in own["pumping_remarks"]["message"])
    if remarks:
        blocks.append(Bullets(remarks))
    return blocks


def _rates(code: str, rates: pd.DataFrame) -> Table:
    columns = (
        Column("Well"),
        Column("From", "min", 1, "right"),
        Column("Rate", "L/s", 2, "right"),
        Column("Measured by"),
    )
    rows = tuple(
        (
            Cell(str(row["well"])),
            Cell(number_of(row["elapsed_min"])),
            Cell(number_of(row["rate_l_s"])),
            text_cell(row["method"]),
        )
        for row in rates.to_dict("records")
    )
    return Table(
        f"pumping-rates-{code}", f"Rates of test {code}, from minutes since its start.", columns, rows, identified_by=2
    )


def _static(view: ReportView, code: str, static: pd.DataFrame, drawdowns: pd.DataFrame) -> Table:
    measures = view.measures
    columns = (
        Column("Well"),
        Column("Distance", measures.unit, 1, "right"),
        Column("Levels before", "", 0, "right"),
        length_column("elevation", measures, group="Level at the start"),
        length_column("depth", measures, group="Level at the start"),
        Column("Trend, positive up", f"{measures.unit}/d", 3, "right", signed=True),
        length_column("Largest drawdown", measures),
        length_column("±", measures),
    )
    rows = []
    for row in static.to_dict("records"):
        own = drawdowns[drawdowns["well"] == row["well"]]
        # Of a column without numbers pandas gives no place of the largest, but a warning or an error.
        largest = own.loc[own["drawdown_m"].idxmax()] if own["drawdown_m"].notna().any() else None
        slope = measures.length(number_of(row["slope_m_per_day"]))
        rows.append(
            (
                Cell(str(row["well"])),
                Cell(measures.length(number_of(own["distance_m"].iloc[0])) if len(own) else None),
                Cell(int(row["n"])),
                length_cell(row["static_elevation_m"], measures, "no measuring point was in force"),
                length_cell(row["static_depth_m"], measures, "see the elevation"),
                Cell(slope, "" if math.isfinite(slope) else "a mean was taken"),
                length_cell(None if largest is None else largest["drawdown_m"], measures, "no drawdown"),
                length_cell(None if largest is None else largest["uncertainty_m"], measures, "not stated"),
            )
        )
    note = (
        "Drawdown is the fall below the level that the levels before the start give, by "
        + ("a line through them." if str(static["background"].iloc[0]) == "line" else "their mean.")
        + " ±: half-width at 95 % of reading and level before the start together."
    )
    caption = f"Levels before test {code} and drawdowns; all readings are in the data annex."
    return Table(f"pumping-static-{code}", caption, columns, tuple(rows), (note,), identified_by=1)


def _fits(view: ReportView, code: str, fits: pd.DataFrame) -> Table:
    columns = (
        Column("Method"),
        Column("Wells"),
        Column("Parameter"),
        Column("Estimate", align="right"),
        Column("Unit"),
        Column("lower", group="Limits at 95 %", align="right"),
        Column("upper", group="Limits at 95 %", align="right"),
        Column("Readings", "", 0, "right"),
        Column("Residuals", view.measures.unit, _RESIDUAL_DECIMALS, "right"),
    )
    rows = tuple(
        (
            Cell(str(row["method"])),
            Cell(str(row["wells"]).replace(",", ", ")),
            Cell(str(row["parameter"]).replace("_", " ")),
            text_cell(_figures(row["value"]), _NOT_DETERMINED),
            text_cell(row["unit"], "a pure number"),
            text_cell(_figures(row["lower"]), _NOT_DETERMINED),
            text_cell(_figures(row["upper"]), _NOT_DETERMINED),
            Cell(int(row["n"])),
            length_cell(row["rmse_m"], view.measures, "not worked out"),
        )
        for row in fits.to_dict("records")
    )
    note = "Residuals: root mean square of the drawdowns less those of the method."
    return Table(f"pumping-fits-{code}", f"Analyses of test {code}.", columns, rows, (note,), identified_by=3)


def _figures(value: Any) -> str:
    """Return a number to four figures; empty where the data set none."""
    number = number_of(value)
    return f"{number:.4g}" if math.isfinite(number) else ""


def _conclusions(fits: pd.DataFrame) -> list[str]:
    """Return what each analysis says, parameter by parameter with its limits, and its note."""
    said = []
    for (method, wells), rows in fits.groupby(["method", "wells"], sort=False):
        parts = [_parameter(row) for row in rows.to_dict("records")]
        note = _beyond_parameters(text_of(rows["note"].iloc[0]))
        said.append(f"{str(method).capitalize()}, {str(wells).replace(',', ', ')}: {'; '.join(parts)}. {note}".strip())
    return said


def _beyond_parameters(note: str) -> str:
    """Return a note without the sentence on parameters that are not determined: each of them says so itself."""
    return re.sub(r"The data do not determine .*?\.(?= [A-Z]|$) ?", "", note)


def _parameter(row: dict[str, Any]) -> str:
    name = str(row["parameter"]).replace("_", " ")
    unit = f" {row['unit']}" if text_of(row["unit"]) else ""
    lower, upper = _figures(row["lower"]), _figures(row["upper"])
    if not bool(row["identifiable"]):
        # The parameters are positive, so a lower limit of zero or less says nothing.
        known = f", only that it is above {lower}{unit}" if lower and float(lower) > 0 else ""
        return f"the data do not determine the {name}{known}"
    limits = f" (limits at 95 %: {lower} to {upper})" if lower and upper else ""
    return f"{name} {_figures(row['value'])}{unit}{limits}"
