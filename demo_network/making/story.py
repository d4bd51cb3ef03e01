"""The invented story: wells, surveys, instruments, rounds, and what went wrong and when.

No place, person, body or product in it exists. The coordinates lie in open sea, so that nobody takes the valley for a
real one. Depths are below ground, heights above it, in metres.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

from making.physics import grid, ground

SITE = "ORLEVA"
DATUM = "Orleva site datum 2018 (local)"
SURVEYOR = "K. Dremmant"
CREW_A = "I. Tamsel"
CREW_B = (("2020-01-01", "R. Övelund"), ("2030-01-01", "C. Lindqvar"))
FIRST_SURVEY = "2018-01-15"


@dataclass(frozen=True)
class WellStory:
    """One well: where it stands, how it is built, how high its measuring point stood at first."""

    code: str
    aquifer: str
    s: float
    d: float
    height: float
    screen_top: float
    screen_bottom: float
    total_depth: float
    drilled_on: str
    role: str
    cluster: str = ""
    purpose: str = "observation"
    diameter_mm: int = 115
    material: str = "PVC"
    decommissioned_on: str = ""
    replaced_by: str = ""
    notes: str = ""

    @property
    def ground(self) -> float:
        """Elevation of the ground [m]."""
        return ground(self.s, self.d, self.cluster or self.code)

    @property
    def place(self) -> tuple[float, float]:
        """Easting and northing [m]."""
        return grid(self.s, self.d)


WELLS = (
    WellStory("W-01", "upper", 180, 1130, 0.82, 7.0, 14.0, 14.5, "2017-09-12", "upgradient"),
    WellStory("W-02", "upper", 720, 1190, 0.76, 7.0, 14.0, 14.5, "2017-09-13", "upgradient"),
    WellStory(
        "W-03",
        "upper",
        1290,
        1050,
        0.90,
        3.46,
        6.46,
        6.60,
        "2009-05-20",
        "upgradient",
        notes="Shallow well of an earlier programme; falls dry in dry years",
    ),
    WellStory("W-04", "upper", 90, 760, 0.95, 5.0, 12.0, 12.5, "2017-09-18", "side"),
    WellStory("W-05", "upper", 520, 800, 0.70, 9.0, 15.0, 16.0, "2009-05-26", "side", notes="Fine sand enters"),
    WellStory(
        "W-06",
        "upper",
        1010,
        760,
        0.88,
        4.0,
        11.0,
        11.5,
        "2009-06-02",
        "side",
        decommissioned_on="2022-03-22",
        replaced_by="W-06R",
        notes="Casing broken by a mower in January 2022; sealed with grout",
    ),
    WellStory(
        "W-06R", "upper", 1016, 754, 0.64, 4.0, 11.0, 11.5, "2022-04-27", "side", notes="Stands 8 m from former W-06"
    ),
    WellStory("W-07", "upper", 728, 551, 0.55, 3.0, 12.0, 12.5, "2017-09-20", "cone of depression"),
    WellStory("W-08", "upper", 898, 508, 0.60, 3.0, 12.0, 12.5, "2017-09-21", "cone of depression"),
    WellStory("W-09", "upper", 330, 400, 0.66, 1.0, 8.0, 8.5, "2017-09-25", "downgradient", notes="Former fuel store"),
    WellStory("W-10", "upper", 1240, 400, 1.02, 2.0, 9.0, 9.5, "2017-09-26", "downgradient"),
    WellStory("W-11", "upper", 240, 110, 0.91, 1.0, 7.0, 7.5, "2017-09-27", "near the river"),
    WellStory("W-12", "upper", 1130, 70, 1.10, 1.0, 7.0, 7.5, "2017-09-28", "near the river"),
    WellStory("W-13", "upper", 715, 437, 0.72, 3.0, 12.0, 12.5, "2017-09-22", "cone of depression"),
    WellStory("W-14", "upper", 1330, 700, 0.58, 4.0, 11.0, 11.5, "2017-10-02", "side"),
    WellStory("N1-U", "upper", 430, 1010, 0.80, 7.0, 12.0, 12.5, "2017-10-05", "upgradient", cluster="N1"),
    WellStory("N1-L", "lower", 433, 1012, 0.74, 26.0, 30.0, 31.0, "2017-10-06", "upgradient", cluster="N1"),
    WellStory("N2-U", "upper", 1000, 560, -0.12, 3.5, 8.5, 9.0, "2017-10-09", "side", cluster="N2"),
    WellStory("N2-L", "lower", 1003, 562, 0.62, 25.0, 29.0, 30.0, "2017-10-10", "side", cluster="N2"),
    WellStory("N3-U", "upper", 700, 85, 0.85, 1.0, 6.0, 6.5, "2017-10-12", "near the river", cluster="N3"),
    WellStory(
        "N3-L",
        "lower",
        703,
        87,
        0.12,
        20.0,
        24.0,
        25.0,
        "2017-10-13",
        "near the river",
        cluster="N3",
        notes="Overflows for most of the year: open the cap slowly; level read in a clear standpipe",
    ),
    WellStory("L-01", "lower", 1180, 960, 0.77, 27.0, 33.0, 34.0, "2017-10-17", "upgradient"),
    WellStory("L-02", "lower", 120, 560, 0.69, 26.0, 32.0, 33.0, "2017-10-19", "side"),
    WellStory("L-03", "lower", 820, 300, 0.84, 23.0, 29.0, 30.0, "2017-10-23", "downgradient"),
    WellStory("L-04", "lower", 1270, 180, 0.93, 21.0, 27.0, 28.0, "2017-10-24", "downgradient"),
    WellStory("L-05", "lower", 700, 830, 0.71, 27.0, 33.0, 34.0, "2017-10-26", "upgradient"),
    WellStory(
        "P-1",
        "upper",
        760,
        520,
        0.45,
        9.0,
        17.0,
        18.0,
        "2008-03-11",
        "supply",
        purpose="supply",
        diameter_mm=400,
        material="steel",
        notes="Read in the dip tube only; never lower a tape beside the running pump",
    ),
)
BY_CODE = {well.code: well for well in WELLS}
DIP_TUBE_HEIGHT = 0.62

GAUGES = {"G-1": (420.0, 0.0), "G-2": (1180.0, 0.0)}


@dataclass(frozen=True)
class Point:
    """A measuring point: true and recorded elevation, height above ground, and when it was in force."""

    well: str
    access: str
    valid_from: str
    valid_until: str
    elevation: float
    recorded: float
    height: float
    description: str
    surveyed_on: str
    change: str
    notes: str = ""


CUT_ON, CUT_M = "2020-06-10", -0.214
RAISED_ON, RAISED_M = "2023-09-05", 0.385
WRONG_SURVEY_WELL, WRONG_SURVEY_M = "L-02", 0.300
CORRECTED_ON = "2024-06-18"
CORRECTION_REASON = (
    "Re-levelling of 18 June 2024: the elevation of 2018 was booked 0.300 m too high; height above ground and "
    "ground elevation were right."
)


def _points() -> list[Point]:
    made = []
    for well in WELLS:
        start = max(FIRST_SURVEY, well.drilled_on)
        top = round(well.ground + well.height, 3)
        wrong = WRONG_SURVEY_M if well.code == WRONG_SURVEY_WELL else 0.0
        where = "top of pipe in vault, notch" if well.height < 0 else "top of pipe, north side, notch"
        change = {"W-04": (CUT_ON, CUT_M), "N2-U": (RAISED_ON, RAISED_M)}.get(well.code)
        until = change[0] if change else well.decommissioned_on
        made.append(
            Point(well.code, "main", start, until, top, round(top + wrong, 3), well.height, where, start, "installed")
        )
        if change:
            day, step = change
            new = round(top + step, 3)
            words = "Casing cut back after frost damage" if step < 0 else "Vault replaced by a raised protective pipe"
            made.append(
                Point(
                    well.code,
                    "main",
                    day,
                    "",
                    new,
                    new,
                    round(well.height + step, 3),
                    "top of pipe, north side, notch",
                    day,
                    "altered",
                    f"{words}: {abs(step):.3f} m",
                )
            )
    supply = BY_CODE["P-1"]
    tube = round(supply.ground + DIP_TUBE_HEIGHT, 3)
    made.append(
        Point(
            "P-1",
            "dip tube",
            FIRST_SURVEY,
            "",
            tube,
            tube,
            DIP_TUBE_HEIGHT,
            "rim of dip tube",
            FIRST_SURVEY,
            "installed",
        )
    )
    return made


POINTS = _points()


def point_at(well: str, access: str, day: str) -> Point:
    """Return the measuring point in force on a day."""
    found = [
        point
        for point in POINTS
        if (point.well, point.access) == (well, access)
        and point.valid_from <= day
        and (not point.valid_until or day < point.valid_until)
    ]
    if len(found) != 1:
        message = f"{len(found)} measuring points of {well} ({access}) are in force on {day}."
        raise ValueError(message)
    return found[0]


@dataclass(frozen=True)
class Instrument:
    """An instrument and the length of its probe below the point that senses water."""

    code: str
    kind: str
    serial: str
    length_mm: int
    accuracy_mm: int
    range_m: int
    resolution_mm: int = 1
    notes: str = ""


INSTRUMENTS = (
    Instrument("REF-1", "steel tape", "R-0007", 0, 1, 50, notes="Reference tape; stays in the office"),
    Instrument("E-1", "electric tape", "A-1181", 42, 3, 100),
    Instrument(
        "E-2", "electric tape", "A-0456", 42, 3, 100, notes="Stretched on 2021-05-03; withdrawn in January 2023"
    ),
    Instrument("E-3", "electric tape", "A-2310", 38, 3, 100, notes="Replaces E-2"),
    Instrument("E-4", "electric tape", "A-0102", 42, 3, 100, notes="Borrowed for 2024-Q4; a splice makes it short"),
    Instrument("IP-1", "interface probe", "B-0093", 55, 3, 60),
    Instrument("SP-1", "other", "", 0, 5, 2, 5, notes="Clear standpipe with scale, for the overflowing well"),
)
LENGTH_BELOW_M = {item.code: item.length_mm / 1000.0 for item in INSTRUMENTS}

CHECK_DEPTHS = (0.5, 5.0, 10.0, 15.0, 20.0, 40.0)
#: Stretch of tape E-2 from a check on: the tape reads short by this share of the depth.
STRETCH = (("2021-05-03", 0.004), ("2022-01-18", 0.006))
STRETCH_NOTES = {
    "2021-05-03": "Tape caught on the pump cable of P-1 and pulled free; reads short in proportion to depth",
    "2022-01-18": "Stretch has grown",
}


#: Checks that were forgotten.
CHECKS_FORGOTTEN = (("E-3", 2025),)
#: The round in which crew B read on a borrowed tape, and what it reads too much at every depth.
BORROWED_IN, BORROWED_TAPE, BORROWED_M = "2024-Q4", "E-4", 0.100


@dataclass(frozen=True)
class Round:
    """A gauging round; crew A measures on the first day, crew B on the last."""

    code: str
    first: dt.date
    last: dt.date


def _rounds() -> list[Round]:
    made = []
    for number in range(33):
        year, quarter = 2018 + number // 4, number % 4
        day = dt.date(year, 2 + 3 * quarter, 15)
        day += dt.timedelta(days=(1 - day.weekday()) % 7)
        long = 1 if number % 3 == 1 or number == 32 else 0
        made.append(Round(f"{year}-Q{quarter + 1}", day, day + dt.timedelta(days=long)))
    return made


ROUNDS = _rounds()
LAST_ROUND = ROUNDS[-1]

ROUTE_A = (
    "W-01",
    "N1-U",
    "N1-L",
    "W-02",
    "L-05",
    "W-05",
    "W-07",
    "P-1",
    "W-08",
    "W-13",
    "N2-U",
    "N2-L",
    "W-06",
    "W-14",
)
#: How to get to a well, where that is not plain.
ACCESS_NOTES = {
    "P-1": "Key of the waterworks; ring the duty office first",
    "W-02": "Field track, impassable at high water; walk from the weir",
    "W-09": "Gate in the north fence, code at the office",
    "N3-U": "Flood bank, step over the drain",
    "W-12": "Flood bank, park at the sluice",
}
#: What can hurt at a well.
HAZARDS = {
    "P-1": "Submersible pump starts by itself; live parts in the well house",
    "W-07": "Beside the works road: lorries; cone and vest",
    "W-09": "Floating product, contamination: gloves, no flames, clean the probe",
    "N3-L": "Flowing well under pressure: loosen the cap slowly, stand aside",
    "N2-U": "Open vault at road level: never leave it uncovered",
}

ROUTE_B = ("W-03", "L-01", "L-02", "W-04", "W-11", "N3-U", "N3-L", "L-03", "W-12", "L-04", "W-10", "W-09")

PRODUCT = {
    "2020-Q3": 0.042, "2020-Q4": 0.085, "2021-Q1": 0.126, "2021-Q2": 0.171, "2021-Q3": 0.224, "2021-Q4": 0.262,
    "2022-Q1": 0.288, "2022-Q2": 0.311, "2022-Q3": 0.302, "2022-Q4": 0.296, "2023-Q1": 0.271, "2023-Q2": 0.248,
    "2023-Q3": 0.236, "2023-Q4": 0.215, "2024-Q1": 0.198, "2024-Q2": 0.184, "2024-Q3": 0.177, "2024-Q4": 0.163,
    "2025-Q1": 0.150, "2025-Q2": 0.148, "2025-Q3": 0.141, "2025-Q4": 0.133, "2026-Q1": 0.127,
}  # fmt: skip
PRODUCT_DENSITY = (("2023-01-01", 0.83), ("2030-01-01", 0.82))

#: Sounded depth of W-05 below ground, falling as fine sand settles.
SILTING = {
    "2018-Q1": 15.95, "2018-Q3": 15.88, "2019-Q1": 15.76, "2019-Q3": 15.61, "2020-Q1": 15.47, "2020-Q3": 15.30,
    "2021-Q1": 15.06, "2021-Q3": 14.84, "2022-Q1": 14.69, "2022-Q3": 14.51, "2023-Q1": 14.27, "2023-Q3": 14.08,
    "2024-Q1": 13.86, "2024-Q3": 13.70, "2025-Q1": 13.55, "2025-Q3": 13.42, "2026-Q1": 13.31,
}  # fmt: skip

#: Sounded depth of W-03 below ground by year; in the end silt stands above the bottom of the screen.
SILT_IN_DRY_WELL = {
    2018: 6.58, 2019: 6.57, 2020: 6.56, 2021: 6.55, 2022: 6.54, 2023: 6.53, 2024: 6.52, 2025: 6.40, 2026: 6.36,
}  # fmt: skip

PUMP_OFF_BEFORE = {  # rounds in which the pump had stood still for two days
    "2020-Q1": "Pump out for service for two days",
    "2023-Q2": "Pump off for two days: work on the main",
}
PUMP_OFF_SHORT = {  # rounds in which the pump was stopped a short time before the reading [min]
    "2019-Q3": 35,
    "2022-Q4": 50,
    "2024-Q4": 40,
}

#: Faults that the checks must find: the rule that names each.
FAULT_RULES = {
    "last readings again": "last readings again",
    "read in feet": "fits in another unit",
    "digits exchanged": "fits with two digits exchanged",
    "readings of L-03": "readings of another well",
    "read from the old rim": "fits another measuring point",
    "exchanged with N2-L": "readings of two wells exchanged",
    "exchanged with N2-U": "readings of two wells exchanged",
}

#: What was special about one well in one round.
SPECIAL: dict[tuple[str, str], dict[str, Any]] = {
    ("L-04", "2018-Q1"): {"given_as": "water_elevation", "notes": "Taken over from the earlier programme"},
    ("L-04", "2018-Q2"): {"given_as": "water_elevation", "notes": "Taken over from the earlier programme"},
    ("L-03", "2018-Q1"): {"given_as": "depth_below_ground", "notes": "Booked below ground by mistake of the form"},
    ("P-1", "2018-Q2"): {"status": "obstructed", "notes": "Dip tube blocked by a cable tie"},
    ("W-10", "2018-Q3"): {"no_time": True, "notes": "Time not booked"},
    ("W-13", "2018-Q4"): {"no_time": True, "notes": "Time not booked"},
    ("W-11", "2019-Q1"): {"status": "frozen", "notes": "Kappe vereist, Schlüssel drehte nicht"},
    ("W-04", "2019-Q2"): {"notes": "Böschung naß, Kappe schwergängig"},
    ("W-05", "2019-Q2"): {
        "status": "recovering",
        "offset": -0.12,
        "notes": "Sampled half an hour before; still rising",
    },
    ("W-03", "2019-Q4"): {"sump": True, "notes": "Etwas Wasser im Sumpfrohr"},
    ("W-03", "2022-Q3"): {"sump": True, "notes": "A little water at the bottom"},
    ("L-02", "2019-Q4"): {"notes": "Schloß getauscht"},
    ("W-02", "2020-Q2"): {"status": "no access", "notes": "Field gate locked; key with the tenant"},
    ("N3-L", "2020-Q2"): {"status": "flowing", "overflow": True, "notes": "Overflowing; standpipe left in the office"},
    ("W-14", "2020-Q3"): {"blunder": 1.0, "notes": ""},
    ("W-14", "2020-Q4"): {"status": "not measured", "notes": "Thunderstorm, crew left the site"},
    ("N2-U", "2020-Q4"): {"fault": "last readings again", "notes": ""},
    ("N2-L", "2020-Q4"): {"fault": "last readings again", "notes": ""},
    ("W-06", "2020-Q4"): {"fault": "last readings again", "notes": ""},
    ("W-12", "2021-Q1"): {"status": "affected by surface water", "offset": 0.05, "notes": "River over the bank"},
    ("W-09", "2021-Q1"): {"no_density": True, "notes": "Density not determined"},
    ("W-13", "2021-Q3"): {"status": "nearby pumping", "offset": -0.18, "notes": "Irrigation pump in the next field"},
    ("W-08", "2021-Q4"): {"no_time": True, "notes": "Time not booked"},
    ("W-06", "2022-Q1"): {"status": "destroyed", "notes": "Casing broken at ground by a mower"},
    ("L-03", "2022-Q2"): {"quality": "suspect", "offset": 0.14, "notes": "Condensation on the casing, weak signal"},
    ("W-11", "2022-Q2"): {"fault": "read in feet", "notes": "Tape with feet lent by the driller"},
    ("W-10", "2022-Q3"): {"status": "not found", "notes": "Under a stack of straw bales"},
    ("N1-L", "2023-Q1"): {"no_time": True, "notes": "Time not booked"},
    ("N1-U", "2023-Q2"): {"fault": "digits exchanged", "notes": ""},
    ("L-04", "2023-Q3"): {"fault": "readings of L-03", "notes": ""},
    ("L-01", "2023-Q4"): {"status": "obstructed", "notes": "Stone at 3 m; removed on 2023-12-05"},
    ("W-12", "2024-Q1"): {"quality": "estimate", "notes": "Gusty wind, tape moved"},
    ("W-10", "2024-Q2"): {"disagree": 0.100, "notes": "Interrupted by a phone call"},
    ("N2-U", "2024-Q3"): {"fault": "read from the old rim", "notes": "Read at the old vault"},
    ("N2-U", "2025-Q1"): {"fault": "exchanged with N2-L", "notes": ""},
    ("N2-L", "2025-Q1"): {"fault": "exchanged with N2-U", "notes": ""},
    ("W-02", "2026-Q1"): {"status": "no access", "notes": "Track under water, gate not reached"},
    ("L-01", "2026-Q1"): {"status": "not measured", "notes": "Well sealed for repair of the protective pipe"},
    ("W-14", "2026-Q1"): {"missing": True},
    ("W-10", "2026-Q1"): {"at": "2026-02-26 10:42", "notes": "Read nine days late: meadow flooded before"},
    ("W-11", "2026-Q1"): {"at": "2026-02-18 09:05", "notes": "Read on the second day: key was missing"},
}

#: Readings between the rounds.
EXTRA = (
    ("W-05", "2019-05-21 14:40", "static", "Read again in the afternoon"),
    ("W-12", "2024-01-08 13:20", "affected by surface water", "Water ponds around the well; extra reading"),
    ("W-08", "2025-12-02 10:15", "static", "Confirms the reading of 2025-Q4"),
)

OPERATOR = "Tell the operator"
#: Thresholds: well, name, kind, quantity, value, consecutive, valid from and until, basis, action.
THRESHOLDS = (
    ("W-08", "warning", "lower", "water_elevation", 51.77, 2, "2018-01-01", "2022-01-01", "Permit 2018", OPERATOR),
    ("W-08", "warning", "lower", "water_elevation", 51.90, 2, "2022-01-01", "", "Permit 2022", OPERATOR),
    ("W-08", "stop", "lower", "water_elevation", 51.20, 1, "2018-01-01", "", "Permit 2018", "Stop the supply well"),
    ("N1-U", "low", "lower", "water_elevation", 53.90, 2, "2018-01-01", "", "Wet meadow", "Tell the meadow's keeper"),
    ("N3-U", "high water", "upper", "depth_below_ground", 0.90, 1, "2022-01-01", "", "Cellars nearby", "Warn houses"),
    ("N1-L", "warning", "lower", "depth_to_water", 6.92, 2, "2018-01-01", "", "Permit 2018", OPERATOR),
    ("W-03", "low", "lower", "water_elevation", 53.50, 1, "2018-01-01", "", "Dug well nearby", "Visit its owner"),
)  # fmt: skip

#: Thresholds on a change: well, name, kind, change [m], days, consecutive, valid from, basis, action.
CHANGE_THRESHOLDS = (("N3-U", "quick rise", "upper", 0.47, 14, 2, "2022-01-01", "Cellars nearby", "Warn houses"),)

#: Thresholds on a gradient: well, name, kind, gradient, other well, consecutive, valid from, basis, action.
GRADIENT_THRESHOLDS = (
    ("W-08", "reversal", "lower", 0.0005, "N3-U", 1, "2022-01-01", "Permit 2022", "Stop the supply well"),
)
