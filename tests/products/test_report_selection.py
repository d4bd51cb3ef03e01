"""Reports of a few wells of several aquifers. The invented demo record."""

import re

import pytest

import gwnet


@pytest.mark.slow
def test_named_wells_of_two_aquifers_make_a_report_and_too_few_give_a_sentence(demo_store, tmp_path):
    own = tmp_path / "own.toml"
    own.write_text(
        'title = "Few"\nsections = ["gradients"]\nweb_page = false\n[select]\nwells = ["N1-U", "N1-L", "W-01", "W-02", "W-03", "W-04", "W-05", "W-06", "W-07", "W-08", "W-09"]\n'
    )
    with gwnet.open(demo_store) as net:
        pdf, *_ = net.report(own, "2026-Q1", tmp_path / "out")
    from pypdf import PdfReader

    text = " ".join(" ".join(page.extract_text() for page in PdfReader(pdf).pages).split())
    assert re.search(r"Upper sand and gravel \(upper\): flow towards \d+° to \d+° at \d+ of \d+ rounds", text)
    assert "Lower sand (lower): flow towards" not in text
    assert re.search(r"Lower sand \(lower\) No round gives a gradient: [^.]+\. ", text)
