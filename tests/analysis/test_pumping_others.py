"""A second pumped well beside a test: a finding, or superposed when asked for; and loggers that belong to a test."""

import datetime as dt

import numpy as np
import pytest

from gwnet.analysis.pumping import findings, others
from gwnet.analysis.pumping.analyses import FitRequest, analyse_test
from gwnet.errors import AnalysisError, NotFoundError
from gwnet.store.snapshot import Snapshot

from .. import pumping_record
from ..pumping_air import PER_METRE_PA, write_samples
from ..pumping_record import FIRST, TABLES, pumping_network
from ..two_pumped_wells import RATES, STORATIVITY, TRANSMISSIVITY, two_wells


@pytest.fixture(scope="module")
def net(tmp_path_factory):
    opened = two_wells(tmp_path_factory.mktemp("two") / "wells")
    yield opened
    opened.close()


def estimates(fitted):
    table = fitted.table.set_index("parameter")
    return table["value"]["transmissivity"], table["value"]["storativity"]


@pytest.mark.slow
def test_planted_parameters_of_an_aquifer_with_two_pumped_wells_are_recovered(net):
    fitted = net.pumping.fit("PT-1", "theis", superposed=["P2"])
    transmissivity, storativity = estimates(fitted)
    assert transmissivity == pytest.approx(TRANSMISSIVITY, rel=0.005)
    assert storativity == pytest.approx(STORATIVITY, rel=0.01)
    assert fitted.table["rmse_m"].iloc[0] < 0.0002
    # without it the same readings give another aquifer
    alone, _ = estimates(net.pumping.fit("PT-1", "theis"))
    assert abs(alone / TRANSMISSIVITY - 1.0) > 0.1


@pytest.mark.parametrize("background", ["mean", "line"])
def test_what_the_other_well_drew_down_before_the_start_is_in_the_level_before(net, background):
    fitted = net.pumping.fit("PT-1", "theis", superposed=["all"], background=background)
    transmissivity, storativity = estimates(fitted)
    assert transmissivity == pytest.approx(TRANSMISSIVITY, rel=0.01)
    assert storativity == pytest.approx(STORATIVITY, rel=0.02)


def test_the_result_names_what_was_superposed(net):
    fitted = net.pumping.fit("PT-1", ["theis", "leaky"], superposed=["P2"])
    assert set(fitted.table["superposed"]) == {"P2"}
    assert fitted.table["note"].str.startswith("The pumping of P2 is superposed.").all()
    assert "pumping of P2 superposed" in " ".join(fitted._posted(fitted.analysed.fits[0]))
    assert set(net.pumping.fit("PT-1", "theis").table["superposed"]) == {""}
    # the line of the model in the figure is that of both wells
    [axes, *_] = fitted.figure().axes
    lines = [line for line in axes.lines if len(line.get_xdata()) > 100]
    assert len(lines) == 2


def test_unless_it_is_superposed_it_is_a_finding_with_its_span(net):
    found = net.pumping.findings()
    own = found[(found["test"] == "PT-1") & (found["rule"] == findings.OTHER_PUMPS)]
    [message], [fix] = own["message"], own["fix"]
    assert message.startswith("P2 is pumped during test PT-1 of PW in test PT-2, from minute -300 to minute 200;")
    assert "--superpose P2" in fix
    # where the other pump stops the level rises
    assert set(found["rule"]) == {findings.OTHER_PUMPS, findings.RISES}


def test_what_cannot_be_superposed_is_refused(net):
    with pytest.raises(AnalysisError, match=r"recovery cannot superpose.*theis, leaky, delayed-yield"):
        net.pumping.fit("PT-1", "recovery", ["O1"], superposed=["P2"])
    with pytest.raises(AnalysisError, match="storage cannot superpose"):
        net.pumping.fit("PT-1", "storage", ["O1"], superposed=["P2"])
    with pytest.raises(NotFoundError, match=r"No pumping of O2 is on record.*P2"):
        net.pumping.fit("PT-1", "theis", superposed=["O2"])
    with pytest.raises(AnalysisError, match="A boundary and other pumped wells"):
        net.pumping.fit("PT-1", "theis", superposed=["P2"], boundary="barrier", image=(500200.0, 5300000.0))


def test_rates_of_several_tests_of_a_well_are_one_history_and_must_not_overlap(net, tmp_path):
    with net.store.reading() as connection:
        analysed = analyse_test(Snapshot(connection).of_site(), "PT-1", [], FitRequest())
    rates = others.rates_of_other(analysed.test.others, "P2")
    np.testing.assert_allclose(rates.start_days * 1440.0, [-300.0, 200.0])
    np.testing.assert_allclose(rates.rate_m3_d, [6 * 86.4, 0.0])
    with two_wells(tmp_path / "three", pumping_rates=RATES + "S,PT-1,P2,120,7\n") as doubled:
        with pytest.raises(
            AnalysisError, match=r"PT-2 and PT-1 both say what P2 was pumped at, from minute 120 to min"
        ):
            doubled.pumping.fit("PT-1", "theis", superposed=["P2"])
        found = doubled.pumping.findings()
    assert findings.SAME_WELL in set(found.loc[found["test"] == "PT-2", "rule"])


#: A well with a logger alone: where it is, what is on record of it, and whether it takes part.
LOGGERS = {
    "near observation well": ("500010,5300020,upper", "observation", True),
    "no purpose on record": ("500010,5300020,upper", "", False),
    "another aquifer": ("500010,5300020,lower", "observation", False),
    "farther than any that was read": ("500900,5300000,upper", "observation", False),
}


@pytest.mark.slow
@pytest.mark.parametrize("name", LOGGERS)
def test_an_observation_well_with_a_logger_alone_takes_part_and_others_are_named(name, tmp_path):
    place, purpose, takes_part = LOGGERS[name]
    heading, *rows = TABLES["wells"].splitlines()
    wells = [heading + ",purpose", *(f"{row}," for row in rows), f"S,L1,{place},100,40,{purpose}"]
    tables = {
        "wells": "\n".join(wells) + "\n",
        "aquifers": TABLES["aquifers"] + "lower,confined\n",
        "measuring_points": TABLES["measuring_points"] + "S,L1,2010-01-01,100.4,0.4,0.01\n",
        "instruments": TABLES["instruments"] + "V,vented pressure logger,0.003\n",
        "deployments": "site,well,instrument,installed_at,hanging_depth\nS,L1,V,2024-04-29T01:00,12\n",
    }
    with pumping_network(tmp_path / "tables", **tables) as net:
        minutes = np.arange(-2880, 1440, 60)
        level = 7.0 - pumping_record.drawdown(22.36, minutes)
        files = write_samples(tmp_path / "files", "logger", "water pressure", minutes, level * PER_METRE_PA)
        net.loggers.load([files[0]], files[1], instrument="V", by="Ana", now_utc=FIRST + dt.timedelta(hours=1))
        fitted = net.pumping.fit("PT-1", "theis")
        named = net.pumping.fit("PT-1", "theis", ["O1", "L1"])
    assert fitted.analysed.fits[0].wells == (("L1", "O1", "O2") if takes_part else ("O1", "O2"))
    [said] = [text for text in fitted.sentences() if "Heads of loggers" in text] or [""]
    assert ("Add wells with --wells O1,O2,L1." in said) is not takes_part
    assert named.analysed.fits[0].wells == ("O1", "L1")
    assert estimates(fitted)[0] == pytest.approx(pumping_record.TRANSMISSIVITY, rel=0.02)
