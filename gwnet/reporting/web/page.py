"""Sets a report as one HTML page that needs nothing else: no network, no other file.

The page is written by hand: no library runs in the reader's browser. Its policy allows its own script by digest and
nothing else; texts enter through ``textContent``, data as JSON without ``<``, ``>`` and ``&``. Figures are SVG with
letters, in a subset of the typeface that the page carries.
"""

from __future__ import annotations

import base64
import hashlib
import html
import io
import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Final

from gwnet.figures.base.style import font_files
from gwnet.reporting.content import (
    Beside,
    Block,
    Bullets,
    Caution,
    Column,
    Facts,
    FigureSlot,
    FirmBlock,
    Group,
    Heading,
    PageTitle,
    Paragraph,
    Report,
    Results,
    Section,
    SignOff,
    Table,
    cell_text,
    letters_of,
    note_letters,
    numbered,
)
from gwnet.reporting.measures import state_text
from gwnet.reporting.view import ReportView
from gwnet.reporting.web.data import page_data

_IDENTIFIER: Final = re.compile(r'\b(id|xlink:href|href)="(#?)([^"]+)"|url\(#([^)]+)\)')


def render_page(report: Report, view: ReportView, *, creator: str) -> bytes:
    """Set a report as a page.

    Parameters
    ----------
    report : Report
        Content with its figures drawn.
    view : ReportView
        The look at the record that the report was written from; for what the reader can explore.
    creator : str
        Program and version.

    Returns
    -------
    bytes
        HTML in UTF-8; the same report gives the same bytes. Every text is escaped, and the page's own policy forbids
        it to load anything and to run anything but the script that it carries.
    """
    whole = numbered(report)
    script, style = _asset("page.js"), _asset("page.css")
    digest = base64.b64encode(hashlib.sha256(script.encode("utf-8")).digest()).decode("ascii")
    # Styles by digest would not do: drawings carry style attributes, which a digest does not cover.
    policy = (
        f"default-src 'none'; script-src 'sha256-{digest}'; style-src 'unsafe-inline'; img-src data:; font-src data:; "
        "base-uri 'none'; form-action 'none'"
    )
    title = f"{whole.title}, {whole.site}, {whole.period}"
    parts = [
        "<!DOCTYPE html>",
        '<html lang="en-GB">',
        "<head>",
        '<meta charset="utf-8">',
        f'<meta http-equiv="Content-Security-Policy" content="{html.escape(policy)}">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f'<meta name="generator" content="{_text(creator)}">',
        f"<title>{_text(title)}</title>",
        f"<style>\n{_font_face(whole)}{style}</style>",
        "</head>",
        "<body>",
        '<a class="skip" href="#content">Skip to the report</a>',
        _head(whole),
        '<main id="content">',
        *(_block(block) for block in whole.cover.blocks),
        _contents(whole),
        _explorer(),
        *(_section(section, number) for number, section in enumerate(whole.sections, start=1)),
        "</main>",
        _foot(whole),
        f'<script type="application/json" id="record">{page_data(view)}</script>',
        f"<script>{script}</script>",
        "</body>",
        "</html>",
        "",
    ]
    # A lone surrogate, as of a file name that is not UTF-8, is shown as its code and does not end the run.
    return "\n".join(part for part in parts if part or part == "").encode("utf-8", "backslashreplace")


def _asset(name: str) -> str:
    """Return a text that travels with this module, its lines ended the same way on every system."""
    return (Path(__file__).parent / "assets" / name).read_text(encoding="utf-8").replace("\r\n", "\n")


def _text(text: str) -> str:
    return html.escape(text, quote=True)


def _head(report: Report) -> str:
    return (
        f'<header><p class="state">{_text(report.state)}</p><h1>{_text(report.title)}</h1>'
        f'<p class="site">{_text(report.site)}</p><p class="period">{_text(report.period)}</p></header>'
    )


def _foot(report: Report) -> str:
    return f"<footer><p>{_text(report.period)} · record as known on {_text(state_text(report.known_on))}</p></footer>"


def _contents(report: Report) -> str:
    items = "".join(
        f'<li><a href="#section-{number}">{_text(section.title)}</a></li>'
        for number, section in enumerate(report.sections, start=1)
    )
    return f'<nav aria-label="Contents"><h2>Contents</h2><ol>{items}</ol></nav>'


def _explorer() -> str:
    """Return the place of map and hydrograph that the script fills; without it the page says where they stand."""
    return (
        '<section id="explore" aria-label="Explore"><h2>Explore the record</h2>'
        "<noscript><p>The map and the hydrographs that answer to a click need scripts to be allowed; everything else "
        "of the report is below.</p></noscript>"
        '<div class="explorer"></div></section>'
    )


def _section(section: Section, number: int) -> str:
    blocks = "\n".join(_block(block) for block in section.blocks)
    title = f'<h2><span class="number">{number}</span> {_text(section.title)}</h2>'
    return f'<section id="section-{number}">{title}\n{blocks}</section>'


def _block(block: Block) -> str:
    if isinstance(block, Table):
        return _table(block)
    if isinstance(block, FigureSlot):
        return _figure(block)
    if isinstance(block, SignOff):
        return _sign_off(block)
    if isinstance(block, Results):
        items = "".join(f"<li><b>{_text(item.lead)}</b> {_text(item.text)}</li>" for item in block.items)
        return f'<section class="results"><h2>{_text(block.title)}</h2><ol>{items}</ol></section>'
    if isinstance(block, Beside):
        return _figure(block.figure) + _plain(Facts(block.pairs))
    if isinstance(block, FirmBlock):
        return _firm(block)
    return _plain(block)


def _plain(block: Block) -> str:
    if isinstance(block, Heading):
        return f"<h3>{_text(block.text)}</h3>"
    if isinstance(block, PageTitle):
        return f'<h3 class="page">{_text(block.text)}</h3>'
    if isinstance(block, Paragraph):
        lead = f"<b>{_text(block.lead_in)}</b> " if block.lead_in else ""
        return f'<p class="{block.tone}">{lead}{_text(block.text)}</p>'
    if isinstance(block, Bullets):
        return f"<ul>{''.join(f'<li>{_text(item)}</li>' for item in block.items)}</ul>"
    if isinstance(block, Caution):
        items = "".join(f"<li>{_text(item)}</li>" for item in block.items)
        return f'<aside class="caution"><h3>{_text(block.title)}</h3><ul>{items}</ul></aside>'
    if isinstance(block, Facts):
        rows = "".join(f"<dt>{_text(name)}</dt><dd>{_kept_days(_text(value))}</dd>" for name, value in block.pairs)
        return f"<dl>{rows}</dl>"
    return ""


def _kept_days(text: str) -> str:
    """Return an escaped text whose days are not broken at their hyphens."""
    return re.sub(r"\d{4}-\d\d-\d\d", r'<span class="day">\g<0></span>', text)


def _sign_off(block: SignOff) -> str:
    parties = []
    for role, fields in block.parties:
        lines = "".join(f"<dt>{_text(label)}</dt><dd>{_text(value) or '&nbsp;'}</dd>" for label, value in fields)
        parties.append(f'<div class="party"><h3>{_text(role)}</h3><dl>{lines}</dl></div>')
    return f'<p>{_text(block.statement)}</p><div class="parties">{"".join(parties)}</div>'


def _firm(block: FirmBlock) -> str:
    logo = ""
    if block.logo:
        logo = f'<img alt="Logo" src="data:image/png;base64,{base64.b64encode(block.logo).decode("ascii")}">'
    lines = "<br>".join(_text(line) for line in block.address)
    return f'<div class="firm">{logo}<p><b>{_text(block.name)}</b><br>{lines}</p></div>'


def _figure(block: FigureSlot) -> str:
    picture = _inline(block.svg, f"f{block.number}-") if block.svg else ""
    if picture:
        picture = f'<div class="picture" tabindex="0" role="img" aria-label="{_text(block.alt)}">{picture}</div>'
    caption = f"<figcaption><b>Figure {block.number}</b> {_text(block.caption)}</figcaption>"
    return f'<figure id="figure-{block.number}">{picture}{caption}</figure>'


def _inline(svg: bytes, prefix: str) -> str:
    """Return a drawing as an element of the page, its identifiers made different from those of others."""
    text = svg.decode("utf-8")
    # The declaration of XML and the document type before it are errors inside of HTML.
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.DOTALL)

    def renamed(match: re.Match[str]) -> str:
        if match[4] is not None:
            return f"url(#{prefix}{match[4]})"
        if match[1] == "id" or match[2]:
            return f'{match[1]}="{match[2]}{prefix}{match[3]}"'
        return match[0]

    return _IDENTIFIER.sub(renamed, text).strip()


def _table(table: Table) -> str:
    # Cells of a page wrap at any width, so no reason runs through several of them: each gets a letter.
    letters = note_letters(replace(table, reasons_in_row=False))
    body = "\n".join(_row(row, table.columns, letters) for row in table.rows)
    notes = [*(_text(note) for note in table.notes)]
    notes.extend(f"<b>{letter}</b> {_text(reason)}" for reason, letter in letters.items())
    foot = f'<ul class="notes">{"".join(f"<li>{note}</li>" for note in notes)}</ul>' if notes else ""
    caption = f"<caption><b>Table {table.number}</b> {_text(table.caption)}</caption>"
    return (
        f'<div class="table" id="table-{table.number}" tabindex="0" role="region" aria-label="Table {table.number}">'
        f"<table>{caption}<thead>{_heading(table.columns)}</thead><tbody>{body}</tbody></table></div>{foot}"
    )


def _heading(columns: tuple[Column, ...]) -> str:
    """Return the heading: one row, or two where columns share a heading."""
    if not any(column.group for column in columns):
        return f"<tr>{''.join(_column(column) for column in columns)}</tr>"
    first: list[str] = []
    second: list[str] = []
    place = 0
    while place < len(columns):
        group, start = columns[place].group, place
        place += 1
        if not group:
            first.append(_column(columns[start], rows=2))
            continue
        while place < len(columns) and columns[place].group == group:
            place += 1
        first.append(f'<th scope="colgroup" class="group" colspan="{place - start}">{_text(group)}</th>')
        second.extend(_column(column) for column in columns[start:place])
    return f"<tr>{''.join(first)}</tr><tr>{''.join(second)}</tr>"


def _column(column: Column, rows: int = 1) -> str:
    span = f' rowspan="{rows}"' if rows > 1 else ""
    unit = f' <span class="unit">{_text(column.unit)}</span>' if column.unit else ""
    return f'<th scope="col" class="{column.align}"{span}>{_text(column.heading)}{unit}</th>'


def _row(row: object, columns: tuple[Column, ...], letters: Mapping[str, str]) -> str:
    if isinstance(row, Group):
        return f'<tr class="group"><th scope="rowgroup" colspan="{len(columns)}">{_text(row.text)}</th></tr>'
    cells = []
    for place, (cell, column) in enumerate(zip(row, columns, strict=True)):  # type: ignore[call-overload]
        letter = letters_of(cell, letters)
        note = f"<sup>{letter}</sup>" if letter else ""
        text = _text(cell_text(cell, column))
        content = f"<b>{text}</b>{note}" if cell.strong else f"{text}{note}"
        name = "th" if place == 0 else "td"
        scope = ' scope="row"' if place == 0 else ""
        cells.append(f'<{name}{scope} class="{column.align}">{content}</{name}>')
    return f"<tr>{''.join(cells)}</tr>"


def _font_face(report: Report) -> str:
    """Return the typeface of the drawings with the letters that they use."""
    used = "".join(sorted({sign for figure in report.figures() if figure.svg for sign in figure.svg.decode("utf-8")}))
    if not used:
        return ""
    return "".join(_face(weight, used) for weight in ("normal", "bold"))


def _face(weight: str, used: str) -> str:
    """Return a weight of the typeface, and the letters that it lacks from the second face under the same name."""
    from fontTools.ttLib import TTFont

    own, spare = font_files(bold=weight == "bold")
    with TTFont(own) as font:
        known = font.getBestCmap()
    lacked = "".join(letter for letter in used if letter.isprintable() and ord(letter) not in known)
    faces = [(own, used, "")]
    if lacked:
        # Of two faces with one name a browser takes the one declared last (from memory), so this one is limited to the
        # letters that the first lacks.
        faces.append((spare, lacked, "unicode-range:" + ",".join(f"U+{ord(letter):X}" for letter in lacked) + ";"))
    return "".join(
        f"@font-face{{font-family:'gwnet Sans';font-weight:{weight};{reach}"
        f"src:url(data:font/woff;base64,{base64.b64encode(_subset(file, letters)).decode('ascii')}) format('woff')}}\n"
        for file, letters, reach in faces
    )


def _subset(file: str, used: str) -> bytes:
    from fontTools import subset
    from fontTools.ttLib import TTFont

    # Kerning alone: the drawing placed its texts without ligatures. No timestamps: the library would write the time of
    # the run, and the same report would give other bytes.
    options = subset.Options(flavor="woff", layout_features=["kern"], notdef_outline=True, recalc_timestamp=False)
    options.drop_tables += ["FFTM"]  # of the second face: when it was made
    font = TTFont(file, recalcTimestamp=False)
    subsetter = subset.Subsetter(options)
    subsetter.populate(text=used)
    subsetter.subset(font)
    font.flavor = "woff"
    target = io.BytesIO()
    font.save(target)
    return target.getvalue()
