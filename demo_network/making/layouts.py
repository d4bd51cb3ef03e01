"""Layouts of the loggers' exports: what tells the program how each shape is written."""

from __future__ import annotations

from pathlib import Path

#: Layout of each shape of export, without its ending.
LAYOUT_OF = {"air": "semicolons", "plain": "semicolons", "event": "remarks", "record": "wall_clock"}

_SEMICOLONS = r"""about = "Semicolons, decimal commas, the zone above the table"

[text]
encoding = "latin-1"
delimiter = ";"
decimal = ","

[table]
heading_pattern = '^Date and time;'

[time]
column = "Date and time"
formats = ["%d.%m.%Y %H:%M"]
zone_pattern = '^Clock;UTC([+-]\d{2}:\d{2})'

[serial]
pattern = '^Serial number;(\S+)'

[title]
pattern = '^Place;(.+)'
"""

_REMARKS = r"""about = "Commas, date and time apart, UTC, remarks of the logger among the rows"

[text]
encoding = "utf-8"
delimiter = ","
decimal = "."

[table]
heading_pattern = '^Date,Time,'

[time]
date = "Date"
clock = "Time"
formats = ["%Y-%m-%d"]
clock_formats = ["%H:%M"]
zone = "UTC"

[[columns]]
quantity = "absolute pressure"
column = "Pressure (kPa)"

[[columns]]
quantity = "water temperature"
column = "Temperature (degC)"

[events]
columns = ["Remark"]

[serial]
pattern = '^Serial,(\S+)'

[title]
pattern = '^Well,(\S+)'
"""

_WALL_CLOCK = r"""about = "Tabs, the clock on the wall with its summer time, midnight as 24:00"

[text]
encoding = "utf-8"
delimiter = "\t"
decimal = "."

[table]
heading_pattern = 'Time.*Water column'

[time]
column = "Time"
formats = ["%Y-%m-%d %H:%M"]
zone = "Europe/Berlin"

[[columns]]
quantity = "water column"
column = "Water column [m]"

[[columns]]
quantity = "water temperature"
column = "Temperature [°C]"

[[columns]]
quantity = "battery"
column = "Battery [V]"

[serial]
pattern = '^# logger (\S+)'

[title]
pattern = '^# well (\S+)'
"""

_TEXTS = {"semicolons": _SEMICOLONS, "remarks": _REMARKS, "wall_clock": _WALL_CLOCK}


def write_layouts(folder: Path) -> None:
    """Write the layouts into a folder."""
    target = folder / "layouts"
    target.mkdir(parents=True, exist_ok=True)
    for name, text in _TEXTS.items():
        (target / f"{name}.toml").write_bytes(text.encode())
