"""Results of a report in order of consequence: sentences on constructed records, worked out by hand."""

import dataclasses
import datetime as dt

import pandas as pd
import pytest

from gwnet.analysis.levels.tape_doubts import STEPPED, UNCHECKED, TapeDoubt
from gwnet.analysis.thresholds.states import CROSSED, NOT_CROSSED, UNJUDGED
from gwnet.records import RecordState
from gwnet.reporting.content import Table, letters_of, note_letters
from gwnet.reporting.data import IssueFacts
from gwnet.reporting.definition.period import parse_period
from gwnet.reporting.errata import ChangedValue, EarlierIssue, MovedLevels
from gwnet.reporting.results import findings, quality, statistics, tapes
from gwnet.reporting.results.changes import change_results
from gwnet.reporting.results.flow import count_levels, flow_results
from gwnet.reporting.results.order import list_results
from gwnet.reporting.results.result import Result, counted
from gwnet.reporting.results.thresholds import results_of_states, threshold_results
from gwnet.reporting.results.visits import visit_result
from gwnet.reporting.sections.cover import _issue, not_over
from gwnet.reporting.sections.earlier import compose_earlier_reports
from gwnet.reporting.sections.levels import compose_levels
from gwnet.reporting.threshold_words import name_threshold, rule_words
from gwnet.reporting.view import look

PERIOD = parse_period("2026-Q1")


def view_of(quarterly, data):
    return look(quarterly, data, PERIOD)


def with_levels(view, **columns):
    """Return a look at the same record with other values in columns of HW-001's newest level of the period."""
    levels = view.data.levels.copy()
    row = (levels["well"] == "HW-001") & (levels["round"] == "2026-Q1")
    for name, value in columns.items():
        levels.loc[row, name] = value
    return look(view.definition, dataclasses.replace(view.data, levels=levels), PERIOD)


def issue_of(view):
    return dict(_issue(view)).get("Issue")


def test_results_come_in_order_of_consequence(view24):
    subjects = list(dict.fromkeys(result.subject for result in list_results(view24)))
    assert subjects == ["thresholds", "changes", "flow", "visits", "quality", "corrections"]
    states = [result.states[0] for result in list_results(view24) if result.states]
    assert states == [CROSSED, UNJUDGED, NOT_CROSSED]
    assert list_results(view24)[-1].states == (NOT_CROSSED,)


def test_numbers_agree_with_their_nouns(view24):
    one = [state for state in view24.thresholds if state.state == CROSSED][:1]
    (result,) = results_of_states(one, view24.measures)
    assert result.lead == "1 threshold is crossed."
    assert results_of_states([], view24.measures) == [Result("thresholds", "No threshold is in force at these wells.")]
    assert [result.lead for result in threshold_results(view24)] == [
        "6 of 13 thresholds are crossed.",
        "3 of 13 thresholds cannot be judged.",
        "4 of 13 thresholds are not crossed.",
    ]
    assert (counted(1, "well"), counted(2, "well"), counted(2, "boss", "bosses")) == ("1 well", "2 wells", "2 bosses")


def test_a_threshold_is_named_with_its_level_and_its_rule(view24):
    state = next(state for state in view24.thresholds if state.well == "HW-001" and state.threshold == "warning")
    assert name_threshold(state, view24.measures).replace("\u00a0", " ") == "HW-001 warning (below 39.510 m)"
    assert rule_words(state) == "2 readings in a row, or 2 days of a logger in a row"


def test_wells_without_a_level_are_named_with_what_became_of_them(view24):
    result = visit_result(view24)
    assert result.lead == "19 of 23 planned wells gave a level that can be compared and mapped."
    assert "1 was dry (HW-007); 1 could not be reached (HW-013); 1 was pumping (HW-008)." in result.text
    assert "HW-014 has no reading and no reason on record." in result.text


def test_a_level_that_a_finding_keeps_out_is_said_of_the_well_and_of_the_record(view24):
    view = with_levels(view24, usable=False, unusable_reason="serious finding open: fits in another unit")
    assert "1 gave a level that an open serious finding keeps out (HW-001)" in visit_result(view).text
    assert findings.levels_held_back(view)["well"].tolist() == ["HW-001"]
    text = quality.quality_result(view).text
    assert "1 level of the whole record is left out of every result: a serious finding is open (HW-001)." in text
    since, _ = change_results(view)
    assert "6 wells cannot be compared." in since.text


def test_every_open_finding_of_levels_that_are_printed_is_asked_about(view24):
    rows = pd.DataFrame(
        [
            ("HW-001", "2019-02-10T08:05+01:00", "2019-Q1", "old", "serious", "old and open", ""),
            ("HW-001", "2019-05-10T08:05+02:00", "2019-Q2", "old", "serious", "old and dismissed", "dismissed"),
            ("HW-001", "2026-05-10T08:05+02:00", "2026-Q2", "new", "serious", "after the period", ""),
            ("HW-002", "", "2026-Q1", "round", "serious", "of the round", "open"),
            ("HW-002", "", "2018-Q1", "round", "serious", "of a round not printed", "open"),
            ("HW-002", "", "", "well", "serious", "of the well", ""),
            ("XX-999", "2026-02-10T08:05+01:00", "2026-Q1", "other", "serious", "of another well", ""),
        ],
        columns=["well", "measured_at", "round", "rule", "severity", "message", "decision"],
    )
    view = dataclasses.replace(view24, data=dataclasses.replace(view24.data, findings=rows))
    messages = [row["message"] for row in findings.open_findings_printed(view)]
    assert messages == ["old and open", "of the round", "of the well"]  # the newest first, those without a time last


def with_tape_doubt(view, why):
    """Return a look at the same record with the newest level of HW-001 read with a tape in doubt."""
    event = int(view.current.best["HW-001"]["event_id"])
    data = dataclasses.replace(view.data, tape_doubts={event: TapeDoubt("E-9", why)})
    return look(view.definition, data, PERIOD)


def test_a_tape_without_a_check_is_said_wherever_a_change_rests_on_it(view24):
    view = with_tape_doubt(view24, UNCHECKED)
    words = "read with tape E-9, which had no check on record, so that ± is that of an unchecked tape."
    for result in change_results(view):
        assert f"1 level of these was {words}" in result.text
    assert "No check is on record of tape E-9." in quality.quality_result(view).text
    event, other = view.current.best["HW-001"], view.current.best["HW-002"]
    note = tapes.tape_note(view, event, None)
    assert note == tapes.tape_note(view, other, event)
    assert note == "Rests on a reading with " + words.removeprefix("read with ")
    assert tapes.tape_note(view, other, None) == ""
    assert tapes.doubt_of(view, None) is None
    assert tapes.unchecked_tapes(view24) == ""
    assert tapes.tape_sentence(view24, view24.current.best.values()) == ""


def test_a_tape_in_doubt_is_one_note_of_the_table_with_a_letter_at_each_number(view24):
    view = with_tape_doubt(view24, UNCHECKED)
    table = next(block for block in compose_levels(view, None) if isinstance(block, Table))
    letters = note_letters(table)
    assert list(letters.values()) == ["a"]
    marked = [
        (row[0].value, [place for place, cell in enumerate(row) if letters_of(cell, letters)]) for row in rows_of(table)
    ]
    # the half-width of the level, and both changes
    assert [(well, places) for well, places in marked if places] == [("HW-001", [5, 6, 7])]
    assert not any("tape" in cell.reason for row in rows_of(table) for cell in row)
    (without,) = (block for block in compose_levels(view24, None) if isinstance(block, Table))
    assert note_letters(without) == {}


def rows_of(table):
    return [row for row in table.rows if isinstance(row, tuple)]


def test_a_step_with_another_tape_is_said_with_the_change(view24):
    message = (
        "With tape E-9 instead of ET-1, first used on 2026-02-10, the levels of 9 wells stepped by -0.067 m "
        "(standard error 0.008 m), -14.5 mm per metre of depth, against wells that kept their tape: check both tapes."
    )
    rows = pd.DataFrame(
        [("HW-001", "2026-02-10T08:05+01:00", "2026-Q1", "step with another tape", "warning", message)],
        columns=["well", "measured_at", "round", "rule", "severity", "message"],
    )
    view = with_tape_doubt(view24, STEPPED)
    view = dataclasses.replace(view, data=dataclasses.replace(view.data, findings=rows))
    text = change_results(view)[0].text
    assert "read with tape E-9, whose levels step against those of other tapes, so that ± is that of" in text
    assert "the levels of 9 wells stepped by -0.067 m" in text
    # dismissed, no level is in doubt, and nothing rests on the step
    dismissed = dataclasses.replace(view24, data=dataclasses.replace(view24.data, findings=rows))
    assert "stepped" not in change_results(dismissed)[0].text


def test_levels_of_a_gradient_are_counted_by_kind():
    assert count_levels(17, 2, 2) == "13 manual readings, 2 loggers and 2 gauges"
    assert count_levels(1, 0, 0) == "1 manual reading"
    assert count_levels(0, 0, 0) == "no level"


def test_flow_of_each_mapped_aquifer_has_a_sentence(view24):
    (result,) = flow_results(view24)
    assert result.lead == "The direction of flow is known in 1 of 2 mapped aquifers."
    assert len(result.items) == 2


def trends(*rows):
    names = "well n first last p direction".split()
    return pd.DataFrame([dict(zip(names, row, strict=True)) for row in rows])


def with_frame(view, name, frame):
    extras = dataclasses.replace(view.data.extras, frames={name: frame.reindex(columns=_columns(name, frame))})
    return dataclasses.replace(view, data=dataclasses.replace(view.data, extras=extras))


def _columns(name, frame):
    from gwnet.reporting.registry import frame_columns

    return list(dict.fromkeys([*frame_columns()[name], *frame.columns]))


def test_trends_have_a_line(view24):
    none = trends(("HW-001", 32, "2018-02-10", "2026-02-10", 0.4, "none"), ("HW-002", 2, "2025", "2026", None, ""))
    (result,) = statistics.trend_results(with_frame(view24, "trends", none))
    assert result.lead == "No trend is significant at any of 1 well tested."
    assert "At 1 well the levels are too few for a test." in result.text
    falling = trends(("HW-001", 32, "2018-02-10", "2026-02-10", 0.001, "falling"))
    (result,) = statistics.trend_results(with_frame(view24, "trends", falling))
    assert result.lead == "A trend is significant at 1 of 1 well tested: falling at HW-001."
    assert statistics.trend_results(view24) == []


@pytest.mark.parametrize(
    ("percentile", "said"),
    [
        (5.0, "below the 10th percentile of its month at HW-001, of 1 well"),
        (95.0, "above the 90th at HW-001, of 1 well"),
        (50.0, "lies between the 10th and 90th percentile of its month at all 1 well"),
        (None, "No well has enough years"),
    ],
)
def test_seasons_have_a_line(view24, percentile, said):
    frame = pd.DataFrame([{"well": "HW-001", "n": 40, "percentile": percentile}]).astype({"percentile": "float64"})
    (result,) = statistics.season_results(with_frame(view24, "seasons", frame))
    assert said in result.lead


def test_samples_after_the_period_are_not_told_of(view24):
    frame = pd.DataFrame(
        [
            {"well": "HW-001", "last_utc": pd.Timestamp("2026-06-01", tz="UTC"), "warnings": ""},
            {"well": "HW-002", "last_utc": pd.Timestamp("2026-01-15", tz="UTC"), "warnings": "clock"},
        ]
    )
    (result,) = quality.logger_results(with_frame(view24, "loggers", frame))
    assert result.lead == "Loggers of 2 wells are on record, with samples up to 31 March 2026."
    assert result.text == "HW-002 ends earlier. Findings wait for a decision at HW-002."


def test_a_correction_is_told_without_the_words_that_changed(view24):
    (result,) = quality.correction_results(view24)
    assert result.lead == "Since the period began, 1 correction was recorded."
    assert result.items == (
        "HW-005, measuring point: elevation from 42.180 m to 42.080 m (by registrar): level run closed on the wrong "
        "benchmark.",
    )


def issue(number=1, period="2026-Q1", changes=(), moved=()):
    at = dt.datetime(2026, 4, 2, 8, 0, tzinfo=dt.UTC)
    return EarlierIssue(number, "quarterly", period, at, "I. Ssuer", at, "ab" * 32, tuple(changes), 0, tuple(moved))


def with_issues(view, *earlier, facts=None):
    return dataclasses.replace(view, data=dataclasses.replace(view.data, earlier=earlier, issue=facts))


def test_the_cover_of_a_reissue_says_which_issue_it_replaces_and_why(view24):
    facts = IssueFacts(2, "I. Ssuer", "Survey of HW-005 corrected")
    assert issue_of(with_issues(view24, issue(), facts=facts)) == (
        "issue 2 of this report, replaces issue 1 of 2 April 2026; Survey of HW-005 corrected"
    )
    first = with_issues(view24, issue(period="2025-Q4"), facts=IssueFacts(1, "I. Ssuer"))
    assert issue_of(first) == "issue 1 of this report, replaces none"
    draft = with_issues(view24, issue())
    assert issue_of(draft) == "draft, not issued; issue 1 of 2 April 2026 is on record"
    assert issue_of(view24) is None


def test_a_period_that_is_not_over_says_so_on_the_cover(view24):
    assert not_over(view24) == ""
    early = RecordState(9, dt.datetime(2026, 3, 9, 8, 0, tzinfo=dt.UTC))
    view = dataclasses.replace(view24, data=dataclasses.replace(view24.data, known_on=early))
    assert not_over(view).endswith("; the record closes on 9 March 2026: the period is not over")


def test_many_changed_values_become_the_correction_the_levels_and_a_sentence_a_table(view24):
    changes = [
        ChangedValue("trends", f"HW-{number:03d}", "p adjusted", "", "0.100", f"0.1{number:02d}", "worked out together")
        for number in range(1, 20)
    ] + [ChangedValue("gradients-upper", "2020-Q1, 2020-02-18", "Gradient", "m/m", "0.00285", "0.00290", "why")]
    moved = [MovedLevels("HW-005", 26, "2018-02-13", "2024-05-22", -0.3, -0.3, "measuring point: surveyed anew")]
    blocks = compose_earlier_reports(with_issues(view24, issue(changes=changes, moved=moved)), None)
    _, said, tables = blocks
    assert said.text.replace("\u00a0", " ") == (
        "20 printed values have changed. HW-005, measuring point: surveyed anew. This moved 26 levels of 2018-02-13 to "
        "2024-05-22 by −0.300 m."
    )
    assert tables.items[0] == "Trends: 19 values in 19 rows, most at HW-019: p adjusted 0.100 before, 0.119 now."
    assert tables.items[1].startswith(
        "Gradients upper: 1 value in 1 row, most at 2020-Q1, 2020-02-18: Gradient 0.00285"
    )
    assert tables.items[-1].endswith("data annex, changed_values.")


def test_few_changed_values_are_a_table(view24):
    change = ChangedValue("levels-2026-Q1", "HW-001", "Water elevation", "m", "39.110", "39.010", "surveyed anew")
    blocks = compose_earlier_reports(with_issues(view24, issue(changes=[change])), None)
    assert [row[2].value for row in blocks[-1].rows if isinstance(row, tuple)] == ["39.110"]
    assert blocks[1].text == "1 printed value has changed. Surveyed anew."


def words_in(part):
    """Yield every text in a part of a report."""
    if isinstance(part, str):
        yield part
    elif isinstance(part, list | tuple):
        for each in part:
            yield from words_in(each)
    elif dataclasses.is_dataclass(part):
        for field in dataclasses.fields(part):
            yield from words_in(getattr(part, field.name))


def test_no_sentence_refers_to_a_section_that_a_definition_may_leave_out(report24):
    text = " ".join(" ".join(words_in(report24)).replace("\u00a0", " ").lower().split())
    assert "19 of 23 planned wells gave a level" in text
    for section in report24.sections:
        for words in ("see", "see the section", "listed under", "given under", "in the section"):
            assert f"{words} {section.title.lower()}" not in text
