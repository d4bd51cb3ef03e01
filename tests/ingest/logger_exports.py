"""Constructed logger exports of several shapes, with the samples that are in them."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

UTC = dt.UTC


@dataclass(frozen=True)
class Export:
    """A constructed export: its lines, its layout, and what its rows hold."""

    name: str
    above: tuple[str, ...]
    rows: tuple[str, ...]
    below: tuple[str, ...]
    encoding: str
    layout: str
    samples: tuple[tuple[int, tuple[float, ...]], ...]

    def content(self) -> bytes:
        """Return the bytes of the file."""
        return "".join(f"{line}\n" for line in (*self.above, *self.rows, *self.below)).encode(self.encoding)

    def truth(self) -> dict[int, tuple[float, ...]]:
        """Return the values by time in UTC [ms]."""
        return dict(self.samples)


def series(count: int, seed: int) -> tuple[list[dt.datetime], np.ndarray, np.ndarray]:
    """Return hourly times in UTC with a pressure and a temperature."""
    random = np.random.default_rng(seed)
    start = dt.datetime(2025, 10, 12, 5, tzinfo=UTC)
    times = [start + dt.timedelta(hours=n) for n in range(count)]
    pressure = np.round(104.0 + np.cumsum(random.normal(0.0, 0.05, count)), 3)
    temperature = np.round(11.0 + np.cumsum(random.normal(0.0, 0.01, count)), 2)
    return times, pressure, temperature


def _samples(times, *values) -> tuple[tuple[int, tuple[float, ...]], ...]:
    stamps = [round(time.timestamp() * 1000) for time in times]
    return tuple((stamp, tuple(map(float, row))) for stamp, row in zip(stamps, zip(*values, strict=True), strict=True))


def iso_with_preamble(count: int = 400) -> Export:
    """Commas, four lines of preamble, ISO 8601 with Z, a serial number in the preamble."""
    times, pressure, temperature = series(count, 1)
    rows = tuple(
        f"{t:%Y-%m-%dT%H:%M:%SZ},{p:.3f},{c:.2f}" for t, p, c in zip(times, pressure, temperature, strict=True)
    )
    return Export(
        "iso",
        (
            "site: north field",
            "serial number: LB-0042",
            "interval: 1 h",
            "",
            "time,absolute pressure [kPa],temperature [degC]",
        ),
        rows,
        (),
        "utf-8",
        '[table]\nheading_pattern = "^time,"\n[time]\ncolumn = "time"\n'
        '[serial]\npattern = "serial number: ([A-Z0-9-]+)"\n',
        _samples(times, pressure, temperature),
    )


def twelve_hour_with_events(count: int = 400) -> Export:
    """Commas, a title, running numbers, a 12-hour clock, the offset in the heading, event columns, event rows."""
    times, pressure, temperature = series(count, 2)
    psi = np.round(pressure / 6.894757293, 4)
    fahrenheit = np.round(temperature * 1.8 + 32.0, 3)
    zone = dt.timezone(dt.timedelta(hours=-7))
    rows = []
    for n, (t, p, f) in enumerate(zip(times, psi, fahrenheit, strict=True), 1):
        local = t.astimezone(zone)
        rows.append(f"{n},{local:%m/%d/%y %I:%M:%S %p},{p:.4f},{f:.3f},{'noted' if n == 1 else ''},")
        if n % 200 == 0:
            rows.append(f"{n},{local + dt.timedelta(minutes=7):%m/%d/%y %I:%M:%S %p},,,noted,")
    return Export(
        "twelve",
        ('"Title: north field"', '"#","Date Time, UTC-07:00","Abs Pressure, psi","Temp, °F","Lid opened","Read out"'),
        tuple(rows),
        (),
        "utf-8-sig",
        '[table]\nheading_pattern = "Date Time"\n[time]\ncolumn = "/^Date Time/"\n'
        "formats = [\"%m/%d/%y %I:%M:%S %p\"]\nzone_pattern = 'UTC([+-]\\d\\d:\\d\\d)'\n"
        '[events]\ncolumns = ["Lid opened", "Read out"]\n'
        '[[columns]]\nquantity = "absolute pressure"\ncolumn = "/^Abs/"\n'
        '[[columns]]\nquantity = "water temperature"\ncolumn = "/^Temp/"\n',
        _samples(times, psi, fahrenheit),
    )


def dotted_latin_1(count: int = 400) -> Export:
    """Semicolons, decimal commas, day first, Latin-1, metadata lines, local time of a zone with summer time."""
    from zoneinfo import ZoneInfo

    times, pressure, temperature = series(count, 3)
    level = np.round(30.0 + (pressure - 104.0) / 9.81, 3)
    zone = ZoneInfo("Europe/Vienna")
    rows = tuple(
        f"{t.astimezone(zone):%d.%m.%Y %H:%M};{h:.3f};{c:.2f}".replace(".", ",").replace(
            f"{t.astimezone(zone):%d,%m,%Y}", f"{t.astimezone(zone):%d.%m.%Y}"
        )
        for t, h, c in zip(times, level, temperature, strict=True)
    )
    return Export(
        "dotted",
        (
            "Messstelle;Nordfeld",
            "Geländehöhe;49,20",
            "Zone;Europe/Vienna",
            ";;",
            "Datum;Grundwasserstand (m ü. NHN);Temperatur (°C)",
        ),
        rows,
        (),
        "latin-1",
        '[text]\nencoding = "latin-1"\ndelimiter = ";"\ndecimal = ","\n[table]\nheading_pattern = "^Datum;"\n'
        '[time]\ncolumn = "Datum"\nformats = ["%d.%m.%Y %H:%M"]\nzone = "Europe/Vienna"\n'
        '[[columns]]\nquantity = "water elevation"\ncolumn = "/^Grundwasserstand/"\n'
        '[[columns]]\nquantity = "water temperature"\ncolumn = "/^Temperatur/"\n',
        _samples(times, level, temperature),
    )


def date_and_clock(count: int = 400) -> Export:
    """Tabs, a column of dates and one of times, a line of units, words for no value, a footer."""
    times, pressure, _ = series(count, 4)
    column = np.round((pressure - 90.0) / 9.81, 3)
    rows = tuple(
        f"{t:%Y-%m-%d}\t{t:%H:%M:%S}\t{'---' if n % 97 == 96 else f'{h:.3f}'}"
        for n, (t, h) in enumerate(zip(times, column, strict=True))
    )
    held = np.where(np.arange(count) % 97 == 96, np.nan, column)
    return Export(
        "tabbed",
        ("Times in UTC", "Date\tTime\tWater column", "\t\tm"),
        rows,
        ("End of readings",),
        "utf-8",
        '[text]\ndelimiter = "\\t"\n[table]\nheading_pattern = "^Date"\nunits_below = true\nfooter_pattern = "^End of"\n'
        '[time]\ndate = "Date"\nclock = "Time"\nformats = ["%Y-%m-%d"]\nclock_formats = ["%H:%M:%S"]\nzone = "UTC"\n'
        '[[columns]]\nquantity = "water column"\ncolumn = "Water column"\n',
        _samples(times, held),
    )


def all_exports(count: int = 400) -> list[Export]:
    """Return one export of each shape."""
    return [iso_with_preamble(count), twelve_hour_with_events(count), dotted_latin_1(count), date_and_clock(count)]
