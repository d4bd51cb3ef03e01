"""Constructed records shared by the report's tests."""

import pytest

from . import constructed as constructed_records


@pytest.fixture(scope="session")
def constructed():
    """The module that makes constructed records."""
    return constructed_records


@pytest.fixture(scope="session")
def record24(constructed):
    """A record of 24 wells in metres."""
    return constructed.record(24)


@pytest.fixture(scope="session")
def quarterly():
    """The quarterly definition that travels with the program."""
    from gwnet.reporting.definition.parse import load_definition

    return load_definition("quarterly")


@pytest.fixture(scope="session")
def view24(quarterly, record24):
    """The look at 24 wells for the first quarter of 2026."""
    from gwnet.reporting.definition.period import parse_period
    from gwnet.reporting.view import look

    return look(quarterly, record24, parse_period("2026-Q1"))


@pytest.fixture(scope="session")
def report24(view24, constructed):
    """The quarterly report of 24 wells as content."""
    from gwnet.reporting.compose import compose_view

    return compose_view(view24, constructed.PlainDrawing())


@pytest.fixture(scope="session")
def rendered24(report24):
    """The same as PDF."""
    from gwnet.reporting.pdf.render import render_pdf

    return render_pdf(report24, creator="gwnet test")
