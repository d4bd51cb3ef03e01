"""The tables that can be loaded, in the order of dependence: every column with its meaning, range and place."""

from __future__ import annotations

import re
from typing import Final

from gwnet.store.columns import LOWEST_M, NOTES, QUALITIES, SITE, Column, Table
from gwnet.store.pumping_tables import PUMPING_RATES, PUMPING_READINGS, PUMPING_TESTS

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
QUANTITIES: Final[tuple[str, ...]] = ("depth_to_water", "depth_below_ground", "water_elevation")
#: What the limit of a threshold can be: a level, its change within some days, or the gradient to another well.
LIMIT_QUANTITIES: Final[tuple[str, ...]] = (*QUANTITIES, "change", "gradient")
#: Two readings of a steel tape that together are a depth to water.
TAPE_READINGS: Final[tuple[str, str]] = ("tape_at_mark", "tape_at_water")

_WELL = Column("well", "code", "The well, by its code within the site.", required=True, key=True, of="well")
_AQUIFER = Column(
    "aquifer", "code", "The aquifer that the well taps; `upper+lower` where it is open to both.", of="aquifer"
)
_MEASURED = (
    Column("measured_at", "timestamp", "When; without an offset in the site's zone.", key=True, past=True),
    Column("date", "date", "Local day, instead of `measured_at`.", key=True, past=True),
    Column("time", "time", "Local time of day; empty where it is not known.", key=True),
)
_WHEN = (("measured_at",), ("date",))
_VALID = (
    Column("valid_from", "timestamp", "Since when it holds; empty: always.", key=True),
    Column("valid_until", "timestamp", "Until when it holds, not included; empty: still."),
)


def _interval(what: str) -> Column:
    return Column(f"{what.replace(' ', '_')}_interval_days", "number", f"How often a {what} is due.", positive=True)


def _one_sd(of: str, reading: tuple[str, int] | None = None) -> Column:
    """Return the column that states an accuracy as one standard deviation."""
    meaning = f"One standard deviation, instead of `{of}`; multiplied by 1.96."
    return Column(f"{of}_1sd", "length", meaning, lowest=0.0, reading=reading, converts_to=of)


def _of_tape(name: str, unit: str, meaning: str, lowest: float, highest: float) -> Column:
    """Return a column of what lengthens a tape."""
    return Column(name, "number", meaning, lowest=lowest, highest=highest, unit=unit)


TABLES: Final[tuple[Table, ...]] = (
    Table(
        "sites",
        "site_record",
        "A site with its settings.",
        (
            Column("site", "code", "Code of the site; it never changes.", required=True, key=True, of="site"),
            Column("name", "text", "Name of the site."),
            Column("crs", "code", "Projected coordinate system, for example `EPSG:25832`.", required=True),
            Column("vertical_datum", "text", "Vertical datum of all elevations.", required=True),
            Column(
                "length_unit",
                "code",
                "Unit of lengths whose heading names none: m, cm, mm, ft (international) or ftUS (survey foot).",
                required=True,
            ),
            Column("time_zone", "code", "IANA name, or an offset such as `UTC+01:00`.", required=True),
            Column("repeat_tolerance", "length", "How far repeated readings may differ.", lowest=0.0),
            Column(
                "same_day_window_days",
                "number",
                "How far apart levels may be and still belong to one day's set.",
                lowest=0.0,
                highest=366.0,
            ),
            _interval("gauging"),
            _interval("resurvey"),
            _interval("tape check"),
            _interval("sounding"),
            _interval("logger visit"),
            Column("self_review", "flag", "Whether observers may review their own levels.", choices=("yes", "no")),
            Column("check_limits", "limits", "Limits of checks that differ from the project defaults."),
            Column("operator", "text", "Who operates the network."),
            NOTES,
        ),
        identity="site",
        moves_levels=True,
    ),
    Table(
        "aquifers",
        "aquifer_record",
        "An aquifer.",
        (
            Column(
                "aquifer",
                "code",
                "Code of the aquifer; `upper+lower` is a row of its own, for wells open to both.",
                required=True,
                key=True,
                of="aquifer",
            ),
            Column("name", "text", "Name of the aquifer."),
            Column(
                "confinement",
                "choice",
                "How it is confined.",
                choices=("unconfined", "semi-confined", "confined", "perched", "unknown"),
            ),
            NOTES,
        ),
        identity="aquifer",
    ),
    Table(
        "wells",
        "well_record",
        "A well.",
        (
            SITE,
            Column("well", "code", "Code of the well within the site.", required=True, key=True, of="well"),
            Column("easting", "coordinate", "Easting in the site's system."),
            Column("northing", "coordinate", "Northing in the site's system."),
            Column(
                "longitude",
                "coordinate",
                "Longitude in degrees, on the geodetic datum of the site's system.",
                lowest=-180.0,
                highest=360.0,
            ),
            Column(
                "latitude",
                "coordinate",
                "Latitude in degrees, on the geodetic datum of the site's system.",
                lowest=-90.0,
                highest=90.0,
            ),
            Column("coordinate_accuracy", "length", "Accuracy of the coordinates, 95 % half-width.", lowest=0.0),
            _AQUIFER,
            Column("cluster", "code", "Wells of one code are side by side, open at different depths."),
            Column("purpose", "text", "What the well is for."),
            Column("role", "text", "Its part in the network, for example upstream."),
            Column("ground_elevation", "length", "Elevation of the ground at the well, positive upward."),
            Column("ground_accuracy", "length", "Accuracy of the ground's elevation, 95 % half-width.", lowest=0.0),
            Column("total_depth", "length", "Depth as built, below ground.", positive=True),
            Column("drilled_on", "date", "Day of drilling.", past=True),
            Column("decommissioned_on", "date", "Day from which it is no longer a well."),
            Column("replaced_by", "code", "Code of the well that replaced it."),
            Column("access_notes", "text", "How to get to the well."),
            Column(
                "hazards",
                "text",
                "What to beware of. “Contaminated” or “floating product” in it puts the well late in the walk.",
            ),
            NOTES,
        ),
        identity="well",
        one_of=((("easting", "northing"), ("longitude", "latitude")),),
        ways=(("easting", "northing"), ("longitude", "latitude")),
        moves_levels=True,
    ),
    Table(
        "construction",
        "construction_part",
        "A part of a well's construction between two depths.",
        (
            SITE,
            _WELL,
            Column(
                "part",
                "choice",
                "What it is.",
                required=True,
                key=True,
                choices=("casing", "screen", "open hole", "sump", "seal", "filter pack", "backfill"),
            ),
            Column("top_depth", "length", "Its top, below ground.", required=True, key=True),
            Column("bottom_depth", "length", "Its bottom, below ground.", required=True),
            Column("diameter", "number", "Diameter.", positive=True, highest=50_000.0, unit="mm"),
            Column("material", "text", "What it is made of."),
            Column("installed_on", "date", "Day of its installation.", past=True),
            Column("removed_on", "date", "Day of its removal.", past=True),
            NOTES,
        ),
        moves_levels=True,
    ),
    Table(
        "measuring_points",
        "measuring_point",
        "A survey of the point from which depths are read.",
        (
            SITE,
            _WELL,
            Column("access", "code", "Which opening of the well.", key=True, default="main"),
            Column("valid_from", "timestamp", "Since when it holds.", required=True, key=True),
            Column("valid_until", "timestamp", "Until when it holds, not included; empty: still."),
            Column("elevation", "length", "Elevation of the point, positive upward.", required=True),
            Column("height_above_ground", "length", "Height of the point above ground.", lowest=-100.0, highest=100.0),
            Column("vertical_datum", "text", "Vertical datum, where it is not the site's."),
            Column("description", "text", "Where the point is, for example the north rim of the casing."),
            Column("surveyed_on", "date", "Day of the survey.", past=True),
            Column("surveyed_by", "text", "Who surveyed."),
            Column("survey_method", "text", "How it was surveyed."),
            Column("accuracy", "length", "Accuracy of the elevation, 95 % half-width.", lowest=0.0),
            _one_sd("accuracy"),
            Column("change", "choice", "What led to the survey.", choices=("installed", "altered", "corrected")),
            NOTES,
        ),
        moves_levels=True,
    ),
    Table(
        "instruments",
        "instrument_record",
        "An instrument.",
        (
            Column("instrument", "code", "Code of the instrument.", required=True, key=True, of="instrument"),
            Column(
                "kind",
                "choice",
                "What it is.",
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
            Column("serial", "code", "Serial number."),
            Column("length_unit", "code", "Unit of its lengths and tape checks whose heading names none."),
            Column(
                "length_below_sensing_point",
                "length",
                "Length of the probe below the point that senses water.",
                lowest=0.0,
            ),
            Column("resolution", "length", "Smallest difference that it shows.", lowest=0.0),
            Column("accuracy", "length", "Accuracy of its readings, 95 % half-width.", lowest=0.0),
            Column("range", "length", "Largest depth or head that it measures.", lowest=0.0),
            _of_tape("standard_temperature", "degC", "Temperature at which a tape is right.", -60.0, 60.0),
            _of_tape("thermal_expansion", "ppm/degC", "How much a tape lengthens with each degree.", 0.0, 100.0),
            _of_tape("standard_tension", "N", "Pull with which a tape is right.", 0.0, 1000.0),
            _of_tape("axial_stiffness", "kN", "Section of a tape [mm2] times its modulus [GPa].", 1e-3, 1e5),
            _of_tape("mass_per_length", "g/m", "Mass of a metre of a tape, which hangs in the well.", 0.0, 1e4),
            NOTES,
        ),
        identity="instrument",
        moves_levels=True,
    ),
    Table(
        "tape_checks",
        "tape_check",
        "A reading of a tape beside the reference tape.",
        (
            Column("instrument", "code", "The tape.", required=True, key=True, of="instrument"),
            Column("checked_on", "date", "Day of the check.", required=True, key=True, past=True),
            Column("tape_reading", "length", "What the tape reads.", required=True, key=True, lowest=0.0),
            Column("reference_reading", "length", "What the reference tape reads.", required=True, lowest=0.0),
            Column("checked_by", "text", "Who checked."),
            NOTES,
        ),
        moves_levels=True,
    ),
    Table(
        "deployments",
        "deployment",
        "An instrument installed in a well, or a barometer at a site.",
        (
            SITE,
            Column("well", "code", "The well; empty for a barometer.", key=True, of="well"),
            Column("instrument", "code", "The instrument.", required=True, key=True, of="instrument"),
            Column(
                "installed_at",
                "timestamp",
                "When it was installed.",
                required=True,
                key=True,
                past=True,
                former="hung_at",
                stored="valid_from_utc",
            ),
            Column("removed_at", "timestamp", "When it was removed.", past=True, stored="valid_until_utc"),
            Column("hanging_depth", "length", "Depth of the sensor below the measuring point.", lowest=LOWEST_M),
            Column(
                "barometer",
                "code",
                "Barometer that its pressures are compensated with; of a barometer, its stand-in over gaps.",
                of="instrument",
                stored="barometer_id",
            ),
            NOTES,
        ),
        moves_levels=True,
    ),
    Table(
        "rounds",
        "round_record",
        "A gauging round.",
        (
            SITE,
            Column("round", "code", "Code of the round within the site.", required=True, key=True, of="gauging_round"),
            Column("starts_on", "date", "First day.", required=True),
            Column("ends_on", "date", "Last day."),
            Column("purpose", "text", "What the round is for."),
            Column("wells", "list", "Its wells in order; empty for all."),
            Column("crew", "text", "Who measures."),
            NOTES,
        ),
        identity="gauging_round",
    ),
    Table(
        "level_events",
        "level_record",
        "A visit to a well with what was seen and read.",
        (
            SITE,
            _WELL,
            *_MEASURED,
            Column("round", "code", "The gauging round.", of="gauging_round"),
            Column("status", "choice", "State of the well.", choices=STATUSES, default="static"),
            Column(
                "depth_to_water",
                "length",
                "Depth to water below the measuring point.",
                lowest=LOWEST_M,
                reading=("depth_to_water", 1),
            ),
            Column(
                "depth_below_ground",
                "length",
                "Depth to water below ground.",
                lowest=LOWEST_M,
                reading=("depth_below_ground", 1),
            ),
            Column("water_elevation", "length", "Elevation of the water.", reading=("water_elevation", 1)),
            Column(
                "depth_to_water_2",
                "length",
                "Second reading of the depth.",
                lowest=LOWEST_M,
                reading=("depth_to_water", 2),
            ),
            Column(
                "depth_to_water_3",
                "length",
                "Third reading of the depth.",
                lowest=LOWEST_M,
                reading=("depth_to_water", 3),
            ),
            Column(
                "tape_at_mark",
                "length",
                "Steel tape held at the measuring point; with `tape_at_water`, instead of a depth.",
                lowest=0.0,
                reading=("tape_at_mark", 1),
            ),
            Column(
                "tape_at_water",
                "length",
                "The same tape where the water wetted it; the depth to water is the mark less this.",
                lowest=0.0,
                reading=("tape_at_water", 1),
            ),
            Column(
                "depth_to_product",
                "length",
                "Depth to floating product.",
                lowest=LOWEST_M,
                reading=("depth_to_product", 1),
            ),
            Column(
                "product_relative_density", "number", "Density of the product over water's.", lowest=0.3, highest=1.2
            ),
            Column(
                "sounded_depth",
                "length",
                "Tape reading at the bottom of the well.",
                positive=True,
                reading=("sounded_depth", 1),
            ),
            Column(
                "accuracy",
                "length",
                "Accuracy of the reading as the source states it, 95 % half-width; of a water elevation that of the "
                "elevation.",
                lowest=0.0,
                reading=("accuracy", 1),
            ),
            _one_sd("accuracy", reading=("accuracy_1sd", 1)),
            Column(
                "instrument",
                "code",
                "Tape or probe that was read; its checks correct the reading.",
                of="instrument",
            ),
            _of_tape("tape_temperature", "degC", "Mean temperature of the tape when it was read.", -60.0, 60.0),
            _of_tape("tape_tension", "N", "Pull at the lower end of the tape when it was read.", 0.0, 1000.0),
            Column("method", "text", "How it was read."),
            Column("observer", "text", "Who read."),
            Column("access", "code", "Which opening of the well.", key=True, default="main"),
            Column("discharge", "number", "Discharge of a flowing or pumped well.", lowest=0.0, unit="L/s"),
            Column("quality", "choice", "The observer's opinion of the reading.", choices=QUALITIES),
            Column(
                "event", "code", "The source's own number; keeps two events of one time apart.", key=True, default=""
            ),
            Column("chosen_reading", "whole", "Which of the repeated readings counts.", lowest=1, highest=3),
            NOTES,
        ),
        one_of=(_WHEN,),
        ways=(*((name,) for name in QUANTITIES), TAPE_READINGS),
    ),
    Table(
        "thresholds",
        "threshold",
        "A level that calls for action when it is passed.",
        (
            SITE,
            _WELL,
            Column("threshold", "code", "Code of the threshold.", required=True, key=True),
            Column(
                "kind",
                "choice",
                "Lower or upper limit of the elevation, of its change or of the gradient.",
                required=True,
                choices=("lower", "upper"),
            ),
            Column("water_elevation", "length", "The limit as an elevation."),
            Column("depth_to_water", "length", "The limit as a depth below the measuring point.", lowest=LOWEST_M),
            Column("depth_below_ground", "length", "The limit as a depth below ground.", lowest=LOWEST_M),
            Column("change", "length", "The limit as a change of the level within `days`; a rise is positive."),
            Column("days", "whole", "Days within which the level changes, for `change`.", lowest=1, highest=36600),
            Column(
                "gradient",
                "number",
                "The limit as a gradient to `other_well`, without a unit; positive where the water stands higher at "
                "`well`.",
                lowest=-1.0,
                highest=1.0,
            ),
            Column("other_well", "code", "The other well, for `gradient`.", of="well", stored="other_well_id"),
            Column("consecutive", "whole", "How many levels in a row must pass it.", default=1, lowest=1, highest=1000),
            *_VALID,
            Column("basis", "text", "What it rests on, for example a permit."),
            Column("action", "text", "What is to be done."),
        ),
        one_of=(tuple((name,) for name in LIMIT_QUANTITIES),),
        ways=tuple((name,) for name in LIMIT_QUANTITIES),
    ),
    Table(
        "stages",
        "stage_reading",
        "A water elevation read at a surface-water gauge.",
        (
            SITE,
            Column("gauge", "code", "Code of the gauge within the site.", required=True, key=True, of="gauge"),
            *_MEASURED,
            Column("water_elevation", "length", "Elevation of the water, positive upward.", required=True),
            Column("easting", "coordinate", "Easting of the gauge."),
            Column("northing", "coordinate", "Northing of the gauge."),
            Column("aquifer", "code", "The aquifer that the water is in contact with.", of="aquifer"),
            NOTES,
        ),
        identity="gauge",
        one_of=(_WHEN,),
    ),
    Table(
        "context",
        "context_value",
        "A daily value of rainfall, abstraction or the like.",
        (
            SITE,
            Column(
                "series", "code", "Code of the series within the site.", required=True, key=True, of="context_series"
            ),
            Column("quantity", "choice", "What it is.", required=True, choices=("rainfall", "abstraction", "other")),
            Column("unit", "code", "Unit of the value.", required=True),
            Column("date", "date", "Local day.", required=True, key=True, past=True, stored="on_date"),
            Column("value", "number", "The value.", required=True),
            NOTES,
        ),
        identity="context_series",
    ),
    Table(
        "register",
        "register_entry",
        "A comment that was received or a promise that was made.",
        (
            SITE,
            Column("entry", "code", "Code of the entry.", required=True, key=True, stored="code"),
            Column("kind", "choice", "What it is.", required=True, choices=("comment", "promise")),
            Column("raised_on", "date", "Day on which it was received or made.", required=True, past=True),
            Column("raised_by", "text", "Who commented or promised.", required=True),
            Column("text", "text", "What was said.", required=True),
            Column("due_on", "date", "Day by which it is due."),
            Column("state", "choice", "Where it is.", choices=("open", "answered", "closed"), default="open"),
            Column("answer", "text", "What was answered or done; needed once it is answered or closed."),
        ),
    ),
    PUMPING_TESTS,
    PUMPING_RATES,
    PUMPING_READINGS,
)

BY_NAME: Final[dict[str, Table]] = {table.name: table for table in TABLES}

#: Place of each table in the order of dependence.
ORDER: Final[dict[str, int]] = {table.name: place for place, table in enumerate(TABLES)}

#: Headings that files of earlier versions have, with the names of today.
FORMER_HEADINGS: Final[dict[str, str]] = {
    column.former: column.name for table in TABLES for column in table.columns if column.former
}

#: Readings of a level event in the order in which they are stored: column, quantity and ordinal.
READINGS: Final[tuple[tuple[str, str, int], ...]] = tuple(
    sorted(
        ((column.name, *column.reading) for column in BY_NAME["level_events"].columns if column.reading),
        key=lambda reading: reading[1:],
    )
)

#: A column that rejected rows carry and that is passed over when they are loaded again.
PROBLEM_COLUMN: Final[str] = "problem"

#: Columns that gwnet adds to what it prints and writes: where a row came from, and what it works out of a level.
_WORKED_OUT: Final[frozenset[str]] = frozenset(
    (
        "recorded_at_utc recorded_by reason retired_at_utc retired_reason source source_row screen_top_m "
        "screen_bottom_m bound bound_elevation_m measuring_point_elevation_m uncertainty_m review finding open_finding "
        "accuracy_from day usable unusable_reason water_elevation_uncorrected_m product_thickness_m time_known "
        "measured_at_utc local_offset_minutes aquifer level_count geometry bbox"
    ).split()
)
_NUMBER_OF_ROW: Final = re.compile(
    r"(site|aquifer|well|instrument|round|event|record|deployment|measuring_point|pumping_\w+)_id"
)


def is_worked_out(table: Table, name: str) -> bool:
    """Return whether a heading is of a column that gwnet adds to a table; loading passes it over.

    Parameters
    ----------
    table : Table
        The table.
    name : str
        Heading in lower case with underscores.

    Examples
    --------
    >>> is_worked_out(BY_NAME["level_events"], "uncertainty_m"), is_worked_out(BY_NAME["wells"], "aquifer")
    (True, False)
    """
    # A frame in feet has the same columns with another ending.
    metres = f"{name.removesuffix('_ft')}_m" if name.endswith("_ft") else name
    is_known = metres in _WORKED_OUT or name.startswith("last_") or _NUMBER_OF_ROW.fullmatch(name) is not None
    # A column that the table declares is never passed over, whatever its name looks like.
    return is_known and name not in table.names
