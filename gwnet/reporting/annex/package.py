"""The annex of a report as a Data Package: what each file and each column holds (datapackage.org, version 2)."""

from __future__ import annotations

import csv
import hashlib
import io
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from gwnet.analysis.levels.column_meanings import COLUMN_MEANINGS
from gwnet.reporting.definition.parse import safe_name
from gwnet.reporting.view import ReportView
from gwnet.store.as_recorded import RECORDED
from gwnet.store.columns import NUMBER_KINDS

_PROFILE: Final = "https://datapackage.org/profiles/2.0/datapackage.json"
_DAYS_OF_CROSSINGS: Final = ("first", "last", "ended_by", "confirmed_on", "day")
_DAYS_OF_ROUNDS: Final = ("starts_on", "ends_on", "checked_on")
_KINDS: Final[Mapping[str, tuple[str, ...]]] = {
    "integer": (
        "consecutive",
        "issue",
        "readings_beyond",
        "readings_judged",
        "logger_days_beyond",
        "logger_days_judged",
        "levels",
        "levels_in_period",
        "in_a_row",
        "days",
    ),
    "boolean": ("used", "usable"),
    "date": (
        "drilled_on",
        "decommissioned_on",
        "installed_on",
        "removed_on",
        "surveyed_on",
        *_DAYS_OF_ROUNDS,
        *_DAYS_OF_CROSSINGS,
    ),
    "datetime": ("valid_from_utc", "valid_until_utc", "recorded_at_utc", "retired_at_utc"),
    "number": ("easting", "northing", "longitude", "latitude", "diameter_mm", "gradient"),
}
_KIND_OF: Final[Mapping[str, str]] = {name: kind for kind, names in _KINDS.items() for name in names} | {
    name: "number" for name, column in RECORDED.items() if column.kind in NUMBER_KINDS
}
_UNITS: Final[Mapping[str, str]] = {"diameter_mm": "mm", "longitude": "degree", "latitude": "degree"}
_TITLES: Final[Mapping[str, str]] = {
    "levels_of_period": "Levels of the period",
    "levels_to_date": "All levels to the end of the period",
    "wells": "Wells",
    "construction": "Construction of the wells",
    "measuring_points": "Measuring points and their history",
    "rounds": "Gauging rounds up to the end of the period",
    "tape_checks": "Checks of the tapes that were used",
    "conditions": "What stands on record of the state of the wells, and what is overdue",
    "pumping_tests": "Pumping tests",
    "pumping_rates": "Rates of pumping tests",
    "pumping_static": "Levels before pumping tests",
    "pumping_drawdowns": "Drawdowns of pumping tests",
    "pumping_fits": "Analyses of pumping tests",
    "findings": "What the checks noticed in the levels on record, with what was decided",
    "trends": "Trends of the wells",
    "seasons": "Newest level of each well in its season, and the records",
    "loggers": "State of the loggers",
    "corrections": "Rows of the record corrected or withdrawn since the last issue, or since the period began",
    "changed_values": "Values of earlier issues that would be printed otherwise now",
    "thresholds": "Thresholds and their states over the period",
    "crossings": "Crossings of thresholds that reach into the period",
    "threshold_levels": "Readings and days of loggers of the period held against thresholds",
}
_OF_WELLS: Final = frozenset(
    "levels_of_period levels_to_date construction measuring_points thresholds crossings threshold_levels".split()
)


@dataclass(frozen=True, slots=True)
class Field:
    """One column of a file.

    Parameters
    ----------
    name : str
        Heading.
    kind : str
        string, number, integer, boolean, date or datetime.
    unit : str
        Unit of its numbers, empty where they have none.
    meaning : str
        What it holds, empty where the name says it all.
    """

    name: str
    kind: str
    unit: str = ""
    meaning: str = ""


def fields_of(content: bytes, unit: str) -> list[Field]:
    """Return the columns of a file of the annex.

    Parameters
    ----------
    content : bytes
        CSV, from `gwnet.reporting.annex.files.annex_files`.
    unit : {"m", "ft"}
        Unit of its lengths.
    """
    headings = next(csv.reader(io.StringIO(content.partition(b"\n")[0].decode("utf-8"), newline="")))
    return [_field(name, unit) for name in headings]


def _field(name: str, unit: str) -> Field:
    ending = f"_{unit}"
    if name.endswith(ending) and name not in _KIND_OF:
        base = name.removesuffix(ending)
        return Field(name, "number", unit, COLUMN_MEANINGS.get(base, ""))
    return Field(name, _KIND_OF.get(name, "string"), _UNITS.get(name, ""), COLUMN_MEANINGS.get(name, ""))


def data_package(view: ReportView, files: Mapping[str, bytes], *, prefix: str, program: str) -> bytes:
    """Return the descriptor of the annex.

    Parameters
    ----------
    view : ReportView
        The report's look at the record.
    files : mapping of str to bytes
        Files of the annex by file name; CSV files become tables, others plain resources.
    prefix : str
        What every file name starts with.
    program : str
        Program and version.

    Returns
    -------
    bytes
        JSON with sorted keys; the same files give the same bytes.
    """
    site, period = view.data.site, view.period
    package = {
        "$schema": _PROFILE,
        "name": safe_name(prefix).lower(),
        "title": f"{view.definition.title}, {site.name or site.code}, {period.title()}: data annex",
        "description": (
            f"Elevations above {site.vertical_datum}, lengths in {view.measures.unit}, coordinates in {site.crs}. "
            "An empty cell is a missing value. Text that a spreadsheet program would run as a formula starts with an "
            "apostrophe. Levels that nobody has approved are provisional."
        ),
        # Of the record and not of the run, which would make the bytes differ.
        "created": view.data.known_on.recorded_at_utc.strftime("%Y-%m-%dT%H:%M:%SZ"),
        "version": period.label,
        "contributors": [{"title": site.operator, "roles": ["publisher"]}] if site.operator else [],
        "sources": [{"title": f"Record of site {site.code} as known on {view.data.known_on.text}"}],
        "generator": program,
        "resources": [_resource(view, name, content, prefix, files) for name, content in files.items()],
    }
    # The standard asks for one entry at least where the property is there (from memory).
    if not package["contributors"]:
        del package["contributors"]
    return (json.dumps(package, indent=2, sort_keys=True, ensure_ascii=False) + "\n").encode("utf-8")


def _resource(view: ReportView, name: str, content: bytes, prefix: str, files: Mapping[str, bytes]) -> dict[str, Any]:
    short = name.removeprefix(f"{prefix}_").rpartition(".")[0]
    resource: dict[str, Any] = {
        "name": _resource_name(short),
        "title": _TITLES.get(short, short.replace("_", " ").capitalize()),
        "path": name,
        "bytes": len(content),
        "hash": f"sha256:{hashlib.sha256(content).hexdigest()}",
    }
    if not name.endswith(".csv"):
        return resource | {"format": "gpkg", "mediatype": "application/geopackage+sqlite3"}
    return resource | {
        "type": "table",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "dialect": {"delimiter": ",", "lineTerminator": "\r\n", "header": True},
        "schema": _schema(view, short, content, f"{prefix}_wells.csv" in files),
    }


def _resource_name(short: str) -> str:
    return short.lower().replace(" ", "-")


def _schema(view: ReportView, short: str, content: bytes, with_wells: bool) -> dict[str, Any]:
    fields = fields_of(content, view.measures.unit)
    schema: dict[str, Any] = {"fields": [_described(field) for field in fields], "missingValues": [""]}
    if short == "wells":
        schema["primaryKey"] = ["site", "well"]
    if short in _OF_WELLS and with_wells:
        reference = {"resource": "wells", "fields": ["site", "well"]}
        schema["foreignKeys"] = [{"fields": ["site", "well"], "reference": reference}]
    return schema


def _described(field: Field) -> dict[str, Any]:
    made: dict[str, Any] = {"name": field.name, "type": field.kind}
    if field.kind == "boolean":
        made |= {"trueValues": ["true"], "falseValues": ["false"]}
    if field.unit:
        made["unit"] = field.unit
    if field.meaning:
        made["description"] = f"{field.meaning}."
    return made
