"""A report from the record to its files."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from gwnet import __version__
from gwnet.analysis.levels.table import levels
from gwnet.errors import ReportError, SettingsError
from gwnet.exchange.geopackage import map_geopackage
from gwnet.products.collect import collect, count_parts
from gwnet.products.issues import Issuing, count_issues, refuse_open, with_earlier_issues, with_errata
from gwnet.products.issuing import (
    MadeReport,
    complete_begun,
    find_files,
    find_registered,
    find_same_issue,
    registration_of,
    require_same,
)
from gwnet.reporting.data import IssueFacts
from gwnet.reporting.definition.parse import load_definition, safe_name
from gwnet.reporting.definition.period import parse_period
from gwnet.reporting.drawn import ReportDrawing
from gwnet.reporting.view import look
from gwnet.reporting.write import make_files
from gwnet.store import revision
from gwnet.store.fetch.states import known_on_of
from gwnet.store.settled import wait_until_settled
from gwnet.store.snapshot import Snapshot
from gwnet.units import DISPLAY_UNITS

if TYPE_CHECKING:
    from gwnet.reporting.data import ReportData
    from gwnet.reporting.definition.parse import Definition
    from gwnet.reporting.definition.period import Period
    from gwnet.reporting.write import WrittenReport
    from gwnet.store.fetch.issues import Issue
    from gwnet.store.session import Store


def make_report(
    store: Store,
    definition: str | Path,
    period: str,
    out: Path,
    *,
    round_code: str | None = None,
    days: Sequence[dt.date] = (),
    site: str | None = None,
    known_on: dt.datetime | str | None = None,
    unit: str | None = None,
    issuing: Issuing | None = None,
    processes: int = 1,
    progress: Callable[[int, int], None] | None = None,
) -> MadeReport:
    """Make a report and write its files; issuing it writes and registers all of them or does nothing.

    What a killed run left in the folder is completed or removed first. Where nothing but issues was recorded since the
    report was issued, that issue is named and its own files are written, unless they are there.

    Parameters
    ----------
    store : gwnet.store.session.Store
        Open database.
    definition : str or pathlib.Path
        Name of a definition that travels with the program, or the path of a TOML file.
    period : str
        Period of the report; not looked at where a round is given.
    out : pathlib.Path
        Folder to write into.
    round_code : str, optional
        Gauging round whose days are the period and which alone is reported.
    days : sequence of datetime.date, optional
        Days that stand for the rounds of the period. A period without a round on record takes the days on which most
        wells were read unless they are given.
    site : str, optional
        Code of the site; may be left out when the record holds only one.
    known_on : datetime.datetime or str, optional
        Record as known at this time, or a state by its number such as ``state:143``.
    unit : str, optional
        Unit of printing, m or ft; the definition's unless given.
    issuing : gwnet.products.issues.Issuing, optional
        That the report is issued: its files are written and it is registered with every value that it prints.
    processes : int, optional
        How many processes draw figures at once; the bytes do not depend on it.
    progress : callable, optional
        Called with parts made and parts in all: what is gathered, figures, pages, annex. How many there are in all is
        known once everything is gathered.

    Returns
    -------
    gwnet.products.issuing.MadeReport
        Files written, the PDF first, and the issue.

    Raises
    ------
    DefinitionError
        If the definition is wrong.
    SettingsError
        If the unit is neither m nor ft.
    ReportError
        If the report cannot be made, or may not be issued; nothing is written then.
    OutputError
        If the folder cannot be written.
    """
    chosen = replace(load_definition(definition), days=tuple(days))
    if unit is not None:
        if unit not in DISPLAY_UNITS:
            message = f"A report can be printed in {' or '.join(DISPLAY_UNITS)}, not in {unit!r}."
            raise SettingsError(message)
        chosen = replace(chosen, units=unit)  # type: ignore[arg-type]
    if round_code is not None:
        _refuse_days(days)
        chosen = replace(chosen, rounds=(round_code,))
    # First, as a killed run may have left half a report where this one is to be.
    complete_begun(store, out)
    wait_until_settled(store, known_on)
    with store.reading() as connection:
        record = Snapshot(connection, known_on_of(connection, known_on)).of_site(site)
        store.looked_at = record.state
        when = parse_period(period) if round_code is None else _days_of_round(record, round_code)
        # Issued twice from one state, a report would have two numbers for the same bytes.
        same = None if issuing is None else find_same_issue(record, chosen, when)
        if same is not None:
            on_disk = find_files(out, same)
            if on_disk:
                return MadeReport(on_disk, same)
            # As of the moment of the issue, so that its own bytes come out.
            record = Snapshot(connection, same.known_on_utc).of_site(site)
        # After the record is known: a large network takes other sections.
        chosen = chosen.for_wells(record.wells)
        parts, say = count_parts(chosen), progress or (lambda _done, _total: None)
        guess = parts + len(chosen.sections)  # how many figures there are is not known yet
        data = collect(record, chosen, when, lambda done, _parts: say(done, guess))
        if "earlier_reports" in chosen.sections or issuing is not None:
            data = with_earlier_issues(record, chosen, data)
        data = _as_issue(record, chosen, when, data, issuing, same)
        # After the earlier issues are compared: the section is there only where a value has changed.
        chosen = with_errata(chosen, data)
    # Outside the reading: from here on nothing is asked of the database, and a long setting holds up nobody.
    _refuse_empty(data, when)
    # An issue on record was let pass when it was made.
    if issuing is not None and same is None:
        refuse_open(look(chosen, data, when))
    files = make_files(
        chosen,
        data,
        period=when,
        drawing=ReportDrawing(pages=chosen.web_page),
        program_version=__version__,
        schema_revision=revision.HEAD,
        map_files=_map_files(data),
        processes=processes,
        progress=lambda done, total: say(parts + done, parts + total),
    )
    if issuing is None:
        return _made(files.write(out))
    if same is not None:
        # Another version of the program may print differently, and the number of an issue stands for certain bytes.
        require_same(files, same)
        return _made(files.write(out), same)
    registration = registration_of(store, chosen, when, data, issuing, files)
    return _made(files.write(out, registration), find_registered(store, registration), is_new=True)


def _as_issue(
    record: Snapshot,
    definition: Definition,
    period: Period,
    data: ReportData,
    issuing: Issuing | None,
    same: Issue | None,
) -> ReportData:
    """Return a report's record with the issue that it is made as; a draft as it is."""
    # A draft is in no register.
    if issuing is None:
        return data
    by, remark = (issuing.by, issuing.remark) if same is None else (same.issued_by, same.remark)
    revision = count_issues(record, definition, period, data) + 1
    return replace(data, issue=IssueFacts(revision, by, remark or ""))


def _made(written: WrittenReport, issue: Issue | None = None, *, is_new: bool = False) -> MadeReport:
    return MadeReport([written.pdf, written.manifest, *written.annex], issue, is_new=is_new)


def _refuse_days(days: Sequence[dt.date]) -> None:
    if days:
        raise SettingsError("A report is of a round or of days, not of both.", fix="Leave out one of the two.")


def _days_of_round(record: Snapshot, code: str) -> Period:
    """Return the days of a gauging round: those planned, and those on which it was measured."""
    record.require(round_code=code)
    (row,) = record.rounds[record.rounds["round"] == code].to_dict("records")
    table = levels(record)
    days = [row["starts_on"], row["ends_on"] or row["starts_on"], *table.loc[table["round"] == code, "day"].dt.date]
    return parse_period(f"{min(days)}..{max(days)}")


def _map_files(data: ReportData) -> dict[str, bytes]:
    """Return the maps as GeoPackages by file name."""
    return {
        f"map_{safe_name(facts.aquifer)}_{facts.day}.gpkg": map_geopackage(facts.result)
        for facts in data.maps
        if facts.result is not None and facts.result.crs
    }


def _refuse_empty(data: ReportData, period: Period) -> None:
    """Refuse a period in which there is neither a level event nor a round, nor the head of a logger."""
    days = data.levels["day"].dt.date
    if days.map(period.contains).any() or data.rounds["starts_on"].map(period.contains).any():
        return
    if any(line.has_heads(period.first, period.last) for line in data.logger_lines.values()):
        return
    if len(data.extras.frame("pumping_tests")):
        return
    on_record = f"Levels on record run from {days.min()} to {days.max()}." if len(days) else "No level is on record."
    message = f"There is neither a level nor a round in {period.label}."
    raise ReportError(message, where=data.site.code, fix=on_record)
