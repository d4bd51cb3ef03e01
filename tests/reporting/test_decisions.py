"""What a reviewer decided about a finding stands beside it in the report; nothing is told twice."""

import dataclasses

from gwnet.reporting.results.findings import period_findings


def told(view, **columns):
    """Return the findings of the period at the first well that has some, each with further columns."""
    found = view.data.findings.assign(**columns)
    return period_findings(dataclasses.replace(view, data=dataclasses.replace(view.data, findings=found)))


def test_a_decision_is_stated_with_its_reason(view24):
    plain = period_findings(view24)
    assert plain
    decided = told(view24, decision="dismissed", decided_by="V. Iewer", decision_reason="it rained")
    messages = set(view24.data.findings["message"])
    noticed = [message for *_, message in plain if message in messages]
    assert noticed
    for message in noticed:
        assert f"{message} (dismissed by V. Iewer: it rained)" in [text for *_, text in decided]


def test_an_open_finding_is_stated_as_it_was_noticed(view24):
    assert told(view24, decision="open", decided_by="", decision_reason="") == period_findings(view24)


def test_what_a_check_noticed_is_not_repeated_by_its_rule(view24):
    rules = {(row["well"], row["measured_at"], row["rule"]) for row in view24.data.findings.to_dict("records")}
    assert not rules & set(period_findings(view24))
