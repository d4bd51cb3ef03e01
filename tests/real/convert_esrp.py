"""Turn the open water-level data of the eastern Snake River Plain aquifer into the tables that `gwnet load` takes.

Source: U.S. Geological Survey, Idaho National Laboratory networks (R data package inldata 1.2.5; underlying data
doi:10.5066/F7P55KJN), public domain. Its code letters are read here and turned into words.

Run: ``python tests/real/convert_esrp.py SOURCE TARGET``
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Iterable, Sequence
from pathlib import Path

SITE = "ESRP"
AQUIFER = "Snake River Plain"
ROUND = "2010-10"

METHODS = {
    "A": "air line",
    "B": "graphic recorder",
    "F": "transducer",
    "G": "pressure gauge",
    "L": "geophysical log",
    "O": "observed",
    "S": "steel tape",
    "T": "electric tape",
    "V": "calibrated electric tape",
    "W": "calibrated electric cable",
    "Z": "other",
}
SURVEYS = {
    "D": "differential GPS",
    "L": "levelled",
    "M": "topographic map",
    "N": "elevation model",
    "X": "survey-grade satellite",
    "Y": "survey-grade satellite",
}
#: The source's status: static, true value higher than reported, affected by surface water, pumped.
STATUSES = {"1": "static", "": "static", "3": "static", "5": "affected by surface water", "P": "pumping"}


def convert(source: Path, target: Path) -> None:
    """Write the tables of the contract from the source's two files."""
    wells = _read(source / "wells.csv")
    levels = _read(source / "levels.csv")
    target.mkdir(parents=True, exist_ok=True)
    _write(
        target / "sites.csv",
        ["site", "name", "crs", "vertical_datum", "length_unit", "time_zone", "same_day_window_days"],
        [[SITE, "Eastern Snake River Plain aquifer", "EPSG:26912", "NAVD 88", "ft", "America/Denver", "0"]],
    )
    _write(
        target / "aquifers.csv",
        ["aquifer", "name", "confinement"],
        [[AQUIFER, "Snake River Plain basaltic-rock and basin-fill aquifer", "unconfined"]],
    )
    _write(
        target / "wells.csv",
        [
            *("site", "well", "longitude", "latitude", "aquifer", "ground_elevation [ft]", "ground_accuracy [ft]"),
            *("total_depth [ft]", "notes"),
        ],
        (
            [
                *(SITE, w["local_name"], w["longitude_deg"], w["latitude_deg"], AQUIFER, w["land_surface_elev_ft"]),
                *(w["elev_accuracy_ft"], w["well_depth_ft"], w["site_id"]),
            ]
            for w in wells
        ),
    )
    _write(
        target / "measuring_points.csv",
        [
            *("site", "well", "valid_from", "elevation [ft]", "height_above_ground [ft]", "vertical_datum"),
            *("survey_method", "accuracy [ft]", "description", "change"),
        ],
        (
            [
                *(SITE, w["local_name"], "1900-01-01", w["land_surface_elev_ft"], "0", "NAVD 88"),
                *(SURVEYS[w["elev_method_code"]], w["elev_accuracy_ft"], "land surface", "installed"),
            ]
            for w in wells
        ),
    )
    _write(
        target / "rounds.csv",
        ["site", "round", "starts_on", "ends_on", "purpose"],
        [[SITE, ROUND, "2010-10-05", "2010-10-05", "levels of one day"]],
    )
    names = {w["site_id"]: w["local_name"] for w in wells}
    _write(
        target / "level_events.csv",
        [
            "site",
            "well",
            "measured_at",
            "date",
            "round",
            "status",
            "depth_below_ground [ft]",
            "method",
            "quality",
            "notes",
        ],
        (_event(row, names) for row in levels),
    )


def _event(row: dict[str, str], names: dict[str, str]) -> list[str]:
    known = row["time_of_day"] == "time given"
    in_round = ROUND if row["local_date"] == "2010-10-05" else ""
    notes = "reported as lower than the true level" if row["status_code"] == "3" else ""
    return [
        SITE,
        names[row["site_id"]],
        row["measured_utc"] if known else "",
        "" if known else row["local_date"],
        in_round,
        STATUSES[row["status_code"]],
        row["depth_below_land_surface_ft"],
        METHODS[row["method_code"]],
        "suspect" if row["status_code"] == "3" else "",
        notes,
    ]


def _read(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _write(path: Path, heading: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(heading)
        writer.writerows(rows)


if __name__ == "__main__":
    convert(Path(sys.argv[1]), Path(sys.argv[2]))
