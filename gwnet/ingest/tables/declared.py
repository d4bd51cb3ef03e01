"""The tables that can be loaded: their columns, keys and order."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

STATUSES: Final[tuple[str, ...]] = (
    "static",
    "dry",
    "flowing",
    "pumping",
    "recovering",
    "nearby pumping",
    "obstructed",
    "affected by surface water",
    "frozen",
    "no access",
    "not found",
    "destroyed",
    "not measured",
)
#: Statuses that must, may or may not have a number.
NUMBER_REQUIRED: Final[frozenset[str]] = frozenset({"static"})
NUMBER_ALLOWED: Final[frozenset[str]] = frozenset(
    {"static", "flowing", "pumping", "recovering", "nearby pumping", "affected by surface water"}
)
QUALITIES: Final[tuple[str, ...]] = ("good", "suspect", "estimate", "poor", "unchecked")
QUANTITIES: Final[tuple[str, ...]] = ("depth_to_water", "depth_below_ground", "water_elevation")

#: Kinds whose cells are numbers.
NUMBER_KINDS: Final[frozenset[str]] = frozenset({"length", "number", "whole", "coordinate"})


@dataclass(frozen=True)
class Column:
    """One column of a table.

    Attributes
    ----------
    name : str
        Heading.
    kind : str
        code, text, length, coordinate, number, whole, date, time, timestamp, choice or list.
    required : bool
        Whether a cell may not be empty.
    choices : tuple of str
        Words allowed for a choice.
    lowest, highest : float
        Range of a number, both included.
    positive : bool
        Whether a number must be larger than zero.
    past : bool
        Whether a date may not lie in the future.
    unit : str
        Fixed unit that a heading may name, for columns that are not lengths.
    former : str
        Heading that the column had before; files with it still load.
    """

    name: str
    kind: str = "text"
    required: bool = False
    choices: tuple[str, ...] = ()
    lowest: float = float("-inf")
    highest: float = float("inf")
    positive: bool = False
    past: bool = False
    unit: str = ""
    former: str = ""


@dataclass(frozen=True)
class Table:
    """One table of the contract.

    Attributes
    ----------
    name : str
        Name.
    columns : tuple of Column
        Its columns.
    one_of : tuple of tuple of tuple of str
        Groups of alternatives; in each, at least one alternative's columns must be among the headings.
    """

    name: str
    columns: tuple[Column, ...]
    one_of: tuple[tuple[tuple[str, ...], ...], ...] = field(default=())

    def column(self, name: str) -> Column:
        """Return a column by its name."""
        return next(column for column in self.columns if column.name == name)

    @property
    def names(self) -> tuple[str, ...]:
        """Return the headings in order."""
        return tuple(column.name for column in self.columns)

    @property
    def required(self) -> tuple[str, ...]:
        """Return the headings that must be there."""
        return tuple(column.name for column in self.columns if column.required)

    def demanded(self, *, keys_only: bool) -> tuple[tuple[str, ...], tuple[tuple[tuple[str, ...], ...], ...]]:
        """Return the headings and the groups of alternatives that must be there: all of them, or those of the key."""
        if not keys_only:
            return self.required, self.one_of
        key = KEY_CELLS[self.name]
        groups = tuple(group for group in self.one_of if group[0][0] in key)
        return tuple(name for name in self.required if name in key), groups


def _site() -> Column:
    return Column("site", "code", required=True)


def _well(*, required: bool = True) -> Column:
    return Column("well", "code", required=required)


_NOTES = Column("notes")

TABLES: Final[tuple[Table, ...]] = (
    Table(
        "sites",
        (
            _site(),
            Column("name"),
            Column("crs", "code", required=True),
            Column("vertical_datum", required=True),
            Column("length_unit", "code", required=True),
            Column("time_zone", "code", required=True),
            Column("repeat_tolerance", "length", lowest=0.0),
            Column("same_day_window_days", "number", lowest=0.0, highest=366.0),
            Column("gauging_interval_days", "number", positive=True),
            Column("resurvey_interval_days", "number", positive=True),
            Column("tape_check_interval_days", "number", positive=True),
            Column("sounding_interval_days", "number", positive=True),
            Column("logger_visit_interval_days", "number", positive=True),
            Column("self_review", "choice", choices=("yes", "no")),
            Column("check_limits", "list"),
            Column("operator"),
            _NOTES,
        ),
    ),
    Table(
        "aquifers",
        (
            Column("aquifer", "code", required=True),
            Column("name"),
            Column("confinement", "choice", choices=("unconfined", "semi-confined", "confined", "perched", "unknown")),
            _NOTES,
        ),
    ),
    Table(
        "wells",
        (
            _site(),
            _well(),
            Column("easting", "coordinate"),
            Column("northing", "coordinate"),
            Column("longitude", "coordinate", lowest=-180.0, highest=360.0),
            Column("latitude", "coordinate", lowest=-90.0, highest=90.0),
            Column("coordinate_accuracy", "length", lowest=0.0),
            Column("aquifer", "code"),
            Column("cluster", "code"),
            Column("purpose"),
            Column("role"),
            Column("ground_elevation", "length"),
            Column("ground_accuracy", "length", lowest=0.0),
            Column("total_depth", "length", positive=True),
            Column("drilled_on", "date", past=True),
            Column("decommissioned_on", "date"),
            Column("replaced_by", "code"),
            Column("access_notes"),
            Column("hazards"),
            _NOTES,
        ),
        one_of=((("easting", "northing"), ("longitude", "latitude")),),
    ),
    Table(
        "construction",
        (
            _site(),
            _well(),
            Column(
                "part",
                "choice",
                required=True,
                choices=("casing", "screen", "open hole", "sump", "seal", "filter pack", "backfill"),
            ),
            Column("top_depth", "length", required=True),
            Column("bottom_depth", "length", required=True),
            Column("diameter", "number", positive=True, unit="mm"),
            Column("material"),
            Column("installed_on", "date", past=True),
            Column("removed_on", "date", past=True),
            _NOTES,
        ),
    ),
    Table(
        "measuring_points",
        (
            _site(),
            _well(),
            Column("access", "code"),
            Column("valid_from", "timestamp", required=True),
            Column("valid_until", "timestamp"),
            Column("elevation", "length", required=True),
            Column("height_above_ground", "length", lowest=-100.0, highest=100.0),
            Column("vertical_datum"),
            Column("description"),
            Column("surveyed_on", "date", past=True),
            Column("surveyed_by"),
            Column("survey_method"),
            Column("accuracy", "length", lowest=0.0),
            Column("change", "choice", choices=("installed", "altered", "corrected")),
            _NOTES,
        ),
    ),
    Table(
        "instruments",
        (
            Column("instrument", "code", required=True),
            Column(
                "kind",
                "choice",
                required=True,
                choices=(
                    "electric tape",
                    "steel tape",
                    "interface probe",
                    "absolute pressure logger",
                    "vented pressure logger",
                    "barometer",
                    "other",
                ),
            ),
            Column("serial", "code"),
            Column("length_unit", "code"),
            Column("length_below_sensing_point", "length", lowest=0.0),
            Column("resolution", "length", lowest=0.0),
            Column("accuracy", "length", lowest=0.0),
            Column("range", "length", lowest=0.0),
            _NOTES,
        ),
    ),
    Table(
        "tape_checks",
        (
            Column("instrument", "code", required=True),
            Column("checked_on", "date", required=True, past=True),
            Column("tape_reading", "length", required=True, lowest=0.0),
            Column("reference_reading", "length", required=True, lowest=0.0),
            Column("checked_by"),
            _NOTES,
        ),
    ),
    Table(
        "deployments",
        (
            _site(),
            _well(required=False),
            Column("instrument", "code", required=True),
            Column("installed_at", "timestamp", required=True, past=True, former="hung_at"),
            Column("removed_at", "timestamp", past=True),
            Column("hanging_depth", "length"),
            Column("barometer", "code"),
            _NOTES,
        ),
    ),
    Table(
        "rounds",
        (
            _site(),
            Column("round", "code", required=True),
            Column("starts_on", "date", required=True),
            Column("ends_on", "date"),
            Column("purpose"),
            Column("wells", "list"),
            Column("crew"),
            _NOTES,
        ),
    ),
    Table(
        "level_events",
        (
            _site(),
            _well(),
            Column("measured_at", "timestamp", past=True),
            Column("date", "date", past=True),
            Column("time", "time"),
            Column("round", "code"),
            Column("status", "choice", choices=STATUSES),
            Column("depth_to_water", "length"),
            Column("depth_below_ground", "length"),
            Column("water_elevation", "length"),
            Column("depth_to_water_2", "length"),
            Column("depth_to_water_3", "length"),
            Column("depth_to_product", "length"),
            Column("product_relative_density", "number", lowest=0.3, highest=1.2),
            Column("sounded_depth", "length", positive=True),
            Column("instrument", "code"),
            Column("method"),
            Column("observer"),
            Column("access", "code"),
            Column("discharge", "number", lowest=0.0, unit="L/s"),
            Column("quality", "choice", choices=QUALITIES),
            Column("event", "code"),
            Column("chosen_reading", "whole", lowest=1, highest=3),
            _NOTES,
        ),
        one_of=((("measured_at",), ("date",)),),
    ),
    Table(
        "thresholds",
        (
            _site(),
            _well(),
            Column("threshold", "code", required=True),
            Column("kind", "choice", required=True, choices=("lower", "upper")),
            Column("water_elevation", "length"),
            Column("depth_to_water", "length"),
            Column("depth_below_ground", "length"),
            Column("consecutive", "whole", lowest=1, highest=1000),
            Column("valid_from", "timestamp"),
            Column("valid_until", "timestamp"),
            Column("basis"),
            Column("action"),
        ),
        one_of=((("water_elevation",), ("depth_to_water",), ("depth_below_ground",)),),
    ),
    Table(
        "stages",
        (
            _site(),
            Column("gauge", "code", required=True),
            Column("measured_at", "timestamp", past=True),
            Column("date", "date", past=True),
            Column("time", "time"),
            Column("water_elevation", "length", required=True),
            Column("easting", "coordinate"),
            Column("northing", "coordinate"),
            Column("aquifer", "code"),
            _NOTES,
        ),
        one_of=((("measured_at",), ("date",)),),
    ),
    Table(
        "context",
        (
            _site(),
            Column("series", "code", required=True),
            Column("quantity", "choice", required=True, choices=("rainfall", "abstraction", "other")),
            Column("unit", "code", required=True),
            Column("date", "date", required=True, past=True),
            Column("value", "number", required=True),
            _NOTES,
        ),
    ),
    Table(
        "register",
        (
            _site(),
            Column("entry", "code", required=True),
            Column("kind", "choice", required=True, choices=("comment", "promise")),
            Column("raised_on", "date", required=True, past=True),
            Column("raised_by", required=True),
            Column("text", required=True),
            Column("due_on", "date"),
            Column("state", "choice", choices=("open", "answered", "closed")),
            Column("answer"),
        ),
    ),
)

BY_NAME: Final[dict[str, Table]] = {table.name: table for table in TABLES}

#: Headings that files of earlier versions have, with the names of today.
FORMER_HEADINGS: Final[dict[str, str]] = {
    column.former: column.name for table in TABLES for column in table.columns if column.former
}

#: Place of each table in the order of dependence.
ORDER: Final[dict[str, int]] = {table.name: place for place, table in enumerate(TABLES)}

#: Cells of each table that tell a person which row is meant.
KEY_CELLS: Final[dict[str, tuple[str, ...]]] = {
    "sites": ("site",),
    "aquifers": ("aquifer",),
    "wells": ("site", "well"),
    "construction": ("site", "well", "part", "top_depth"),
    "measuring_points": ("site", "well", "access", "valid_from"),
    "instruments": ("instrument",),
    "tape_checks": ("instrument", "checked_on", "tape_reading"),
    "deployments": ("site", "well", "instrument", "installed_at"),
    "rounds": ("site", "round"),
    "level_events": ("site", "well", "measured_at", "date", "time", "access", "event"),
    "thresholds": ("site", "well", "threshold", "valid_from"),
    "stages": ("site", "gauge", "measured_at", "date", "time"),
    "context": ("site", "series", "date"),
    "register": ("site", "entry"),
}

#: Columns that mean something by themselves when the file lacks them: a default.
WITH_DEFAULT: Final[frozenset[str]] = frozenset({"status", "consecutive", "state"})

#: Columns that say one thing in several ways, by table: a row fills one way, or one that counts before the others.
WAYS: Final[dict[str, tuple[tuple[str, ...], ...]]] = {
    "wells": (("easting", "northing"), ("longitude", "latitude")),
    "thresholds": tuple((name,) for name in QUANTITIES),
    "level_events": tuple((name,) for name in QUANTITIES),
}

#: A column that rejected rows carry and that is passed over when they are loaded again.
PROBLEM_COLUMN: Final[str] = "problem"
