"""An invented network of any number of wells for tests of scale: tables as `gwnet load` takes them, made by a seed.

Two aquifers in one valley; every fourth place is a cluster of three wells on the same coordinates, one in the upper
aquifer and two in the deep one. One well in eight belongs to the outer basin, fifteen times the valley's width away,
which has an aquifer of its own. Rounds are quarterly, of manual readings alone. In each round some wells are dry, pumping, not
accessible or not measured.
"""

from __future__ import annotations

import csv
import datetime as dt
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

SITE = "BRALLA"
AQUIFERS = ("upper", "deep", "outer")
#: What is added to the head of each aquifer [m], and the depth of its screens below ground [m].
_ABOVE = {"upper": 0.0, "deep": -1.2, "outer": 2.0}
_SCREENS = {"U": (6.0, 14.0), "M": (22.0, 30.0), "L": (48.0, 60.0)}
#: Aquifer and screen of each well of a cluster.
_CLUSTER = (("U", "upper"), ("M", "deep"), ("L", "deep"))
_PER_METRE = {"m": 1.0, "ft": 1 / 0.3048}
#: Systems of coordinates in the unit, and the south-western corner of the valley in it.
_SYSTEMS = {"m": ("EPSG:25832", (370_000.0, 6_050_000.0)), "ft": ("EPSG:2231", (3_100_000.0, 1_300_000.0))}
_VALLEY_M = (9_000.0, 6_000.0)


def place_wells(count: int, seed: int = 7) -> list[dict[str, Any]]:
    """Return code, cluster, aquifer, place in the valley [m] and kind of each well, in order of its code."""
    random = np.random.default_rng(seed)
    outer = count // 8
    wells: list[dict[str, Any]] = []
    place = 0
    while len(wells) < count - outer:
        place += 1
        east, north = (float(random.beta(1.6, 1.6) * size) for size in _VALLEY_M)
        here = {"east": east, "north": north}
        if place % 4 == 0 and len(wells) + 3 <= count - outer:
            wells += [
                {"well": f"MW-{place:03d}-{end}", "cluster": f"MW-{place:03d}", "aquifer": aquifer, "end": end, **here}
                for end, aquifer in _CLUSTER
            ]
        else:
            end, aquifer = _CLUSTER[int(random.random() < 0.4)]
            wells.append({"well": f"MW-{place:03d}", "cluster": "", "aquifer": aquifer, "end": end, **here})
    for number in range(1, outer + 1):
        east = 15 * _VALLEY_M[0] + float(random.random() * 4_000)
        north = float(random.random() * 4_000)
        wells.append(
            {"well": f"OB-{number:03d}", "cluster": "", "aquifer": "outer", "end": "M"} | {"east": east, "north": north}
        )
    return wells


def round_starts(rounds: int, last: str = "2025-11-10") -> list[tuple[str, dt.date]]:
    """Return code and first day of quarterly rounds, the last of which starts on a day."""
    end = dt.date.fromisoformat(last)
    days = [end - dt.timedelta(days=91 * back) for back in range(rounds)][::-1]
    return [(f"{day.year}-Q{(day.month + 2) // 3}", day) for day in days]


def write_network(
    folder: Path, wells: int = 640, *, unit: str = "m", rounds: int = 20, seed: int = 7
) -> list[dict[str, Any]]:
    """Write the tables of a network into a folder; return its wells.

    Parameters
    ----------
    folder : pathlib.Path
        Made when it is not there.
    wells, rounds : int
        How many of each.
    unit : {"m", "ft"}
        Unit that the site works in.
    seed : int
        Of everything that varies.
    """
    random = np.random.default_rng(seed + 1)
    per_m, (crs, (east_0, north_0)) = _PER_METRE[unit], _SYSTEMS[unit]
    placed = place_wells(wells, seed)
    folder.mkdir(parents=True, exist_ok=True)

    def number(metres: float, decimals: int = 3) -> str:
        return f"{metres * per_m:.{decimals if unit == 'm' else decimals - 1}f}"

    _write(
        folder / "sites.csv",
        "site name crs vertical_datum length_unit time_zone same_day_window_days",
        [[SITE, "Bralla valley (invented)", crs, "Bralla datum (local)", unit, "UTC+01:00", 4]],
    )
    _write(
        folder / "aquifers.csv",
        "aquifer name confinement",
        [
            ["upper", "Upper gravel", "unconfined"],
            ["deep", "Deep sandstone", "semi-confined"],
            ["outer", "Sand of the outer basin", "confined"],
        ],
    )
    rows, parts, points = [], [], []
    for well in placed:
        east = well["east"] % (15 * _VALLEY_M[0])
        well["surface"] = 120.0 - 0.004 * east + 0.0008 * well["north"] + 1.5 * float(np.sin(well["north"] / 1_500.0))
        well["ground"] = well["surface"] + float(random.normal(0, 0.3))
        well["point"] = well["ground"] + 0.6
        top, bottom = _SCREENS[well["end"]]
        x, y = (f"{at * per_m + start:.2f}" for at, start in ((well["east"], east_0), (well["north"], north_0)))
        depth = number(bottom + 0.5, 2)
        rows.append(
            [SITE, well["well"], x, y, well["aquifer"], well["cluster"], "observation", number(well["ground"]), depth]
        )
        parts.append([SITE, well["well"], "screen", number(top, 2), number(bottom, 2)])
        points.append([SITE, well["well"], "2015-01-15", number(well["point"]), number(0.6, 2), number(0.01)])
    _write(
        folder / "wells.csv",
        "site well easting northing aquifer cluster purpose ground_elevation total_depth",
        rows,
    )
    _write(folder / "construction.csv", "site well part top_depth bottom_depth", parts)
    _write(folder / "measuring_points.csv", "site well valid_from elevation height_above_ground accuracy", points)
    starts = round_starts(rounds)
    _write(
        folder / "rounds.csv",
        "site round starts_on ends_on purpose",
        [[SITE, code, day, day + dt.timedelta(days=3), "quarterly levels"] for code, day in starts],
    )
    _write(folder / "instruments.csv", "instrument kind", [[f"T-{number}", "electric tape"] for number in range(1, 5)])
    _write(
        folder / "level_events.csv",
        "site well date time round status depth_to_water depth_to_water_2 instrument method observer quality",
        [row for order, start in enumerate(starts) for row in _visits(placed, order, start, random, number)],
    )
    return placed


def _visits(
    placed: Sequence[dict[str, Any]], order: int, start: tuple[str, dt.date], random: Any, number: Any
) -> list[list[Any]]:
    """Return the rows of one round."""
    code, first = start
    season = 0.35 * np.sin(2 * np.pi * (first.timetuple().tm_yday - 60) / 365.25)
    rows = []
    for at, well in enumerate(placed):
        day = first + dt.timedelta(days=at * 4 // len(placed))
        when = f"{8 + at * 29 % 480 // 60:02d}:{at * 29 % 60:02d}"
        lot = float(random.random())
        visit = [SITE, well["well"], day, when, code]
        end = [f"T-{at % 4 + 1}", "electric tape", "A. Keeper", "good"]
        if lot < 0.02:
            continue
        if lot < 0.03:
            rows.append([*visit, "no access", "", "", *end])
            continue
        head = well["surface"] - 4.0 + _ABOVE[well["aquifer"]] + season - 0.004 * order
        depth = max(well["point"] - head + float(random.normal(0, 0.05)), 0.5)
        status = "pumping" if lot < 0.045 else "static"
        rows.append([*visit, status, number(depth), number(depth + 0.002), *end])
    return rows


def _write(path: Path, headings: str, rows: Sequence[Sequence[Any]]) -> None:
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(headings.split())
        writer.writerows(rows)
