"""Words of other people's records for the state of a well and the quality of a reading, in the words of ours.

English, German, French and Spanish words of the trade; code letters of a source are never guessed.
"""

from __future__ import annotations

import re
from typing import Final

from gwnet.ingest.headings import fold

#: Patterns of plain words and the status that they say; the first that is found holds.
_STATUSES: Final[tuple[tuple[str, str], ...]] = (
    (
        # Before the plain "pump" below, which would take these for the well's own pump.
        r"near\w* (well |by )*(pump|site)|pump\w*( on| is on| was on| running)? near|other well pump|adjacent.*pump"
        r"|nachbar.*pump",
        "nearby pumping",
    ),
    (r"recently pump|recover|wiederanstieg|remontee|recuper", "recovering"),
    (
        r"pump(ing|ed)?\b.*(stop|house|lock|oil)|oil|caved|deepen|casing (leak|wet)|tape (hung|hang)|can'?t get|"
        r"obstruct|block|bridge|verstopft|obstru|clogged|silted|broken pipe|unable to (locate mp|lower)|no tape",
        "obstructed",
    ),
    # Before the plain "pump" as well: "not pumping" says the opposite.
    (r"(not |no )pump", "static"),
    (r"pump|gepumpt|en bombeo|pompage", "pumping"),
    (r"\bdry\b|trocken|\bsec\b|a sec|\bseco\b|asseche|well went dry", "dry"),
    (r"flow\w*|artes|uberlauf|jaillissant|surgente|overflow", "flowing"),
    (r"frozen|\bice\b|gefroren|vereist|gele\b|congelad|hielo", "frozen"),
    (
        r"destroy|abandon|plugged|decommission|zerstort|ruckgebaut|detruit|destruid|abandonad|capped|sealed|removed",
        "destroyed",
    ),
    (
        r"access|locked|lock\b|gate|inaccessible|kein zugang|nicht zuganglich|inaccesible|snow|flooded road|unfriendly"
        r"|no permission|denied|acces",
        "no access",
    ),
    (
        r"not (found|located)|unable to (find|locate)|cannot (find|locate)|nicht gefunden|nicht auffindbar|introuvable"
        r"|no encontrad|lost",
        "not found",
    ),
    (
        r"surface water|recharge (operation|nearby)|river|tid(e|al)|oberflachenwasser|spreading",
        "affected by surface water",
    ),
    (
        r"not measured|no measurement|unmeasured|discontinu|measurement discontinued|special|other"
        r"|nicht gemessen|keine messung"
        r"|non mesure|no medid|ausgefallen|temporarily|missed|equipment|malfunction|fault",
        "not measured",
    ),
    (r"static|\bruhe\w*|statique|estatic|normal|\bok\b|undisturbed", "static"),
)

#: Patterns of plain words and the quality that they say.
_QUALITIES: Final[tuple[tuple[str, str], ...]] = (
    (r"question|suspect|doubt|unsure|fraglich|zweifel|douteu|dudos|uncertain|unreliable|erratic", "suspect"),
    (r"estimat|approx|geschatzt|estime|estimad|interpolat|reported|acoustic|air ?line|pressure gauge", "estimate"),
    (r"\bpoor\b|\bbad\b|schlecht|mauvais|\bmal[oa]\b|\blow\b|incorrect|erroneous", "poor"),
    (r"\bgood\b|\bgut\b|\bbon(ne)?\b|buen|approved|verified|valid|accepted|reviewed|gepruft|certifi|correct", "good"),
    (r"provision|unchecked|raw|preliminary|vorlaufig|ungepruft|provisoire|working|undetermined|unknown", "unchecked"),
)


def status_of(word: str) -> str:
    """Return the status that a word of a source says; empty where it says none that is known.

    Parameters
    ----------
    word : str
        Word or sentence; a code of one or two signs says nothing.

    Returns
    -------
    str
        One of our statuses, or nothing.

    Examples
    --------
    >>> status_of("Nearby pump operating"), status_of("trocken"), status_of("P")
    ('nearby pumping', 'dry', '')
    """
    return _first(_STATUSES, word)


def quality_of(word: str) -> str:
    """Return the quality that a word of a source says; empty where it says none that is known.

    Parameters
    ----------
    word : str
        Word or sentence; a code of one or two signs says nothing.

    Returns
    -------
    str
        One of our qualities, or nothing.

    Examples
    --------
    >>> quality_of("Questionable"), quality_of("A")
    ('suspect', '')
    """
    return _first(_QUALITIES, word)


def _first(patterns: tuple[tuple[str, str], ...], word: str) -> str:
    # Without accents, digits and marks: patterns need one spelling of each word.
    plain = re.sub(r"[^a-z' ]+", " ", fold(word)).strip()
    if len(plain) < 3 and plain != "ok":
        return ""
    return next((ours for pattern, ours in patterns if re.search(pattern, plain)), "")
