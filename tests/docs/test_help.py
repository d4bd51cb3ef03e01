"""``gwnet help``: topics, pages set for a terminal, and words that are no topic."""

import re

import pytest

from gwnet.cli import DONE, WRONG_USAGE, main, pages

from ..helpers import run_python

PAGE = """# A page

<!-- generated: nothing -->
Some **bold** words with `gwnet levels --db x` and a [link](other.md) that go on for longer than forty signs.

- An item that is longer than the line and so is wrapped below its own first word.
1. Numbered

| rule | looks for |
|---|---|
| one \\| two | a text that is far too long for one line of forty signs |

```toml
key = "value"   # verbatim
```
"""


def test_the_topics_are_listed_with_one_line_each(capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", "200")
    assert main(["help"]) == DONE
    shown = capsys.readouterr().out
    for topic in pages.list_topics():
        assert re.search(rf"^- `{topic}`: \S", shown, re.MULTILINE), topic


@pytest.mark.parametrize("topic", pages.list_topics())
def test_every_page_is_printed_within_the_width(topic, capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    assert main(["help", topic]) == DONE
    shown = capsys.readouterr().out
    assert shown.strip()
    assert "\x1b" not in shown
    assert "<!--" not in shown
    assert "\u00a0" not in shown
    prose = [line for line in shown.splitlines() if not line.startswith("    ")]
    assert [line for line in prose if len(line) > 80] == []


def test_a_page_is_wrapped_with_its_lists_tables_and_code():
    lines = pages.render_page(PAGE, 40, styled=False).splitlines()
    assert lines == [
        "A page",
        "",
        "Some bold words with",
        "`gwnet levels --db x` and a link that go",
        "on for longer than forty signs.",
        "",
        "- An item that is longer than the line",
        "  and so is wrapped below its own first",
        "  word.",
        "1. Numbered",
        "",
        "rule       looks for",
        "---------  -----------------------------",
        "one | two  a text that is far too long",
        "           for one line of forty signs",
        "",
        '    key = "value"   # verbatim',
    ]


def test_on_a_terminal_headings_and_code_stand_out():
    text = pages.render_page(PAGE, 80, styled=True)
    assert "\x1b[1m\x1b[4mA page\x1b[0m" in text
    assert "\x1b[36mgwnet levels --db x\x1b[0m" in text
    assert re.sub(r"\x1b\[\d+m", "", text).replace("`", "") == pages.render_page(PAGE, 80, styled=False).replace(
        "`", ""
    )


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["trend"], "Did you mean trends"),
        (["Maps"], None),
        (["pettitt"], "on the pages defaults, trends"),
        (["qqqq"], "There is no topic 'qqqq'. 'gwnet help' lists all topics."),
        (["explain"], "'gwnet explain --help'"),
        (["../index"], "There is no topic"),
    ],
)
def test_an_unknown_topic_names_the_nearest(words, told, capsys):
    code = main(["help", *words])
    printed = capsys.readouterr()
    if told is None:
        assert code == DONE
        return
    assert code == WRONG_USAGE
    assert told in printed.err
    assert printed.out == ""


def test_a_page_is_read_without_heavy_libraries(tmp_path):
    code = "import sys\nfrom gwnet.cli import main\nassert main(['help', 'trends']) == 0\nprint(sorted(sys.modules))"
    ran = run_python("-c", code, cwd=tmp_path)
    assert ran.code == 0, ran.err
    loaded = set(re.findall(r"'(\w+)'", ran.out.splitlines()[-1]))
    assert loaded & {"numpy", "pandas", "sqlalchemy", "matplotlib", "scipy"} == set()
    assert "click" in loaded
