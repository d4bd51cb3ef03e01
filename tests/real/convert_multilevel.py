"""Turn the open heads of multilevel wells of the eastern Snake River Plain aquifer into tables for `gwnet load`.

Source: U.S. Geological Survey, Idaho National Laboratory networks (R data package mlms 1.0.2), public domain. Each port
of a well is a well of its own here, as its head is that of its own depth.

Run: ``python tests/real/convert_multilevel.py SOURCE TARGET``
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Iterable, Sequence
from pathlib import Path

SITE = "ESRP-ML"
AQUIFER = "Snake River Plain"


def convert(source: Path, target: Path) -> None:
    """Write the tables of the contract from the source's files of wells, ports and heads."""
    wells = {row["well"]: row for row in _read(source / "wells.csv")}
    target.mkdir(parents=True, exist_ok=True)
    _write(
        target / "sites.csv",
        ["site", "name", "crs", "vertical_datum", "length_unit", "time_zone"],
        [[SITE, "Eastern Snake River Plain aquifer, multilevel", "EPSG:26912", "NAVD 88", "ft", "America/Denver"]],
    )
    _write(
        target / "aquifers.csv",
        ["aquifer", "name", "confinement"],
        [[AQUIFER, "Snake River Plain basaltic-rock and basin-fill aquifer", "unconfined"]],
    )
    _write(
        target / "wells.csv",
        ["site", "well", "longitude", "latitude", "aquifer", "ground_elevation [ft]"],
        (
            [
                *(SITE, _code(port), wells[port["well"]]["longitude_deg"], wells[port["well"]]["latitude_deg"]),
                *(AQUIFER, wells[port["well"]]["land_surface_elev_ft_navd88"]),
            ]
            for port in _read(source / "ports.csv")
        ),
    )
    heads = [row for row in _read(source / "heads.csv") if row["total_head_ft_navd88"] and row["replicate"] != "True"]
    first = {(row["well"], row["port"], row["measured_utc"]): row for row in reversed(heads)}
    _write(
        target / "level_events.csv",
        ["site", "well", "measured_at", "status", "water_elevation [ft]"],
        ([SITE, _code(row), row["measured_utc"], "static", row["total_head_ft_navd88"]] for row in first.values()),
    )


def _code(row: dict[str, str]) -> str:
    return f"{row['well']} P{row['port']}"


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
