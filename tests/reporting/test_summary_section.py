"""The summary as blocks: a paragraph a result, its cases as a list."""

import dataclasses

from gwnet.reporting.content import Bullets, Heading, Paragraph
from gwnet.reporting.results.order import list_results
from gwnet.reporting.results.result import Result
from gwnet.reporting.sections.summary import compose_summary, result_blocks


def test_each_result_begins_with_what_was_found(view24):
    blocks = compose_summary(view24, None)
    leads = [block.lead_in for block in blocks if isinstance(block, Paragraph)]
    assert leads == [result.lead for result in list_results(view24)]
    assert sum(isinstance(block, Bullets) for block in blocks) == sum(bool(one.items) for one in list_results(view24))


def test_a_long_list_of_cases_ends_with_how_many_more_there_are():
    paragraph, listed = result_blocks(Result("thresholds", "12 thresholds are crossed.", items=tuple("ABCDEFGHIJKL")))
    assert (paragraph.lead_in, paragraph.text) == ("12 thresholds are crossed.", "")
    assert listed.items == (*"ABCDEFGH", "4 more are in the data annex.")
    assert result_blocks(Result("visits", "All wells gave a level.")) == [
        Paragraph("", lead_in="All wells gave a level.")
    ]


def test_the_preparers_own_words_come_last(view24):
    own = dataclasses.replace(view24.definition, discussion=("It rained.",))
    heading, words = compose_summary(dataclasses.replace(view24, definition=own), None)[-2:]
    assert isinstance(heading, Heading)
    assert words.text == "It rained."
