"""Report definitions: TOML files that say what a report holds and how it is printed, checked before use."""

from __future__ import annotations

import datetime as dt
import difflib
import hashlib
import re
import tomllib
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final, Literal, cast

from gwnet.errors import DefinitionError
from gwnet.resources import reports_folder
from gwnet.units import metres_per

__all__ = [
    "SECTIONS",
    "Definition",
    "HydrographSettings",
    "MapSettings",
    "Prepared",
    "load_definition",
    "parse_definition",
    "safe_name",
]

#: Every kind of section, in the order of the quarterly report.
SECTIONS: Final = (
    "summary",
    "network_map",
    "construction",
    "measuring_points",
    "levels",
    "maps",
    "hydrographs",
    "thresholds",
    "exclusions",
    "sounded_depths",
    "data_quality",
    "earlier_reports",
    "register",
    "methods",
    "cautions",
    "sign_off",
)
_MOST_BYTES: Final = 1_000_000


@dataclass(frozen=True, slots=True)
class Prepared:
    """Who prepares the report and for whom; empty lines are left open to be written in."""

    by: str = ""
    licence: str = ""
    firm: str = ""
    recipient: str = ""


@dataclass(frozen=True, slots=True)
class MapSettings:
    """How potentiometric maps are made; None leaves the choice to the site or the method."""

    method: str = "kriging"
    interval_m: float | None = None
    window_days: float | None = None


@dataclass(frozen=True, slots=True)
class HydrographSettings:
    """How hydrographs are grouped and from when they are drawn."""

    group_by: str = "aquifer"
    start: dt.date | None = None


@dataclass(frozen=True, slots=True)
class Definition:
    """A checked report definition.

    Parameters
    ----------
    name : str
        Name of the file without its ending, safe as part of a file name.
    title : str
        Title of the report.
    sections : tuple of str
        Kinds of sections, in order.
    units : {"site", "m", "ft"}
        Unit of printing; ``site``: feet where the site works in feet, else metres.
    page : {"A4", "Letter"}
        Page format.
    decimals : int or None
        Decimals of levels; None: what their uncertainty allows.
    contents : bool
        Whether there is a table of contents.
    wells, aquifers : tuple of str
        Wells and aquifers of the report; empty: all.
    prepared : Prepared
        Who prepares it.
    maps : MapSettings
        How maps are made.
    hydrographs : HydrographSettings
        How hydrographs are grouped.
    discussion : tuple of str
        Paragraphs of the preparer's own, printed in the summary and marked as such.
    cautions : tuple of str
        Cautions of the site's own, printed after the usual ones.
    sha256 : str
        Digest of the file.
    source : str
        Text of the file, kept with an issued report.
    """

    name: str
    title: str
    sections: tuple[str, ...]
    units: Literal["site", "m", "ft"] = "site"
    page: Literal["A4", "Letter"] = "A4"
    decimals: int | None = None
    contents: bool = True
    wells: tuple[str, ...] = ()
    aquifers: tuple[str, ...] = ()
    prepared: Prepared = Prepared()
    maps: MapSettings = MapSettings()
    hydrographs: HydrographSettings = HydrographSettings()
    discussion: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    sha256: str = ""
    source: str = field(default="", repr=False, compare=False)

    def unit(self, site_unit: str) -> str:
        """Return the unit of printing for a site that works in the given unit of length."""
        if self.units != "site":
            return self.units
        return "ft" if site_unit in ("ft", "ftUS") else "m"


class _WrongValueError(Exception):
    """What a value should have been."""


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise _WrongValueError("a text in quotation marks")
    return value


def _flag(value: Any) -> bool:
    if not isinstance(value, bool):
        raise _WrongValueError("true or false")
    return value


def _texts(value: Any) -> tuple[str, ...]:
    if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
        raise _WrongValueError('a list of texts, for example ["A", "B"]')
    return tuple(value)


def _section_names(value: Any) -> tuple[str, ...]:
    names = _texts(value)
    for name in names:
        if name not in SECTIONS:
            expected = f"sections of these kinds: {', '.join(SECTIONS)}; {_nearest(name, SECTIONS)}"
            raise _WrongValueError(expected)
    if not names or len(set(names)) < len(names):
        raise _WrongValueError("at least one section, and none twice")
    return names


def _one_of(*choices: str) -> Callable[[Any], str]:
    def check(value: Any) -> str:
        if value not in choices:
            expected = f"one of {', '.join(choices)}"
            raise _WrongValueError(expected)
        return str(value)

    return check


def _decimals(value: Any) -> int | None:
    if value == "auto":
        return None
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= 4:
        raise _WrongValueError('a whole number from 0 to 4, or "auto"')
    return value


def _positive(word: str) -> Callable[[Any], float | None]:
    def check(value: Any) -> float | None:
        if value == word:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float) or not 0 < value < 1e6:
            expected = f'a number above 0, or "{word}"'
            raise _WrongValueError(expected)
        return float(value)

    return check


def _day(value: Any) -> dt.date | None:
    if value == "record":
        return None
    if isinstance(value, dt.datetime) or not isinstance(value, dt.date):
        raise _WrongValueError('a day without quotation marks, for example 2015-01-01, or "record"')
    return value


_Checker = Callable[[Any], Any]
_KEYS: Final[dict[str, dict[str, _Checker]]] = {
    "": {
        "title": _text,
        "sections": _section_names,
        "units": _one_of("site", "m", "ft"),
        "page": _one_of("A4", "Letter"),
        "decimals": _decimals,
        "contents": _flag,
    },
    "select": {"wells": _texts, "aquifers": _texts},
    "prepared": {"by": _text, "licence": _text, "firm": _text, "for": _text},
    "map": {
        "method": _one_of("kriging", "triangulation"),
        "interval_m": _positive("auto"),
        "interval_ft": _positive("auto"),
        "window_days": _positive("site"),
    },
    "hydrographs": {"group_by": _one_of("aquifer", "cluster", "none"), "from": _day},
    "text": {"discussion": _texts, "cautions": _texts},
}


def load_definition(name: str | Path) -> Definition:
    """Read and check a report definition.

    Parameters
    ----------
    name : str or Path
        Name of a definition that travels with the program, such as ``quarterly``, or path of a TOML file.

    Returns
    -------
    Definition
        The checked definition.

    Raises
    ------
    DefinitionError
        If there is no such file, it is not TOML, or a key or value is wrong; says where in the file.
    """
    path = _find(name)
    try:
        with path.open("rb") as file:
            raw = file.read(_MOST_BYTES + 1)
    except OSError as error:
        message = f"The definition cannot be read: {error.strerror or error}."
        raise DefinitionError(message, where=str(path)) from error
    if len(raw) > _MOST_BYTES:
        raise DefinitionError("The definition is larger than 1 MB.", where=str(path), mend="Is it the right file?")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        message = f"The definition is not UTF-8 text: byte {error.start} cannot be read."
        raise DefinitionError(message, where=str(path), mend="Save it as UTF-8.") from error
    return parse_definition(text, path, sha256=hashlib.sha256(raw).hexdigest())


def parse_definition(text: str, path: Path, *, sha256: str = "") -> Definition:
    """Check the text of a report definition.

    Parameters
    ----------
    text : str
        TOML.
    path : Path
        Where it stands or stood, for its name and for messages; it is not read.
    sha256 : str, optional
        Digest of the file.

    Returns
    -------
    Definition
        The checked definition.

    Raises
    ------
    DefinitionError
        If it is not TOML, or a key or value is wrong; says where in the file.
    """
    try:
        values = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        message = f"The definition is not valid TOML: {error}."
        raise DefinitionError(message, where=str(path)) from error
    checked = _Checks(path, text).run(values)
    return replace(_definition(path, checked, sha256), source=text)


def _find(name: str | Path) -> Path:
    text = str(name)
    if isinstance(name, Path) or text.endswith(".toml") or "/" in text or "\\" in text:
        return Path(name)
    folder = reports_folder()
    known = sorted(path.stem for path in folder.glob("*.toml"))
    if text in known:
        return folder / f"{text}.toml"
    message = f"There is no report definition {text[:60]!r}; {_nearest(text, known)}"
    raise DefinitionError(message, mend=f"Known are {', '.join(known)}; or give the path of a TOML file.")


def _nearest(word: str, known: tuple[str, ...] | list[str]) -> str:
    close = difflib.get_close_matches(word, known, n=1, cutoff=0.5)
    return f"did you mean {close[0]!r} instead of {word!r}?" if close else f"{word!r} is none of them"


class _Checks:
    """Checks the values of a file table by table, key by key."""

    def __init__(self, path: Path, text: str) -> None:
        self.path = path
        self.lines = text.splitlines()

    def run(self, values: dict[str, Any]) -> dict[str, dict[str, Any]]:
        checked: dict[str, dict[str, Any]] = {table: {} for table in _KEYS}
        for key, value in values.items():
            if key in _KEYS and key:
                checked[key] = self._table(key, value)
            else:
                checked[""][key] = self._value("", key, value)
        for key in ("title", "sections"):
            if key not in checked[""]:
                message = f"The key {key!r} is missing."
                raise DefinitionError(message, where=str(self.path), mend="Every definition needs title and sections.")
        return checked

    def _table(self, table: str, value: Any) -> dict[str, Any]:
        if not isinstance(value, dict):
            message = f"{table!r} must be a table: a line [{table}] with its keys below."
            raise DefinitionError(message, where=self._where("", table))
        return {key: self._value(table, key, item) for key, item in value.items()}

    def _value(self, table: str, key: str, value: Any) -> Any:
        if key not in _KEYS[table]:
            raise self._unknown(table, key)
        try:
            return _KEYS[table][key](value)
        except _WrongValueError as error:
            shown = repr(value)
            shown = shown if len(shown) <= 80 else shown[:77] + "..."
            mark = "" if str(error).endswith("?") else "."
            message = f"The key {key!r} has the value {shown}; expected {error}{mark}"
            raise DefinitionError(message, where=self._where(table, key)) from None

    def _unknown(self, table: str, key: str) -> DefinitionError:
        known = [*_KEYS[table], *(name for name in _KEYS if name and not table)]
        place = f" in [{table}]" if table else ""
        elsewhere = [name for name, keys in _KEYS.items() if key in keys and name]
        hint = _nearest(key, known)
        if elsewhere and not table:
            hint = f"It belongs in [{elsewhere[0]}]."
        message = f"Unknown key {key!r}{place}. {hint[0].upper()}{hint[1:]}"
        return DefinitionError(message, where=self._where(table, key), mend=f"Known keys: {', '.join(known)}.")

    def _where(self, table: str, key: str) -> str:
        line = self._line(table, key)
        return f"{self.path}, line {line}" if line else str(self.path)

    def _line(self, table: str, key: str) -> int:
        """Return the line that a key stands in, 0 when it is written in another form."""
        current = ""
        wanted = re.compile(rf"""\s*["']?{re.escape(key)}["']?\s*=""")
        heading = re.compile(rf"""\s*\[+\s*["']?{re.escape(key)}["']?\s*\]+""")
        for number, line in enumerate(self.lines, start=1):
            if current == table and wanted.match(line):
                return number
            if not table and heading.match(line):
                return number
            if match := re.match(r"\s*\[\s*([^\[\]]+?)\s*\]", line):
                current = match[1].strip("\"'")
        return 0


def _definition(path: Path, checked: dict[str, dict[str, Any]], digest: str) -> Definition:
    top, select, prepared = checked[""], checked["select"], checked["prepared"]
    maps, hydrographs, text = checked["map"], checked["hydrographs"], checked["text"]
    if maps.get("interval_m") and maps.get("interval_ft"):
        raise DefinitionError("Both interval_m and interval_ft are given.", where=str(path), mend="Keep one of them.")
    feet = maps.get("interval_ft")
    interval = feet * metres_per("ft") if feet else maps.get("interval_m")
    return Definition(
        name=safe_name(path.stem),
        title=top["title"],
        sections=top["sections"],
        units=cast("Literal['site', 'm', 'ft']", top.get("units", "site")),
        page=cast("Literal['A4', 'Letter']", top.get("page", "A4")),
        decimals=top.get("decimals"),
        contents=top.get("contents", True),
        wells=select.get("wells", ()),
        aquifers=select.get("aquifers", ()),
        prepared=Prepared(
            by=prepared.get("by", ""),
            licence=prepared.get("licence", ""),
            firm=prepared.get("firm", ""),
            recipient=prepared.get("for", ""),
        ),
        maps=MapSettings(maps.get("method", "kriging"), interval, maps.get("window_days")),
        hydrographs=HydrographSettings(hydrographs.get("group_by", "aquifer"), hydrographs.get("from")),
        discussion=text.get("discussion", ()),
        cautions=text.get("cautions", ()),
        sha256=digest,
    )


def safe_name(text: str) -> str:
    """Return a text as part of a file name: letters, digits, dot, dash and underscore; never a path.

    Examples
    --------
    >>> safe_name("../../etc/my report")
    'etc-my-report'
    """
    return re.sub(r"[^A-Za-z0-9._-]+", "-", text).strip("-._")[:80] or "report"
