"""Reports of a few wells of several aquifers. The invented demo record."""

import gwnet


def test_named_wells_of_two_aquifers_make_a_report_with_the_gradients_of_each(demo_store, tmp_path):
    own = tmp_path / "own.toml"
    own.write_text(
        'title = "Few"\nsections = ["gradients"]\nweb_page = false\n[select]\nwells = ["N1-U", "N1-L", "W-07"]\n'
    )
    with gwnet.open(demo_store) as net:
        pdf, *_ = net.report(own, "2026-Q1", tmp_path / "out")
    from pypdf import PdfReader

    text = " ".join(" ".join(page.extract_text() for page in PdfReader(pdf).pages).split())
    assert text.count("Horizontal gradients of") >= 2
