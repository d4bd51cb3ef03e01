"""The commands below ``gwnet pumping``: each in its module, with the line that the help lists, and what they print."""

import csv
import io
import json
from importlib import import_module

import pytest
from pypdf import PdfReader

from gwnet.cli import DONE, DONE_WITH_FINDINGS, WRONG_USAGE
from gwnet.cli.lazy import LazyGroup
from gwnet.cli.pumping import COMMANDS, asked, command

from ..pumping_air import network_under_air
from ..pumping_record import pumping_network
from ..two_pumped_wells import STORATIVITY, TRANSMISSIVITY, two_wells

MODULES = {
    "list": "listed",
    "sheet": "sheet",
    "drawdown": "drawdown",
    "fit": "fit",
    "figure": "figure",
    "production": "production",
}


@pytest.fixture(scope="module", params=["sqlite", pytest.param("server", marks=pytest.mark.postgres)])
def address(request, tmp_path_factory):
    """Give the address of a record with a test, of each kind of database once."""
    folder = tmp_path_factory.mktemp(request.param)
    server = request.getfixturevalue("postgres_module_url") if request.param == "server" else None
    pumping_network(folder, address=server).close()
    return str(server or folder / "record.sqlite")


@pytest.fixture
def here(gwnet_here, address, monkeypatch):
    monkeypatch.setenv("GWNET_DB", address)
    return gwnet_here


@pytest.fixture(params=["sqlite", pytest.param("server", marks=pytest.mark.postgres)])
def fresh(request, tmp_path):
    """Give the address of a database that a test fills itself."""
    return request.getfixturevalue("postgres_url") if request.param == "server" else str(tmp_path / "own.sqlite")


def rows_of(ran):
    return list(csv.DictReader(io.StringIO(ran.out)))


@pytest.mark.parametrize(("name", "module"), MODULES.items())
def test_every_command_is_in_its_module_with_its_line(name, module):
    found = import_module(f"gwnet.cli.pumping.{module}").command
    assert found.name == name
    assert COMMANDS[name] == (module, found.help.strip().split("\n\n")[0].replace("\n", " "))


def test_the_group_knows_all_commands_and_no_other(gwnet_here):
    assert isinstance(command, LazyGroup)
    assert list(MODULES) == list(COMMANDS)
    assert callable(asked.before)
    ran = gwnet_here("pumping", "drawdowns")
    assert (ran.code, "Did you mean drawdown" in ran.err) == (WRONG_USAGE, True)


@pytest.mark.slow
def test_list_drawdown_and_fit_print_the_columns_that_scripts_rely_on(here):
    [test] = rows_of(here("pumping", "list", "--format", "csv"))
    assert (test["test"], test["well"], test["kind"]) == ("PT-1", "PW", "constant rate")
    assert here("pumping", "list", "--findings").code == DONE
    drawdowns = rows_of(here("pumping", "drawdown", "PT-1", "--wells", "O1", "--format", "csv"))
    assert {row["well"] for row in drawdowns} == {"O1"}
    assert float(drawdowns[-1]["drawdown_m"]) > 0
    in_feet = rows_of(here("pumping", "drawdown", "PT-1", "--wells", "O1", "--unit", "ft", "--format", "csv"))
    assert float(in_feet[-1]["drawdown_ft"]) == pytest.approx(float(drawdowns[-1]["drawdown_m"]) / 0.3048, rel=1e-3)
    static = rows_of(here("pumping", "drawdown", "PT-1", "--static", "--format", "csv"))
    assert [row["well"] for row in static] == ["PW", "O1", "O2"]
    ran = here("pumping", "fit", "PT-1", "--method", "theis", "--wells", "O1,O2", "--format", "json")
    fitted = json.loads(ran.out)
    assert list(fitted[0])[:12] == (
        "test wells method parameter value unit lower upper identifiable n rmse_m note".split()
    )
    assert [row["parameter"] for row in fitted] == ["transmissivity", "storativity"]
    assert fitted[0]["unit"] == "m2/d"


def test_two_methods_are_compared_in_a_sentence(here):
    ran = here("pumping", "fit", "PT-1", "--method", "theis", "--method", "leaky", "--wells", "O1")
    assert ran.code == DONE
    assert "By AICc theis is best supported" in ran.err
    refused = here("pumping", "fit", "PT-1", "--method", "guess")
    assert (refused.code, "There is no method 'guess'" in refused.err) == (WRONG_USAGE, True)


@pytest.mark.slow
def test_air_pressure_is_taken_out_unless_it_is_to_stay_in(gwnet_here, fresh, tmp_path, monkeypatch):
    network_under_air(tmp_path / "air", address=fresh).close()
    monkeypatch.setenv("GWNET_DB", fresh)
    asked = ("pumping", "drawdown", "PT-1", "--wells", "O1", "--format", "csv")
    ran = gwnet_here(*asked)
    assert "barometer B and the barometric efficiency of 0.50" in " ".join(ran.err.split())
    assert float(rows_of(ran)[-1]["air_correction_m"]) < -0.09
    kept = gwnet_here(*asked, "--no-air-pressure")
    assert "Air pressure" not in kept.err
    assert rows_of(kept)[-1]["air_correction_m"] == ""
    fitted = gwnet_here("pumping", "fit", "PT-1", "--method", "theis", "--wells", "O1", "--figure", "air.svg")
    assert "barometric efficiency of 0.50" in " ".join(fitted.err.split())
    assert "air pressure since the start taken out, by B" in (tmp_path / "air.svg").read_text()


@pytest.mark.slow
def test_figures_are_drawn_of_every_kind_and_beside_an_analysis(here, tmp_path):
    for kind in ("half-log", "log-log", "recovery", "distance"):
        ran = here("pumping", "figure", "PT-1", "--kind", kind, "--out", f"{kind}.svg")
        assert ran.code == DONE, ran.err
        assert "Pumping test PT-1, PW" in (tmp_path / f"{kind}.svg").read_text()
    ran = here("pumping", "fit", "PT-1", "--method", "theis", "--wells", "O1", "--figure", "fit.svg")
    assert "wrote fit.svg" in ran.err
    assert "transmissivity 250" in (tmp_path / "fit.svg").read_text()
    ran = here("pumping", "figure", "PT-1", "--kind", "steps", "--method", "theis", "--wells", "PW", "--out", "s.png")
    assert ran.code == DONE, ran.err


def test_production_ends_with_what_is_for_a_professional(here):
    ran = here("pumping", "production", "PT-1", "--rate", "5", "--format", "csv")
    assert [row["quantity"] for row in rows_of(ran)][-1] == "rate for a limit"
    assert ran.err.strip().endswith("licensed professional and the local authority.")


def test_the_sheet_is_written_and_goes_back_in_as_it_is(here, tmp_path):
    ran = here("pumping", "sheet", "PT-1", "--out", "sheets", "--page", "Letter")
    assert [line.rpartition(".")[2] for line in ran.out.split()] == ["pdf", "xlsx"]
    loaded = here("load", "sheets/S_PT-1_pumping_test.xlsx", "--by", "Ana")
    assert loaded.code == DONE, loaded.err
    assert "not filled in and passed over" in loaded.err + loaded.out


@pytest.mark.slow
def test_another_pumped_well_is_superposed_when_asked_for(gwnet_here, fresh, tmp_path, monkeypatch):
    two_wells(tmp_path / "two", address=fresh).close()
    monkeypatch.setenv("GWNET_DB", fresh)
    found = gwnet_here("pumping", "list", "--findings")
    assert (found.code, "Superpose it (--superpose P2)" in " ".join(found.out.split())) == (DONE_WITH_FINDINGS, True)
    asked = ("pumping", "fit", "PT-1", "--method", "theis", "--format", "csv")
    transmissivity, storativity = rows_of(gwnet_here(*asked, "--superpose", "P2"))
    assert transmissivity["superposed"] == "P2"
    assert float(transmissivity["value"]) == pytest.approx(TRANSMISSIVITY, rel=0.005)
    assert float(storativity["value"]) == pytest.approx(STORATIVITY, rel=0.01)
    alone = rows_of(gwnet_here(*asked))
    assert (alone[0]["superposed"], alone[0]["value"] != transmissivity["value"]) == ("", True)
    refused = gwnet_here(*asked, "--superpose", "O2")
    assert "No pumping of O2 is on record beside this test" in " ".join(refused.err.split())
    drawn = ("pumping", "figure", "PT-1", "--method", "theis", "--superpose", "all", "--out", "two.svg")
    assert gwnet_here(*drawn).code == DONE
    assert "pumping of P2 superposed" in (tmp_path / "two.svg").read_text()


@pytest.mark.slow
def test_a_corrected_rate_is_among_the_errata_of_the_next_issue(gwnet_here, fresh, tmp_path, monkeypatch):
    pumping_network(tmp_path / "tables", address=fresh).close()
    monkeypatch.setenv("GWNET_DB", fresh)
    (tmp_path / "own.toml").write_text('title = "Test"\nsections = ["pumping_test", "earlier_reports"]\n')
    issue = ("report", "own.toml", "--period", "2024-05", "--issue", "--by", "Ana", "--out")
    assert gwnet_here(*issue, "one").code == DONE
    (tmp_path / "pumping_rates.csv").write_text("site,test,from,rate\nS,PT-1,240,9.5\n")
    correct = ("load", "pumping_rates.csv", "--correct", "--reason", "Meter read again", "--by", "Ben")
    assert gwnet_here(*correct).code == DONE
    assert gwnet_here(*issue, "two").code == DONE
    text = " ".join(
        " ".join(page.extract_text().split()) for page in PdfReader(tmp_path / "two/own_S_2024-05.pdf").pages
    )
    assert "Pumping rates PT 1: 1 value in 1 row, most at PW, 240.0: Rate 10.00 before, 9.50 L/s now." in text
    assert "Pumping fits PT 1: " in text
    differences = rows_of(gwnet_here("report", "diff", "1", "2", "--format", "csv"))
    assert {row["table"] for row in differences} == {"pumping-rates-PT-1", "pumping-fits-PT-1"}
    # every value that follows from the rate names its correction, those of observed wells too
    assert all("pumping rate (PT-1, 240): rate from 10 L/s to 9.5 L/s (by Ben" in row["why"] for row in differences)
    assert all(row["why"].endswith("Meter read again") for row in differences)


@pytest.mark.slow
def test_findings_give_exit_code_3(gwnet_here, tmp_path, monkeypatch):
    pumping_network(tmp_path / "bad", pumping_rates=None).close()
    monkeypatch.setenv("GWNET_DB", str(tmp_path / "bad" / "record.sqlite"))
    ran = gwnet_here("pumping", "list", "--findings")
    assert (ran.code, "no rate of PW" in ran.out) == (DONE_WITH_FINDINGS, True)
    assert "no rate of PW" in gwnet_here("pumping", "drawdown", "PT-1").err
