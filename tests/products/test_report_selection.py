"""Reports of a few wells of several aquifers. The invented demo record."""

import gwnet


def test_named_wells_of_two_aquifers_make_a_report_and_too_few_give_a_sentence(demo_store, tmp_path):
    own = tmp_path / "own.toml"
    own.write_text(
        'title = "Few"\nsections = ["gradients"]\nweb_page = false\n[select]\nwells = ["N1-U", "N1-L", "W-01", "W-02", "W-03", "W-04", "W-05", "W-06", "W-07", "W-08", "W-09"]\n'
    )
    with gwnet.open(demo_store) as net:
        pdf, *_ = net.report(own, "2026-Q1", tmp_path / "out")
    from pypdf import PdfReader

    text = " ".join(" ".join(page.extract_text() for page in PdfReader(pdf).pages).split())
    assert "Horizontal gradients of Upper sand and gravel (upper)" in text
    assert "Horizontal gradients of Lower sand" not in text
    assert "No round gives a gradient: " in text
