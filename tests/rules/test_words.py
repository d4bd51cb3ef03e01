"""Pages, comments, docstrings and messages use the field's words, not private ones."""

import re

import pytest

from ..helpers import ROOT

#: Private words, by what to write instead. Words of a line may be parted by the end of the line and a comment's sign.
PRIVATE = {
    "hand reading": "manual reading",
    "own choices?": "project default",
    "left-out residual": "leave-one-out residual",
    "hung_at": "installed_at",
    "(?:as|is|are|was|were|been|be|no logger|sensor) hung": "installed",
    "(?:dry|wet|cold|long) spells?": "period, interval",
    "mend(?:s|ed|ing)?": "fix",
    "tied to manual readings": "anchored to manual readings",
    "recipes?": "correction history",
    "(?:can|could|cannot|can not|may|is|are|was|were|been|being|be) told": "significant, distinguishable, known, stated",
}

#: Where a private word must stay: a former heading that still loads.
KEPT = {
    "gwnet/store/contract.py": 'former="hung_at"',
    "gwnet/docs/tables.md": "former heading `hung_at`",
}

_PRIVATE = re.compile("|".join(rf"\b{word}\b" for word in PRIVATE).replace(" ", r"[\s#:]+"), re.IGNORECASE)


def list_private_words(text):
    """Return the private words of a text, each as a text on one line."""
    return [re.sub(r"[\s#:]+", " ", found[0]) for found in _PRIVATE.finditer(text)]


def files():
    """Return the files that users and developers read."""
    folders = [file for top in ("gwnet", "reports") for file in sorted((ROOT / top).rglob("*"))]
    return [ROOT / "README.md", ROOT / "DEVELOPERS.md", *(f for f in folders if f.suffix in {".py", ".md", ".toml"})]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("A hand reading; Hand\n#: readings of own choice.", ["hand reading", "own choice"]),
        ("nothing that cannot be\n        told", ["be told"]),
        ("# It is\n    # told.", ["is told"]),
        ("He told us that nothing is retold by hand. Manual readings; its own.", []),
        ("hung_at_given, hung_at", ["hung_at"]),
        (
            "Depth of a sensor as\n    hung; no dry spell was mended, but recommended.",
            ["as hung", "dry spell", "mended"],
        ),
    ],
)
def test_private_words_are_found(text, words):
    assert list_private_words(text) == words


def test_no_file_has_private_words():
    having = {}
    for file in files():
        name = file.relative_to(ROOT).as_posix()
        words = list_private_words(file.read_text(encoding="utf-8").replace(KEPT.get(name, "\0"), ""))
        if words:
            having[name] = words
    assert having == {}
