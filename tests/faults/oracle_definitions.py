"""Compares a report with its definition, read by other means."""

from __future__ import annotations

import json
import random
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from ..helpers import ROOT
from . import mutate_text
from .mutate_text import Mutation

_WORDS: Final = (
    *(
        '"m"',
        '"ft"',
        '"inch"',
        '"A4"',
        '"A3"',
        "true",
        "3",
        "-1",
        "1e99",
        "nan",
        "[]",
        '[""]',
        '["levels", "levels"]',
        '["nothing"]',
    ),
    *(
        '""',
        '"\\u0000"',
        '"\\u202e"',
        '"<b>&amp;"',
        "'''",
        "{}",
        "1979-05-27",
        '["summary", 7]',
        '"' + "x" * 3_000 + '"',
    ),
)


def change_word(content: bytes, rng: random.Random) -> bytes:
    """Write another value after a key."""
    lines = content.decode("utf-8").splitlines()
    at = rng.randrange(len(lines))
    lines[at] = f"{lines[at].partition(' = ')[0]} = {rng.choice(_WORDS)}"
    return "".join(f"{line}\n" for line in lines).encode()


def change_key(content: bytes, rng: random.Random) -> bytes:
    """Misspell a key, or write one that there is not."""
    text = content.decode("utf-8")
    word = rng.choice(re.findall(r"^[a-z_]+", text, re.MULTILINE))
    return text.replace(word, rng.choice([word[:-1], word + "s", word.upper(), "map.method", "select"]), 1).encode()


MUTATIONS: Final[tuple[Mutation, ...]] = (*mutate_text.ANY_TEXT, *(change_word,) * 4, *(change_key,) * 2)


def faults(content: bytes, out: Path) -> Iterator[str]:
    """Yield what the report has otherwise than its definition says.

    Parameters
    ----------
    content : bytes
        The definition.
    out : pathlib.Path
        Folder of the report.
    """
    try:
        definition = tomllib.loads(content.decode("utf-8-sig"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        yield f"the definition is no TOML, and was accepted: {error}"
        return
    example = tomllib.loads((ROOT / "reports" / "round.toml").read_text(encoding="utf-8"))
    if unknown := set(definition) - set(example):
        yield f"the definition has unknown keys {sorted(unknown)}, and was accepted"
    files = list(out.glob("*"))
    [pdf] = [file for file in files if file.suffix == ".pdf"] or [None]
    if pdf is None or not pdf.read_bytes().startswith(b"%PDF-"):
        yield f"there is no PDF among {sorted(file.name for file in files)}"
    for file in files:
        if file.name.startswith("."):
            yield f"{file.name} was left behind"
        if file.suffix == ".json":
            json.loads(file.read_text(encoding="utf-8"))
