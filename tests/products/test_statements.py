"""Every frame is fetched once by a map, a hydrograph, a gradient and a report. The invented demo record."""

import pytest

from gwnet.network import Network

from ..analysis.test_statements import counted, repeated

DAY = "2026-02-17"
QUESTIONS = {
    "map": lambda net, out: net.map("upper", DAY),
    "hydrograph": lambda net, out: net.hydrograph(["N1-U", "N1-L"]),
    "gradient": lambda net, out: net.gradients(["W-01", "W-04", "W-05"], DAY),
    "gradients": lambda net, out: net.gradients.by_round("lower"),
    "change": lambda net, out: net.map.change("upper", DAY, "2025-11-18"),
    "report": lambda net, out: net.report("quarterly", "2026-Q1", out, processes=1),
}


@pytest.mark.parametrize(
    "ask",
    [
        pytest.param(ask, id=name, marks=[pytest.mark.slow] if name == "report" else [])
        for name, ask in QUESTIONS.items()
    ],
)
def test_a_product_fetches_each_frame_once(demo_record, tmp_path, ask):
    with Network(demo_record) as net, counted() as statements:
        ask(net, tmp_path / "out")
    frames = [text for text in repeated(statements) if "FROM sample_" not in text]  # samples are let go and asked again
    assert sum(statements.values()) > 10
    assert frames == []
