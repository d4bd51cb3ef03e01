"""Each section composed alone from the constructed record: its rows are counted anew from the frames."""

import dataclasses
import re

import pandas as pd
import pytest

from gwnet.errors import DefinitionError
from gwnet.reporting.content import Caution, FigureSlot, Heading, PageTitle, Paragraph, SignOff, Table
from gwnet.reporting.definition.files import read_wording
from gwnet.reporting.definition.keys import Checks
from gwnet.reporting.rounds import MOST_OFF_DAYS, planned_wells
from gwnet.reporting.sections import (
    closing,
    common,
    comparison,
    cover,
    earlier,
    hydrographs,
    levels,
    levels_to_date,
    loggers,
    maps,
    network,
    programme,
    quality,
    soundings,
    statistics,
    thresholds,
    year,
)


@pytest.fixture
def composed(view24, constructed):
    """Compose one section."""
    return lambda compose: list(compose(view24, constructed.PlainDrawing()))


def tables(blocks):
    return {block.key: block for block in blocks if isinstance(block, Table)}


def rows(table):
    """Return the rows of a table without the headings of its groups."""
    return [row for row in table.rows if isinstance(row, tuple)]


def column(table, name):
    place = next(i for i, one in enumerate(table.columns) if one.heading == name)
    return [row[place].value for row in rows(table)]


def test_each_well_has_one_row_of_position_and_each_part_one_of_construction(composed, view24):
    found = tables(composed(network.compose_construction))
    assert sorted(column(found["wells"], "Well")) == sorted(view24.wells["well"])
    assert set(column(found["construction"], "Well")) == set(view24.wells["well"])


def test_each_measuring_point_has_its_row(composed, view24):
    found = tables(composed(network.compose_measuring_points))["measuring-points"]
    assert len(rows(found)) == len(view24.data.measuring_points)


def test_levels_of_the_round_are_those_of_its_wells_and_product_is_said_in_its_row(composed, view24):
    found = tables(composed(levels.compose_levels))
    current = view24.current
    assert set(column(found["levels-2026-Q1"], "Well")) == {*current.events["well"], *current.planned}
    with_product = [event for event in current.best.values() if event["product_thickness_m"] > 0]
    said = [row for row in rows(found["levels-2026-Q1"]) if any("floating product" in cell.reason for cell in row)]
    assert len(said) == len(with_product) == 1


def test_levels_to_date_have_a_row_for_every_round(composed, view24):
    found = tables(composed(levels_to_date.compose_levels_to_date))
    until = view24.data.rounds[view24.data.rounds["round"] <= "2026-Q1"]
    assert {len(rows(table)) for table in found.values()} == {len(until)}


def test_each_well_that_was_sounded_has_its_newest_sounding(composed, view24):
    found = tables(composed(soundings.compose_sounded_depths))["sounded-depths"]
    assert sorted(column(found, "Well")) == sorted(set(view24.levels.dropna(subset=["sounded_depth_m"])["well"]))


def test_thresholds_and_what_to_do_about_them(composed, view24):
    found = tables(composed(thresholds.compose_threshold_table))
    assert len(rows(found["thresholds"])) == len(view24.thresholds)
    crossed = [status.well for status in view24.thresholds if status.state == thresholds.CROSSED]
    assert set(crossed) <= set(column(found["threshold-actions"], "Well"))


def test_what_was_planned_and_what_was_met(composed, view24):
    [row] = rows(tables(composed(programme.compose_planned_and_done))["planned-and-done"])
    assert row[0].value == "2026-Q1"
    assert [cell.value for cell in row if cell.value == len(view24.current.planned)]
    met = tables(composed(programme.compose_field_conditions))["field-conditions"]
    events = view24.current.events
    assert set(column(met, "Well")) == set(events.loc[(events["status"] != "static") | (events["notes"] != ""), "well"])


def test_findings_and_corrections_stand_under_their_headings(composed):
    blocks = composed(quality.compose_data_quality)
    assert [block.text for block in blocks if isinstance(block, Heading)] == [
        "Findings of the checks",
        "Corrections to the record",
        "Tape checks in force",
    ]


def test_each_mapped_aquifer_has_its_gradient_and_its_map(composed, view24):
    blocks = composed(maps.compose_maps)
    found = view24.maps()
    assert len(rows(tables(blocks)["gradients"])) == len(found) == 2
    assert len([block for block in blocks if isinstance(block, FigureSlot)]) == len(found)
    [whole] = composed(maps.compose_network_map)
    assert whole.key == "network"


@pytest.mark.parametrize(
    ("compose", "words"),
    [
        (comparison.compose_gradients, "No gradient can be worked out"),
        (comparison.compose_changes, "There is no earlier round"),
        (earlier.compose_earlier_reports, "No earlier report of this kind"),
        (earlier.compose_register, "No comment or promise is on record"),
        (loggers.compose_loggers, "No logger is installed"),
        (statistics.compose_seasons, "No well has a level from which seasons"),
        (statistics.compose_trends, "No well has levels that could be tested"),
        (programme.compose_network_changes, "No well, measuring point, instrument or threshold was added"),
    ],
)
def test_a_section_with_nothing_to_say_says_so_in_one_sentence(composed, compose, words):
    [sentence] = composed(compose)
    assert isinstance(sentence, Paragraph)
    assert sentence.text.startswith(words)


def test_the_method_notes_name_the_test_of_trends_as_the_section_does(view24, constructed, monkeypatch):
    words = "Kendall's test within 4 seasons of a year"
    extras = dataclasses.replace(view24.data.extras, trend_text=words)
    view = dataclasses.replace(view24, data=dataclasses.replace(view24.data, extras=extras))
    monkeypatch.setattr(closing, "_list_notes", lambda _: ["trends"])
    [note] = [one for one in closing.compose_methods(view, constructed.PlainDrawing()) if isinstance(one, Paragraph)]
    assert words in note.text


def test_the_method_notes_state_the_days_beyond_which_no_year_is_compared(view24, constructed, monkeypatch):
    monkeypatch.setattr(closing, "_list_notes", lambda _: ["comparison"])
    [note] = closing.compose_methods(view24, constructed.PlainDrawing())
    assert note.lead_in == "Comparison of rounds."
    assert f"within {MOST_OFF_DAYS} days of a year earlier" in note.text


def test_findings_in_another_unit_say_in_which_they_are_quoted(view24):
    def notes(unit):
        measures = dataclasses.replace(view24.measures, unit=unit)
        return quality._findings(dataclasses.replace(view24, measures=measures)).notes

    assert notes("m") == ()
    assert notes("ft") == ("Lengths in findings are quoted as recorded, in metres.",)


def test_cautions_end_with_the_sites_own_and_signatures_stand_below(view24, constructed, composed):
    own = dataclasses.replace(view24.definition, cautions=("Wells of the farm are not fenced.",))
    [caution] = closing.compose_cautions(dataclasses.replace(view24, definition=own), constructed.PlainDrawing())
    assert isinstance(caution, Caution)
    assert caution.items[-1] == "Wells of the farm are not fenced."
    assert isinstance(composed(closing.compose_sign_off)[0], SignOff)


def test_the_cover_counts_approved_and_provisional_levels(view24):
    events = view24.current.events
    events = events[events["water_elevation_m"].notna() | (events["bound"] != "")]
    approved = int((events["review"] == "approved").sum())
    provisional = int((events["review"] == "provisional").sum())
    sentence = cover.review_sentence(view24.reviews)
    assert sentence == f"{approved} of {approved + provisional} levels approved, {provisional} provisional"


def test_a_cell_has_a_number_or_a_reason(view24):
    assert common.length_cell(float("nan"), view24.measures).reason == common.NOT_ON_RECORD
    assert common.length_cell(1.25, view24.measures).value == 1.25
    assert common.text_cell("", "none").reason == "none"
    assert common.day_text("2026-02-10T08:05+01:00") == "2026-02-10"
    assert common.event_well({"well": "A", "access": "north"}) == "A (north)"


def test_a_round_without_named_wells_is_of_those_that_stood(view24):
    wells = view24.wells.assign(drilled_on="2000-01-01", decommissioned_on=None)
    first, last = view24.period.first, view24.period.last
    wells.loc[wells.index[0], "drilled_on"] = last.replace(year=last.year + 1).isoformat()
    wells.loc[wells.index[1], "decommissioned_on"] = first.isoformat()
    assert planned_wells([], wells, first, last) == tuple(wells["well"][2:])
    assert planned_wells([wells["well"].iloc[0], "elsewhere"], wells, first, last) == (wells["well"].iloc[0],)


def test_own_wording_beside_the_definition_goes_before_the_programs(tmp_path):
    folder = tmp_path / "words"
    folder.mkdir()
    (folder / "cautions.md").write_text("Ask the keeper first.\n", encoding="utf-8")
    digests = {}
    texts = read_wording(tmp_path / "report.toml", "words", digests)
    assert texts == {"cautions": "Ask the keeper first.\n"}
    assert list(digests) == ["words/cautions.md"]
    (folder / "poems.md").write_text("Roses are red.", encoding="utf-8")
    with pytest.raises(DefinitionError, match="No report asks for a standing text 'poems'"):
        read_wording(tmp_path / "report.toml", "words", {})


def test_an_unknown_key_of_a_definition_is_refused_with_the_nearest_and_a_missing_one_is_named(tmp_path):
    checks = Checks(tmp_path / "report.toml", 'title = "T"\nsections = ["levels"]\nunit = "m"\n')
    with pytest.raises(DefinitionError, match="units"):
        checks.run({"title": "T", "sections": ["levels"], "unit": "m"})
    with pytest.raises(DefinitionError, match="'sections' is missing"):
        checks.run({"title": "T"})


def test_the_days_of_loggers_are_those_of_the_site(view24, constructed):
    moment = pd.Timestamp("2025-10-12T22:30", tz="UTC")  # half past midnight of the 13th in Vienna
    counts = {"samples": 24, "coverage_percent": 99.0, "gaps": 0, "manual_readings": 0, "warnings": "", "findings": ""}
    unknown = ("residual_m", "leave_one_out_residual_m", "drift_m_per_year", "drift_share_percent", "uncertainty_m")
    counts |= dict.fromkeys(unknown, float("nan")) | {"last_manual_reading": ""}
    row = {"well": "", "instrument": "B-1", "first_utc": moment, "last_utc": moment, **counts}
    extras = dataclasses.replace(view24.data.extras, frames={"loggers": pd.DataFrame([row])})
    site = dataclasses.replace(view24.data.site, time_zone="Europe/Vienna")
    view = dataclasses.replace(view24, data=dataclasses.replace(view24.data, extras=extras, site=site))
    table = tables(loggers.compose_loggers(view, constructed.PlainDrawing()))["logger-coverage"]
    assert column(table, "first") == column(table, "last") == ["2025-10-13"]


def test_the_page_of_a_year_has_a_title_an_aquifer_and_its_key_wells(composed, view24):
    blocks = composed(year.compose_year)
    names = [view24.aquifer_name(code).partition(" (")[0] for code, _ in view24.by_aquifer()]
    assert [block.text for block in blocks if isinstance(block, PageTitle)] == [f"{name} in 2026-Q1" for name in names]
    figures = [block for block in blocks if isinstance(block, FigureSlot)]
    assert [figure.key for figure in figures] == ["year-wells-1", "year-wells-2"]  # one round is no high and low water
    limited = {state.well for state in view24.thresholds}
    named = set(re.findall(r"HW-\d{3}", figures[0].caption))
    assert 0 < len(named) <= 4
    assert named <= limited


def test_thresholds_have_a_row_each_on_their_page(composed, view24):
    blocks = composed(thresholds.compose_thresholds)
    assert isinstance(blocks[0], Paragraph)
    assert blocks[0].lead_in.startswith("6 of 13 thresholds")
    alternatives = " ".join(block.alt for block in blocks if isinstance(block, FigureSlot))
    assert all(state.well in alternatives for state in view24.thresholds)


def test_a_page_of_hydrographs_holds_six_and_begins_with_wells_that_have_thresholds(composed, view24):
    blocks = composed(hydrographs.compose_hydrographs)
    figures = [block for block in blocks if isinstance(block, FigureSlot)]
    wells = [well for figure in figures for well in figure.bookmarks]
    assert sorted(wells) == sorted(view24.wells["well"])
    assert {len(figure.bookmarks) for figure in figures[:-1]} == {6}
    limited = {state.well for state in view24.thresholds}
    assert set(wells[: len(limited)]) == limited


def test_the_section_on_trends_lists_the_wells_at_which_something_is_to_be_done():
    columns = "well direction since newest percentile threshold threshold_state reached_on to_do because data".split()
    rows = [
        ("GW-1", "falling", "2015", "2026-02-17", 12.0, "low", "on this trend", "2031-05-01", "watch", "low ahead", "40 values"),
        ("GW-2", "no significant trend", "2018", "2026-02-17", float("nan"), "", "", "", "nothing", "", "32 values"),
    ]  # fmt: skip
    heading, table, rest = statistics._summary_blocks(pd.DataFrame(rows, columns=columns))
    assert isinstance(heading, Heading)
    assert [row[0].value for row in table.rows] == ["GW-1"]
    assert [cell.value for cell in table.rows[0]][7:] == ["watch", "low ahead"]
    assert rest.text == "Nothing to do at 1 well."
