"""Figures drawn in several processes: the same report, in the same order. Constructed."""

import datetime as dt
import os

import pytest

from gwnet.records import RecordState
from gwnet.reporting.content import Cover, FigureSlot, Paragraph, Report, Section
from gwnet.reporting.drawn_together import with_figures


def report_of(figures):
    blocks = (Paragraph("Before"), *figures)
    return Report(
        title="T",
        site="S",
        period="P",
        state="PROVISIONAL",
        known_on=RecordState(1, dt.datetime(2026, 4, 1, tzinfo=dt.UTC)),
        cover=Cover(()),
        sections=(Section("a", "A", blocks),),
    )


def slots(count, make=lambda place: b"figure %d" % place):
    return [FigureSlot(f"f{place}", "caption", "alt", lambda place=place: make(place)) for place in range(count)]


@pytest.mark.parametrize("processes", [1, 2, 5])
@pytest.mark.parametrize("count", [0, 1, 3, 4, 11])
def test_every_figure_is_drawn_once_and_in_its_place(processes, count):
    seen = []
    drawn = with_figures(
        report_of(slots(count)), processes=processes, progress=lambda done, total: seen.append((done, total))
    )
    assert [figure.pdf for figure in drawn.figures()] == [b"figure %d" % place for place in range(count)]
    assert seen == [(place, count) for place in range(1, count + 1)]
    assert drawn.sections[0].blocks[0] == Paragraph("Before")


def test_several_processes_really_draw():
    drawn = with_figures(report_of(slots(8, lambda _: b"%d" % os.getpid())), processes=2)
    makers = {figure.pdf for figure in drawn.figures()}
    assert b"%d" % os.getpid() not in makers
    assert 1 <= len(makers) <= 2


def test_a_figure_that_is_there_stays_and_is_not_drawn_again():
    figure = FigureSlot("there", "c", "a", b"bytes")
    assert with_figures(report_of([figure]), processes=2).figures() == (figure,)


@pytest.mark.parametrize("processes", [1, 2])
def test_what_stops_one_figure_stops_the_report(processes):
    def fail(place):
        if place == 5:
            raise ValueError("no ink")
        return b"x"

    with pytest.raises(ValueError, match="no ink"):
        with_figures(report_of(slots(9, fail)), processes=processes)


@pytest.mark.slow
def test_the_report_has_the_same_bytes_whatever_the_number_of_processes(constructed, quarterly, tmp_path):
    from gwnet.reporting.write import make_files

    made = [
        make_files(
            quarterly,
            constructed.record(8),
            period="2026-Q1",
            drawing=constructed.PlainDrawing(),
            program_version="9.9",
            schema_revision="0002",
            processes=processes,
        ).write(tmp_path / str(processes))
        for processes in (1, 2)
    ]
    assert made[0].pdf.read_bytes() == made[1].pdf.read_bytes()
    assert made[0].manifest.read_bytes() == made[1].manifest.read_bytes()
