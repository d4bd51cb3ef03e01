"""What every map shares: heading and scale, what it says of site and record, contours with their text."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
import pandas as pd

from gwnet.errors import SettingsError
from gwnet.figures.base.text import known_text, number_text, plain, short_number, shown
from gwnet.figures.maps.geometry import ContourPath
from gwnet.records import RecordState
from gwnet.units import DISPLAY_UNITS, metres_per

#: What every surface says of its lines.
DRAWN: Final = "Dashed contours are inferred; nothing is drawn beyond the dotted boundary of control."


#: Labels on one sheet: on the 170 mm of a page more than these hide points and contours. Project default.
MOST_LABELS: Final = 60
#: Most wells that a line of a map's text names; the others are counted. Project default.
MOST_NAMED: Final = 12


@dataclass(frozen=True, slots=True)
class Note:
    """A titled paragraph of a map's text; ``brief`` ones are on the map even where a report says the rest.

    ``wells`` is how many wells each line lists, where the lines are such lists.
    """

    title: str
    lines: tuple[str, ...]
    brief: bool = True
    wells: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class MapHeading:
    """Heading, system and scale of a map.

    Parameters
    ----------
    title, subtitle : str
        Lines above the map.
    crs : str
        System of the coordinates.
    unit : {"m", "ft"}
        Unit of levels and of the scale bar.
    coordinate_unit_m : float
        Metres in one unit of the coordinates.
    lists : str
        Where every well of the map is listed.
    """

    title: str
    subtitle: str
    crs: str
    unit: str
    coordinate_unit_m: float
    lists: str = ""


@dataclass(frozen=True, slots=True)
class MapContext:
    """What the sheets of a site say around their maps.

    Parameters
    ----------
    site : mapping or pandas.Series
        Row of the sites frame.
    aquifer_name : str
        Name of the aquifer in words; empty where it has none or the map is of no single one.
    known_on : gwnet.records.RecordState or None
        State of the record that is shown.
    coordinate_unit_m : float
        Metres in one unit of the coordinates.
    lists : str
        Where a reader finds every well of the map; empty where nowhere.
    """

    site: Mapping[str, Any] | pd.Series = field(default_factory=dict)
    aquifer_name: str = ""
    known_on: RecordState | None = None
    coordinate_unit_m: float = 1.0
    lists: str = "the GeoPackage of the map"

    def heading(self, what: str, when: str, unit: str, *, aquifer: str | None = None, crs: str = "") -> dict[str, Any]:
        """Return the fields of a `MapHeading`; the system of the coordinates is the site's unless given."""
        check_unit(unit)
        return {
            "title": what if aquifer is None else f"{what}, {shown(self.named(aquifer))}",
            "subtitle": subtitle_of(self.site, when),
            "crs": shown(crs or plain(self.site.get("crs"))),
            "unit": unit,
            "coordinate_unit_m": self.coordinate_unit_m,
            "lists": self.lists,
        }

    def named(self, aquifer: str) -> str:
        """Return name and code of the aquifer."""
        return named(aquifer, self.aquifer_name)

    @property
    def known(self) -> tuple[str, ...]:
        """The sentence that says as of when the record is shown; none without a time."""
        return known_text(self.known_on)


def subtitle_of(site: Mapping[str, Any] | pd.Series, when: str) -> str:
    """Return the second line of a heading: site and day."""
    name = shown(plain(site.get("name")) or plain(site.get("site")))
    return " · ".join(part for part in (name, when) if part)


def named(code: str, name: str) -> str:
    """Return the name of an aquifer with its code, the code alone where that is its name."""
    return f"{name} ({code})" if name and name != code else code


def check_unit(unit: str) -> None:
    """Refuse a unit that nothing is drawn in."""
    if unit not in DISPLAY_UNITS:
        message = f"A map can be drawn in {' or '.join(DISPLAY_UNITS)}, not in {unit!r}."
        raise SettingsError(message)


def contour_paths(
    contours: Iterable[Any],
    interval_m: float,
    unit: str,
    text: Callable[[float, int], str] = short_number,
    *,
    lows: bool = True,
) -> tuple[ContourPath, ...]:
    """Return pieces of contours with the text of their level; every fifth interval from 0 is drawn heavier.

    Parameters
    ----------
    contours : iterable of gwnet.hydro.surfaces.contours.ContourLine
        Pieces of contours.
    interval_m : float
        Contour interval [m].
    unit : {"m", "ft"}
        Unit of the levels.
    text : callable, optional
        Gives the text of a level in the unit, with at least so many decimals.
    lows : bool, optional
        Whether closed lows are marked.
    """
    decimals = _interval_decimals(interval_m, unit)
    known = math.isfinite(interval_m) and interval_m > 0
    return tuple(
        ContourPath(
            level=text(piece.level_m / metres_per(unit), decimals),
            # Counted from zero and not from the lowest contour: the same level is heavy on every map.
            rank=round(piece.level_m / interval_m) if known else 1,
            xy=np.column_stack([piece.x, piece.y]).astype(np.float64),
            inferred=bool(piece.inferred),
            depression=lows and bool(piece.depression),
        )
        for piece in contours
    )


def interval_text(interval_m: float, unit: str) -> str:
    """Return a contour interval with its unit."""
    return f"{short_number(interval_m / metres_per(unit), least=_interval_decimals(interval_m, unit))} {unit}"


def _interval_decimals(interval_m: float, unit: str) -> int:
    interval = interval_m / metres_per(unit)
    if not math.isfinite(interval) or interval <= 0:
        return 0
    # In the unit of drawing: an interval of half a foot is 0.1524 m.
    return next((n for n in range(4) if abs(interval * 10**n - round(interval * 10**n)) < 1e-4), 3)


def size_text(value: float, decimals: int) -> str:
    """Return a number without its sign."""
    return number_text(abs(value), decimals)


def coordinates_of(row: Mapping[str, Any]) -> tuple[float, float]:
    """Return easting and northing of a row, NaN where they are not on record."""
    x, y = (float(row[name]) if pd.notna(row[name]) else math.nan for name in ("easting", "northing"))
    return x, y


def group_by_reason(reasons: Sequence[tuple[str, str]]) -> list[str]:
    """Return sentences that list what has the same reason: pairs of name and reason; of many the first are named."""
    names: dict[str, list[str]] = {}
    for name, reason in reasons:
        names.setdefault(reason, []).append(name)
    return [f"{named_wells(members)}: {reason}" for reason, members in names.items()]


def named_wells(names: Sequence[str]) -> str:
    """Return names of wells as a list; of many the first ones and how many more there are."""
    more = len(names) - MOST_NAMED
    # "and 1 more" is longer than most names.
    if more <= 1:
        return ", ".join(names)
    return f"{', '.join(names[:MOST_NAMED])} and {more} more wells"


def without_label(count: int, every: int, lists: str) -> Note:
    """Return the note that counts the wells without a label, and says where they are listed."""
    where = f" Every well is listed in {lists}." if lists else ""
    return Note(
        "Labels", (f"{count} of {every} wells are drawn without a label, so that the others can be read.{where}",)
    )


def room_for_labels(count: int, lists: str) -> tuple[Note, ...]:
    """Return what keeps room for the note on labels, before it is known how many found a place."""
    return (without_label(count, count, lists),) if count > MOST_LABELS else ()


def count_others(codes: Iterable[str]) -> tuple[str, ...]:
    """Return the sentence that counts wells of other aquifers, which a map does not show; none without any."""
    counts = Counter(code or "not on record" for code in codes)
    if not counts:
        return ()
    total = sum(counts.values())
    listed = ", ".join(f"{code} {count}" for code, count in sorted(counts.items()))
    # whether a level was measured there as well is not looked at: some were visited only
    wells = "1 well of another aquifer is" if total == 1 else f"{total} wells of other aquifers are"
    return (f"{wells} not drawn ({listed}).",)
