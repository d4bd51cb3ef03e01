"""Issuing reports: refusals, the register, and what later reports tell of earlier ones. The invented demo record."""

import datetime as dt
import hashlib
import json

import pytest

import gwnet
from gwnet.errors import NotFoundError, ReportError, SettingsError, StoreError

AT = dt.datetime(2026, 4, 7, 9, 30, tzinfo=dt.UTC)
DEFINITION = """
title = "Levels"
sections = ["levels", "sounded_depths", "earlier_reports", "register", "sign_off"]
"""
CORRECTED = (
    "site,well,access,valid_from,elevation,height_above_ground,vertical_datum,description,surveyed_on,surveyed_by,"
    "survey_method,accuracy,change\n"
    'ORLEVA,W-04,main,2020-06-10,59.204,0.696,Orleva site datum 2018 (local),"top of pipe, north side, notch",'
    "2020-06-10,K. Dremmant,levelling,0.010,altered\n"
)
ENTRY = "site,entry,kind,raised_on,raised_by,text,due_on,state,answer\n"


@pytest.fixture
def levels_report(tmp_path):
    path = tmp_path / "levels.toml"
    path.write_text(DEFINITION)
    return path


@pytest.fixture
def net(demo_store):
    with gwnet.open(demo_store) as opened:
        yield opened


def later(hours):
    return AT + dt.timedelta(hours=hours)


def decide(net, at):
    """Record the findings and accept all of them."""
    net.checks.record(by="C. Hecker", now_utc=at)
    waiting = net.review.queue().findings
    ids = [int(number) for number in waiting[waiting.columns[0]]]
    net.review.decide(ids, "accept", reason="Looked at", together=True, by="R. Viewer", now_utc=at)


def issue(net, definition, period, out, at, **more):
    return net.report(definition, period, out, issue=True, by="I. Ssuer", now_utc=at, **more)


def load(net, tmp_path, name, text, at, **more):
    path = tmp_path / name
    path.write_text(text)
    net.load([path], by="K. Eeper", now_utc=at, **more)


@pytest.mark.slow
def test_a_report_with_an_open_finding_is_not_issued_and_nothing_is_written(net, levels_report, tmp_path):
    with pytest.raises(ReportError, match=r"\d\d findings open without a remark") as refused:
        issue(net, levels_report, "2026-Q1", tmp_path / "out", AT)
    assert "W-14" in str(refused.value)
    assert "gwnet review" in str(refused.value)
    assert not (tmp_path / "out").exists()
    assert net.report.issues().empty


@pytest.mark.slow
def test_a_report_with_an_open_promise_is_not_issued_until_it_is_answered(net, levels_report, tmp_path):
    decide(net, AT)
    row = "ORLEVA,P-1,promise,2026-01-20,Authority,Survey W-04 again,2026-03-31,"
    load(net, tmp_path, "register.csv", ENTRY + row + "open,\n", later(1))
    with pytest.raises(ReportError, match="1 comment or promise open without a remark"):
        issue(net, levels_report, "2026-Q1", tmp_path / "out", later(2))
    load(net, tmp_path, "register.csv", ENTRY + row + "open,Booked for May\n", later(3), correct=True, reason="Planned")
    issue(net, levels_report, "2026-Q1", tmp_path / "out", later(4))
    assert net.report.issues()["period"].tolist() == ["2026-Q1"]


def test_an_answered_entry_needs_its_answer(net, tmp_path):
    with pytest.raises(gwnet.errors.FileRejectedError):
        load(net, tmp_path, "register.csv", ENTRY + "ORLEVA,P-1,promise,2026-01-20,A,Survey,,closed,\n", AT)


@pytest.mark.slow
def test_an_issue_keeps_every_printed_value_and_gives_the_same_bytes_again(net, levels_report, tmp_path):
    decide(net, AT)
    pdf, manifest, *_ = issue(net, levels_report, "2026-Q1", tmp_path / "one", later(1), remark="First")
    (told,) = net.report.issues().to_dict("records")
    assert told["sha256"] == hashlib.sha256(pdf.read_bytes()).hexdigest()
    assert (told["issued_by"], told["remark"], told["site"]) == ("I. Ssuer", "First", "ORLEVA")
    known_on = dt.datetime.fromisoformat(told["known_on"])
    assert json.loads(manifest.read_text())["known_on_utc"] == known_on.isoformat()
    again, *_ = issue(net, levels_report, "2026-Q1", tmp_path / "two", later(2), known_on=known_on)
    assert again.read_bytes() == pdf.read_bytes()
    assert len(net.report.issues()) == 1  # the same bytes are registered once


@pytest.mark.slow
def test_the_next_report_lists_what_changed_since_and_the_one_after_does_not(net, levels_report, tmp_path):
    decide(net, AT)
    first, *_ = issue(net, levels_report, "2025-Q4", tmp_path / "one", later(1))
    (old,) = net.levels(["W-04"], round="2025-Q4")["water_elevation_m"]
    load(net, tmp_path, "measuring_points.csv", CORRECTED, later(2), correct=True, reason="Booked 40 mm too high")
    differences = net.report.diff(first)
    level = differences[(differences["column"] == "Water elevation")]
    assert level[["row", "was", "now"]].values.tolist() == [
        ["W-04, 2025-11-19 09:11", f"{old:.3f}", f"{old - 0.040:.3f}"]
    ]
    assert "Booked 40 mm too high" in level["why"].iloc[0]
    assert "59.244 m to 59.204 m" in level["why"].iloc[0]

    second, *_ = issue(net, levels_report, "2026-Q1", tmp_path / "two", later(3))
    text = text_of(second)
    assert f"{old:.3f} {old - 0.040:.3f}" in text
    assert "Booked 40 mm too high" in text
    assert net.report.issues()["changes_stated"].tolist() == [0, len(differences)]

    third, *_ = net.report(levels_report, "2026-Q1", tmp_path / "three")
    assert "No printed value has changed" in text_of(third)
    assert set(net.report.diff("1", "2")["table"]) == {"sounded-depths"}  # the table that both print


def text_of(pdf):
    from pypdf import PdfReader

    return " ".join(" ".join(page.extract_text().split()) for page in PdfReader(pdf).pages)


@pytest.mark.slow
def test_an_issue_of_later_record_is_unknown_to_an_earlier_known_on(net, levels_report, tmp_path):
    decide(net, AT)
    before = net.newest_recording()
    issue(net, levels_report, "2025-Q4", tmp_path / "one", later(1))
    assert len(net.report.issues(known_on=later(2))) == 1
    assert net.report.issues(known_on=before).empty


def test_who_issues_must_be_named(net, levels_report, tmp_path):
    with pytest.raises(SettingsError, match="Nobody is named"):
        net.report(levels_report, "2026-Q1", tmp_path / "out", issue=True)


@pytest.mark.parametrize("name", ["7", "abcdef0", "nothing.pdf", ""])
def test_an_issue_that_is_not_registered_is_said_so(net, name):
    with pytest.raises(NotFoundError):
        net.report.diff(name)


@pytest.mark.slow
def test_an_issue_is_never_deleted(net, levels_report, tmp_path):
    from sqlalchemy import text

    decide(net, AT)
    issue(net, levels_report, "2025-Q4", tmp_path / "one", later(1))
    with pytest.raises(StoreError, match="never deleted"), net.store.altering() as connection:
        connection.execute(text("DELETE FROM report_issue"))
