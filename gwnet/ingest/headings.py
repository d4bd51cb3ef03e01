"""What headings of other people's tables mean: the field's words and abbreviations in English and other languages.

A heading is reduced to plain words (``WellDepth_ft`` to ``well depth``), its unit is taken out, and the first pattern
that fits says which quantity it is. Nothing here knows the cells below a heading.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from difflib import SequenceMatcher
from functools import lru_cache
from typing import Final

from gwnet.store.contract import TABLES

#: Units as they are written in headings and cells, with the name of ours, or a factor to metres for units that no
#: column of ours has.
UNIT_WORDS: Final[dict[str, str]] = {
    **dict.fromkeys(("m", "metre", "metres", "meter", "meters", "metro", "metros", "mtr"), "m"),
    **dict.fromkeys(("ft", "feet", "foot", "'"), "ft"),
    **dict.fromkeys(("ftus", "usft", "ussft", "us ft", "survey ft", "us survey ft", "us survey foot"), "ftUS"),
    **dict.fromkeys(("cm", "centimetre", "centimeter", "centimetres", "centimeters"), "cm"),
    **dict.fromkeys(("mm", "millimetre", "millimeter", "millimetres", "millimeters"), "mm"),
    **dict.fromkeys(("in", "inch", "inches", '"', "zoll"), "in"),
    **dict.fromkeys(("km", "kilometre", "kilometer"), "km"),
    **dict.fromkeys(("mbgl", "mbgs", "mbtoc", "mbmp", "masl", "mamsl", "mahd", "mnap", "mnn", "mnhn", "msnm"), "m"),
    **dict.fromkeys(("ftbgs", "ftbls", "ftbgl", "ftbtoc", "ftamsl", "ftmsl", "fbgs", "ftasl"), "ft"),
}

#: What follows from a unit that names its reference as well.
_REFERENCES: Final[tuple[tuple[str, str], ...]] = (
    (r"bgl|bgs|bls|b\.?g\.?l|below (land|ground)|u\.? ?gok|unter gel", "below ground"),
    (r"btoc|bmp|below (top|measuring|reference)|u\.? ?rok|u\.? ?mp|unter mess", "below measuring point"),
    (r"a?msl|asl|ahd\b|\bnap\b|navd|ngvd|nhn|\bnn\b|above (mean )?sea|ngf|snm", "elevation"),
)

#: Vertical datums by the words of headings.
DATUMS: Final[tuple[tuple[str, str], ...]] = (
    (r"navd ?(19)?88", "NAVD 88"),
    (r"ngvd ?(19)?29", "NGVD 29"),
    (r"\bnhn\b", "NHN"),
    (r"ahd\b", "AHD"),
    (r"\bnap\b", "NAP"),
    (r"\bngf\b", "NGF"),
    (r"\bnn\b", "NN"),
    (r"a?msl|asl|sea level|snm", "mean sea level"),
)

#: Abbreviations and words of other languages, each with its plain English words.
_WORDS: Final[dict[str, str]] = {
    **dict.fromkeys(
        ("elev", "elevn", "el", "altitude", "alt", "altitud", "cota", "cote", "hoehe", "hohe"), "elevation"
    ),
    **dict.fromkeys(("wl", "wlevel", "gwl", "gwstand", "grundwasserstand", "wasserstand", "wasserstd"), "water level"),
    **dict.fromkeys(("wse", "gwe", "wlelev", "gwelev", "swe"), "water elevation"),
    **dict.fromkeys(("dtw", "abstich", "abstichmass", "abstichmaß", "dtgw", "swl"), "depth to water"),
    **dict.fromkeys(("flurabstand", "flurabstd", "dbgs", "dtwbgs", "bgs", "bgl", "bls"), "depth to water below ground"),
    **dict.fromkeys(("gse", "gselev", "lse", "lsd", "gok", "gelandeoberkante", "gelande", "gsurf"), "ground elevation"),
    **dict.fromkeys(("rpe", "rpelev", "mpe", "mpelev", "toce", "mph", "rok", "rohroberkante"), "point elevation"),
    **dict.fromkeys(("rp", "mp", "toc", "messpunkt", "messpunkthohe"), "measuring point"),
    **dict.fromkeys(("ws",), "water surface"),
    **dict.fromkeys(("gs", "ls"), "ground"),
    **dict.fromkeys(
        ("rdng", "rdg", "lecture", "lectura", "ablesung", "msmt", "meas", "messung", "medicion"), "reading"
    ),
    **dict.fromkeys(("dt", "datum", "fecha", "jour", "tag", "messdatum"), "date"),
    **dict.fromkeys(("datetime", "timestamp", "zeitstempel", "zeitpunkt", "horodate"), "date time"),
    **dict.fromkeys(("uhrzeit", "zeit", "heure", "hora", "hour", "clock"), "time"),
    **dict.fromkeys(("bore", "borehole", "piezometer", "piezometre", "piezometro", "pozo", "puits", "brunnen"), "well"),
    **dict.fromkeys(("forage", "messstelle", "messstellen", "pegel", "gwmst", "sondeo", "ouvrage", "bh"), "well"),
    **dict.fromkeys(("stn", "station", "site", "location", "loc", "punto", "messstellennummer", "bss"), "station"),
    **dict.fromkeys(("nr", "num", "nbr", "number", "nummer", "numero", "kennung", "identifier", "code"), "id"),
    **dict.fromkeys(("kennzahl", "codigo", "nombre"), "id"),
    **dict.fromkeys(("bezeichnung", "nom", "label"), "name"),
    **dict.fromkeys(("lat", "latitud", "breite", "breitengrad"), "latitude"),
    **dict.fromkeys(("lon", "lng", "long", "longitud", "lange", "laenge", "langengrad"), "longitude"),
    **dict.fromkeys(("rechtswert", "ostwert", "east", "utme", "xcoord", "ost"), "easting"),
    **dict.fromkeys(("hochwert", "nordwert", "north", "utmn", "ycoord", "nord"), "northing"),
    **dict.fromkeys(
        ("prf", "perf", "perforation", "perforated", "scr", "filter", "crepine", "rejilla", "slot"), "screen"
    ),
    **dict.fromkeys(("int", "intvl", "interval", "tramo"), "interval"),
    **dict.fromkeys(("bot", "btm", "base", "unterkante", "bas", "fondo", "inferior", "lower"), "bottom"),
    **dict.fromkeys(("oberkante", "haut", "superior", "upper"), "top"),
    **dict.fromkeys(("fok", "filteroberkante"), "screen top"),
    **dict.fromkeys(("fuk", "filterunterkante"), "screen bottom"),
    **dict.fromkeys(("profondeur", "profundidad", "prof", "tiefe", "teufe", "dpth", "dep"), "depth"),
    **dict.fromkeys(("eau", "agua", "wasser", "groundwater", "gw", "nappe", "grundwasser", "wtr"), "water"),
    **dict.fromkeys(("niveau", "nivel", "stand", "lvl", "head"), "level"),
    **dict.fromkeys(("sol", "suelo", "terrain", "terreno", "land", "surface", "boden"), "ground"),
    **dict.fromkeys(
        ("hinweis", "bemerkung", "bemerkungen", "comment", "comments", "cmt", "remark", "remarks"), "notes"
    ),
    **dict.fromkeys(("note", "remarque", "observaciones", "kommentar", "anmerkung", "rmk"), "notes"),
    **dict.fromkeys(("zustand", "etat", "estado", "stat", "condition"), "status"),
    **dict.fromkeys(("qualite", "qualitat", "calidad", "qual", "qa", "qc", "quality", "flag"), "quality"),
    **dict.fromkeys(("methode", "metodo", "mthd", "meth"), "method"),
    **dict.fromkeys(("beobachter", "observateur", "observador", "measuredby", "reader"), "observer"),
    **dict.fromkeys(("grundwasserleiter", "gwl1", "aquifere", "acuifero", "aqfr", "aquifername"), "aquifer"),
    **dict.fromkeys(("stickup", "uberstand", "ueberstand"), "stick up"),
    **dict.fromkeys(("acc", "accy", "genauigkeit", "precision", "uncertainty"), "accuracy"),
    **dict.fromkeys(("desc", "descr", "description", "beschreibung"), "description"),
    **dict.fromkeys(("betreiber", "owner", "operator"), "operator"),
    **dict.fromkeys(("diam", "durchmesser", "diametre"), "diameter"),
    **dict.fromkeys(("srs", "projektion", "projection", "epsg", "crs"), "crs"),
    **dict.fromkeys(("tot", "total"), "total"),
}

#: Patterns over plain words, each with the quantity that it names; the first that fits holds.
_QUANTITIES: Final[tuple[tuple[str, str], ...]] = (
    (r"\bacc(uracy)?\b.*|.*\baccuracy\b", "accuracy"),
    (r"(horizontal|horz|coord\w*|latlong|latitude longitude|ll) (datum|date)", "horizontal datum"),
    (
        r"(vertical|elevation|vert|point|ground|height) (datum|date)|(datum|date) (of )?elevation|vdatum",
        "vertical datum",
    ),
    (r"(local |standard )?time zone|tz|tzone", "time zone"),
    (r"\bcrs\b", "crs"),
    (r"(elevation|elev|survey|coord\w*|latlong|position|location) method( \w+)*", "survey method"),
    (r"((aquifer|completion|construction|time) )(type|id|description|status|known|precision)( id)?", "other"),
    (r"(ground )?(water )?level date|date (of )?.*reading.*|.*date (measured|sampled|read)|reading date.*", "date"),
    (r"(no )(measure\w*|reading|level|water).*", "status"),
    (r"latitude( .*)?|(.* )?latitude", "latitude"),
    (r"longitude( .*)?|(.* )?longitude", "longitude"),
    (r"(.* )?easting( .*)?|x|x (coord\w*|utm)|utm x|xutm", "easting"),
    (r"(.* )?northing( .*)?|y|y (coord\w*|utm)|utm y|yutm", "northing"),
    (
        r"(tape|reading|hold)( at| on)?( the)? ((measuring )?point|mark|hold)|hold|((measuring )?point|mark) reading",
        "tape at mark",
    ),
    (
        r"(tape|reading|cut)( at| on)?( the)? (water ground|water|cut|wet)|cut|water( surface"
        r"| ground)? reading|reading water surface",
        "tape at water",
    ),
    (r"(.* )?screen( \w+)? (elevation (of )?top|top elevation)|.*top .*screen elevation", "screen top elevation"),
    (r"(.* )?screen( \w+)? (elevation (of )?bottom|bottom elevation)", "screen bottom elevation"),
    (r"(.* )?top\b.*screen.*|(.* )?screen( \w+)* top.*|depth top|top depth", "screen top"),
    (r"(.* )?bottom\b.*screen.*|(.* )?screen( \w+)* bottom.*|depth bottom|bottom depth", "screen bottom"),
    (r"screen|screen(ed)? interval|open interval", "screen interval"),
    (r"(screen|interval|depth|perforations?)? ?from|screen start.*", "screen top"),
    (r"(screen|interval|depth|perforations?)? ?to|screen end.*", "screen bottom"),
    (r"top( interval| \d)*|open top.*", "interval top"),
    (r"bottom( interval| \d)*|open bottom.*", "interval bottom"),
    (r"(casing|screen|well)? ?diameter.*", "diameter"),
    (
        r"(well|total|completed|complete|finished|constructed|total well|well total) depth( .*)?"
        r"|depth (of )?well|depth total"
        r"|well length.*|td",
        "total depth",
    ),
    (r"(hole|drilled|drill) depth|depth (of )?hole", "hole depth"),
    (
        r"(stick up|riser)( .*)?|(point|casing|riser) height.*|height( above)? ground|height of (point|casing).*"
        r"|(riser|point|casing) above ground.*",
        "height above ground",
    ),
    (r"(measuring )?point (elevation )?(to )?water( elevation| ground| level)?", "depth to water"),
    (r"ground (elevation )?(to )?water( elevation| ground| level)?", "depth below ground"),
    (
        r"point( elevation| \w+ elevation)|elevation( of)? point|(reference|measuring|measurement"
        r"|measure) point( elevation)?"
        r"|(top of )?casing elevation|elevation( of)?( top of)? casing|point elevation.*|reference elevation"
        r"|top casing elevation|top of casing|casing top elevation",
        "point elevation",
    ),
    (
        r"ground( ground)?( elevation)?|(ground )+elevation|elevation (of )?(ground ?)+|ground elevation.*|ground level"
        r"|collar elevation|surface elevation",
        "ground elevation",
    ),
    (
        r"(depth|distance)( to)?( (ground )?water)?( level)? (below|from|under|bgl|to water below) (the )?(ground ?)+.*"
        r"|depth to water (depth to water )?below ground|water( level)? (depth )?below (ground ?)+.*"
        r"|ground( ground)? to water.*"
        r"|ground elevation water elevation|depth (to water )?below (ground ?)+|ground depth to water.*"
        r"|below (ground ?)+|depth (l )?water ground",
        "depth below ground",
    ),
    (
        r"point elevation water elevation|(depth|distance)( to)?( water)?( level)? (below|from) (the )?"
        r"(point|top of casing|casing|reference|measuring).*|point to water.*"
        r"|depth to (ground )?water( level)?.*|depth water.*"
        r"|water (level )?depth.*|depth (of|static)( to)? water.*|static (water )?level depth|depth water level",
        "depth to water",
    ),
    (
        r"(.* )?water( \w+)? elevation.*|(water )?level elevation.*|elevation( of)?( the)? water.*|hydraulic level"
        r"|total level.*|potentiometric.*|piezometri.*|level piezometri.*|water level (above"
        r"|elevation).*|water ground elevation.*",
        "water elevation",
    ),
    (
        r"level|level water|(\w+ )?water level.*|level (value|measure\w*|reading).*|reading( value)?|value|wert"
        r"|valeur|valor|result|measurement|.*water level",
        "level",
    ),
    (r"depth", "depth"),
    (r"elevation|elevation (value|ngf|msl|\w?asl)|z", "elevation"),
    (
        r"(reading |measured |sample |local |visit |obs\w* |\w+ )?date time.*|measured( at| utc)?.*utc.*|measured at"
        r"|date (utc|gmt|local)|observation time|.*time (utc|gmt)",
        "date time",
    ),
    (
        r"(drill\w*|construct\w*|complet\w*|installed|install)( date)?( on)?|date (drilled|completed|"
        r"constructed)",
        "drilled on",
    ),
    (r"(decommission\w*|abandon\w*|destroy\w*)( date)?( on)?", "decommissioned on"),
    (
        r"(first|last|begin|end|start|created|updated|modified|load\w*|record\w*|survey\w*)( \w+)? date"
        r"|date (first|last|"
        r"created|modified|loaded).*",
        "other date",
    ),
    (
        r"(\w+ )?date( reading| measured| of reading| of measurement| reading)?|reading date|measured on|date \w+",
        "date",
    ),
    (r"(time of day|time known|time precision|time quality|time accuracy)", "time quality"),
    (r"(\w+ )?time( of reading| measured| local)?", "time"),
    (
        r"(reading|level|measurement|measure|obs\w*|visit|record|row|sl|object) id|uid|uuid|fid|rowid|objectid|index",
        "event",
    ),
    (r"(well )?(local |well |common |station |other )?(name|local id|local number)", "well name"),
    (r"well( id)?|well id.*|well well|(station )?well id", "well"),
    (r"station( id)?|state well id|station id.*|(state )?well (id|number)|swn|id", "station"),
    (r"name", "well name"),
    (r"port|zone|level id|piezo id", "port"),
    (
        r"(no )?(reading|water level|level|water)? ?(no )?(reading )?(issue|reason|problem"
        r"|code)s?( \w+)*|no reading.*|nm\b.*"
        r"|(reading |water level |level )?(status|remark|issue)( \w+)?|status.*",
        "status",
    ),
    (r"(\w+ )?quality( \w+)?|approval.*|qualifier|reliability|confidence|validity|questionable.*", "quality"),
    (r"(reading |measure\w* |level |water level |wlm )?method( \w+)?|how measured", "method"),
    (r"observer|measured by|read by|technician|party|(\w+ )?agency|(\w+ )?org\w*( \w+)?|operator", "observer"),
    (r"instrument|tape|device|equipment|gerat", "instrument"),
    (r"(\w+ )?aquifer( name| id)?|basin.*|formation|geol\w* unit", "aquifer"),
    (r"use|well use|(well )?(purpose|type)( \w+)?|utilisation|uso", "purpose"),
    (r"notes.*|(\w+ )notes|description|memo|text", "notes"),
    (r"confine\w*|pressure condition|grundwasserdruckflache", "confinement"),
    (r"unit|units|einheit", "unit"),
)
_PATTERNS: Final = tuple((re.compile(words), quantity) for words, quantity in _QUANTITIES)


@dataclass(frozen=True)
class Meaning:
    """What a heading says.

    Attributes
    ----------
    quantity : str
        Quantity that it names; empty where it names none that is known.
    unit : str
        Unit: one of ours, or ``in`` or ``km``; empty where it names none.
    reference : str
        Reference that it names: below ground, below measuring point, elevation; or empty.
    datum : str
        Vertical datum that it names, or empty.
    words : str
        Its plain words.
    """

    quantity: str
    unit: str = ""
    reference: str = ""
    datum: str = ""
    words: str = ""


@lru_cache(maxsize=4096)
def read_meaning(heading: str, unit_cell: str = "") -> Meaning:
    """Return what a heading of somebody's table means.

    Parameters
    ----------
    heading : str
        Heading as written.
    unit_cell : str, optional
        Cell of the line of units below it.

    Returns
    -------
    Meaning
        Quantity, unit, reference and datum.

    Examples
    --------
    >>> read_meaning("depth_below_land_surface_ft").quantity, read_meaning("Abstich [m]").unit
    ('depth below ground', 'm')
    """
    plain = fold(f"{heading} {unit_cell}")
    datum = next((name for pattern, name in DATUMS if re.search(pattern, plain.replace("_", " "))), "")
    unit, rest = _unit(heading, unit_cell)
    words = _plain_words(rest)
    quantity = _quantity(words)
    if not quantity and words.endswith(" id"):
        quantity = _quantity(words.removesuffix(" id"))
    if not quantity and len(words.split(" ")[0]) <= 4 and " " in words:  # the first word may be a table's short name
        quantity = _quantity(words.split(" ", 1)[1])
    reference = next(
        (name for pattern, name in _REFERENCES if re.search(pattern, plain.replace("_", " ").replace(".", ""))), ""
    )
    if reference == "below ground" and quantity in {"depth to water", "level", "depth", "water elevation"}:
        quantity = "depth below ground"
    elif reference == "below measuring point" and quantity in {"level", "depth"}:
        quantity = "depth to water"
    elif reference == "elevation" and quantity in {"level"}:
        quantity = "water elevation"
    return Meaning(quantity, unit, reference, datum, words)


def _quantity(words: str) -> str:
    return next((name for pattern, name in _PATTERNS if pattern.fullmatch(words)), "")


def fold(text: str) -> str:
    """Return a text in lower case without accents.

    Parameters
    ----------
    text : str
        The text.

    Returns
    -------
    str
        The same in plain letters.
    """
    folded = unicodedata.normalize("NFKD", text.replace("ß", "ss"))
    return "".join(sign for sign in folded if not unicodedata.combining(sign)).lower()


def _unit(heading: str, unit_cell: str) -> tuple[str, str]:
    """Return the unit of a heading and the heading without it."""
    cell = _unit_of(unit_cell)
    if cell:
        return cell, heading
    for inside in re.findall(r"[\[(]([^\[\]()]*)[\])]", heading):
        unit = _unit_of(inside)
        if unit:
            return unit, re.sub(r"[\[(][^\[\]()]*[\])]", " ", heading)
    name, _, last = heading.rpartition(",")
    if name and _unit_of(last):
        return _unit_of(last), name
    words = re.split(r"[\s_]+", heading.strip())
    datums = r"navd\d*|ngvd\d*|msl|amsl|asl|nhn|nn|ahd|nap"
    while len(words) > 1 and re.fullmatch(datums, words[-1], re.IGNORECASE):
        words.pop()
    if len(words) > 1 and words[-1].lower() in UNIT_WORDS and words[-1].lower() not in {"in", "'", '"'}:
        return UNIT_WORDS[words[-1].lower()], " ".join(words[:-1])
    angle = {"deg", "degree", "degrees", "dd"} | ({"s"} if len(words) > 2 else set())
    if len(words) > 1 and words[-1].lower() in angle:
        words.pop()
    kept = re.sub(r"[\[(][^\[\]()]*[\])]", " ", " ".join(words))
    return "", kept if kept.strip() else heading


def _unit_of(text: str) -> str:
    """Return the unit with which a text begins, empty for none."""
    plain = fold(text).strip(" .[]()")
    if plain in UNIT_WORDS:
        return UNIT_WORDS[plain]
    first = re.split(r"[\s.,;/]+", plain)[0] if plain else ""
    return UNIT_WORDS.get(first, "") if first not in {"in", ""} else ""


def _plain_words(heading: str) -> str:
    """Return a heading in plain English words of the field."""
    parted = re.sub(r"(?<=[a-z0-9])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])", " ", heading)
    words = re.findall(r"[a-z]+|\d+", fold(parted))
    if words[-1:] == ["no"]:
        words[-1] = "id"
    plain = [_WORDS.get(word, word) for word in words if word not in {"the", "in", "a", "de", "du", "del", "la", "le"}]
    return re.sub(r"\b(\w+)( \1\b)+", r"\1", " ".join(plain))


def nearest_columns(headings: list[str]) -> list[tuple[str, str]]:
    """Return, for each heading of a file, the column of ours that comes nearest.

    Parameters
    ----------
    headings : list of str
        Headings as written.

    Returns
    -------
    list of tuple of str
        Heading, and ``table.column``; empty where none is near.
    """
    return [(heading.strip(), _nearest(heading)) for heading in headings if heading.strip()]


def _nearest(heading: str) -> str:
    quantity = read_meaning(heading).quantity
    if quantity in COLUMNS:
        return COLUMNS[quantity]
    plain = re.sub(r"\W+", "_", heading.strip().lower())
    best, at = 0.0, ""
    for table in TABLES:
        for name in table.names:
            likeness = SequenceMatcher(None, plain, name).ratio()
            if likeness > best:
                best, at = likeness, f"{table.name}.{name}"
    return at if best > 0.8 else ""


#: Where each quantity goes.
COLUMNS: Final[dict[str, str]] = {
    "latitude": "wells.latitude",
    "longitude": "wells.longitude",
    "easting": "wells.easting",
    "northing": "wells.northing",
    "ground elevation": "wells.ground_elevation",
    "total depth": "wells.total_depth",
    "drilled on": "wells.drilled_on",
    "decommissioned on": "wells.decommissioned_on",
    "aquifer": "wells.aquifer",
    "purpose": "wells.purpose",
    "well": "wells.well",
    "station": "wells.well",
    "well name": "wells.well",
    "point elevation": "measuring_points.elevation",
    "height above ground": "measuring_points.height_above_ground",
    "vertical datum": "sites.vertical_datum",
    "time zone": "sites.time_zone",
    "crs": "sites.crs",
    "screen top": "construction.top_depth",
    "screen bottom": "construction.bottom_depth",
    "interval top": "construction.top_depth",
    "interval bottom": "construction.bottom_depth",
    "diameter": "construction.diameter",
    "tape at mark": "level_events.tape_at_mark",
    "tape at water": "level_events.tape_at_water",
    "depth to water": "level_events.depth_to_water",
    "depth": "level_events.depth_to_water",
    "depth below ground": "level_events.depth_below_ground",
    "water elevation": "level_events.water_elevation",
    "date": "level_events.date",
    "date time": "level_events.measured_at",
    "time": "level_events.time",
    "status": "level_events.status",
    "quality": "level_events.quality",
    "method": "level_events.method",
    "observer": "level_events.observer",
    "instrument": "level_events.instrument",
    "event": "level_events.event",
    "notes": "level_events.notes",
}
