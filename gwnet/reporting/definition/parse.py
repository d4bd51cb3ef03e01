"""Report definitions: TOML files that say what a report holds and how it is printed, checked before use."""

from __future__ import annotations

import datetime as dt
import hashlib
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal, cast

from gwnet.constants import LARGE_NETWORK_WELLS
from gwnet.errors import DefinitionError
from gwnet.reporting.definition.checks import DefinitionFile, nearest
from gwnet.reporting.definition.files import read_logo, read_wording
from gwnet.reporting.definition.keys import Checks
from gwnet.reporting.registry import key_tables
from gwnet.resources import reports_folder
from gwnet.units import shared_display_unit

if TYPE_CHECKING:
    import pandas as pd

    from gwnet.reporting.sections.hydrographs import HydrographSettings
    from gwnet.reporting.sections.maps import MapSettings
    from gwnet.reporting.sections.statistics import TrendSettings

_MOST_BYTES: Final = 1_000_000


@dataclass(frozen=True, slots=True)
class Prepared:
    """Who prepares the report and for whom; empty lines are left open to be written in.

    ``logo`` holds a PNG or JPEG picture, None for none; ``address`` the lines of the firm's address.
    """

    by: str = ""
    licence: str = ""
    firm: str = ""
    recipient: str = ""
    address: tuple[str, ...] = ()
    logo: bytes | None = field(default=None, repr=False)


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
    web_page : bool
        Whether the report is written as an HTML page too.
    large_from_wells : int
        Number of wells from which on ``large_sections`` replace ``sections``; 0: never.
    large_sections : tuple of str
        Kinds of sections for a large network, in order; empty: those of every network.
    wells, aquifers, rounds, thresholds : tuple of str
        Wells, aquifers, gauging rounds and names of thresholds of the report; empty: all.
    days : tuple of datetime.date
        Days that stand for the rounds of the period; no key of the file.
    prepared : Prepared
        Who prepares it.
    settings : mapping of str to object
        What the sections obey, by the name of its table; see `gwnet.reporting.registry.key_tables`.
    discussion : tuple of str
        Paragraphs of the preparer's own, printed in the summary and marked as such.
    cautions : tuple of str
        Cautions of the site's own, printed after the usual ones.
    wording : mapping of str to str
        Standing texts of the user's own by name, in place of those that travel with the program.
    inputs : mapping of str to str
        Digests of the files that the definition names, by their path in it.
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
    web_page: bool = True
    large_from_wells: int = LARGE_NETWORK_WELLS
    large_sections: tuple[str, ...] = ()
    wells: tuple[str, ...] = ()
    aquifers: tuple[str, ...] = ()
    rounds: tuple[str, ...] = ()
    thresholds: tuple[str, ...] = ()
    days: tuple[dt.date, ...] = ()
    prepared: Prepared = Prepared()
    settings: Mapping[str, Any] = field(default_factory=dict)
    discussion: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    wording: Mapping[str, str] = field(default_factory=dict)
    inputs: Mapping[str, str] = field(default_factory=dict)
    sha256: str = ""
    source: str = field(default="", repr=False, compare=False)

    @property
    def maps(self) -> MapSettings:
        """How potentiometric maps are made."""
        return cast("MapSettings", self.settings["map"])

    @property
    def storage(self) -> Mapping[str, float]:
        """Storage coefficient of each aquifer, for volumes of change."""
        return cast("Mapping[str, float]", self.settings["storage"])

    @property
    def trends(self) -> TrendSettings:
        """How trends are tested, and from when."""
        return cast("TrendSettings", self.settings["trends"])

    @property
    def hydrographs(self) -> HydrographSettings:
        """How hydrographs are grouped and from when they are drawn."""
        return cast("HydrographSettings", self.settings["hydrographs"])

    def has_any(self, *sections: str) -> bool:
        """Tell whether the report has one of some kinds of sections."""
        return not set(sections).isdisjoint(self.sections)

    def for_wells(self, wells: pd.DataFrame) -> Definition:
        """Return the definition with the sections for as many wells as it selects of a site's wells."""
        if not self.large_sections or not 0 < self.large_from_wells <= len(self.members(wells)):
            return self
        return replace(self, sections=self.large_sections)

    def members(self, wells: pd.DataFrame) -> pd.DataFrame:
        """Return the wells of a site that are named, of the aquifers that are named; all where none is."""
        if self.wells:
            wells = wells[wells["well"].isin(self.wells)]
        if self.aquifers:
            wells = wells[wells["aquifer"].isin(self.aquifers)]
        return wells

    def unit(self, site_unit: str) -> str:
        """Return the unit of printing for a site that works in the given unit of length."""
        if self.units != "site":
            return self.units
        return shared_display_unit([site_unit])


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
            # One byte more than is taken tells a file that is too large from one that just fits.
            raw = file.read(_MOST_BYTES + 1)
    except OSError as error:
        message = f"The definition cannot be read: {error.strerror or error}."
        raise DefinitionError(message, where=str(path)) from error
    if len(raw) > _MOST_BYTES:
        raise DefinitionError("The definition is larger than 1 MB.", where=str(path), fix="Is it the right file?")
    try:
        # Some editors write a byte order mark, which is no valid start of a TOML document.
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        message = f"The definition is not UTF-8 text: byte {error.start} cannot be read."
        raise DefinitionError(message, where=str(path), fix="Save it as UTF-8.") from error
    return parse_definition(text, path, sha256=hashlib.sha256(raw).hexdigest())


def parse_definition(text: str, path: Path, *, sha256: str = "") -> Definition:
    """Check the text of a report definition.

    Parameters
    ----------
    text : str
        TOML.
    path : Path
        Where it is or was, for its name and for messages; it is not read.
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
    checked = Checks(path, text).run(values)
    return replace(_definition(path, checked, sha256), source=text)


def _find(name: str | Path) -> Path:
    text = str(name)
    # Only what looks like a path is one: a bare word never reads a file of the folder by chance.
    if isinstance(name, Path) or text.endswith(".toml") or "/" in text or "\\" in text:
        return Path(name)
    folder = reports_folder()
    known = sorted(path.stem for path in folder.glob("*.toml"))
    if text in known:
        return folder / f"{text}.toml"
    message = f"There is no report definition {text[:60]!r}; {nearest(text, known)}"
    raise DefinitionError(message, fix=f"Known are {', '.join(known)}; or give the path of a TOML file.")


def _definition(path: Path, checked: dict[str, dict[str, Any]], digest: str) -> Definition:
    top, text, file = checked[""], checked["text"], DefinitionFile(path)
    return Definition(
        name=safe_name(path.stem),
        **top,
        **checked["select"],
        **{f"large_{key}": value for key, value in checked["large"].items()},
        prepared=_prepared(checked["prepared"], file),
        settings={name: table.make(checked[name], file) for name, table in key_tables().items()},
        discussion=text.get("discussion", ()),
        cautions=text.get("cautions", ()),
        wording=read_wording(path, text.get("wording", ""), file.inputs),
        inputs=file.inputs,
        sha256=digest,
    )


def _prepared(given: Mapping[str, Any], file: DefinitionFile) -> Prepared:
    logo = read_logo(file.path, given.get("logo", ""), file.inputs)
    return Prepared(**{{"for": "recipient"}.get(key, key): value for key, value in given.items()} | {"logo": logo})


def safe_name(text: str) -> str:
    """Return a text as part of a file name: letters, digits, dot, dash and underscore; never a path.

    Examples
    --------
    >>> safe_name("../../etc/my report")
    'etc-my-report'
    """
    return re.sub(r"[^A-Za-z0-9._-]+", "-", text).strip("-._")[:80] or "report"
