"""A record with a bit turned over is found by ``gwnet doctor``, or answers as before; nothing ends with a traceback."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from gwnet.cli import DONE, DONE_WITH_FINDINGS, STOPPED

from .dump import dump
from .figures import note_figures
from .scale import SCALE, seed
from .stages import run_here

pytestmark = [pytest.mark.faults, pytest.mark.slow, pytest.mark.timeout(3600)]

#: Questions that are asked of a damaged record.
QUESTIONS = (
    ["levels", "--format", "csv"],
    ["wells", "--format", "csv"],
    ["logger", "heads", "--daily", "--format", "csv"],
)


def flip(path: Path, rng: random.Random) -> str:
    """Turn over a bit of a file, where something is written, and return which."""
    content = bytearray(path.read_bytes())
    place, bit = rng.choice([at for at, byte in enumerate(content) if byte]), rng.randrange(8)
    content[place] ^= 1 << bit
    path.write_bytes(content)
    return f"byte {place}, bit {bit}"


def faults_of(url, answers, rows):
    """Return whether the doctor finds a damage, and the faults of how the program takes it."""
    faults = []
    doctor = run_here(["doctor", "--format", "json", "--db", url])
    if doctor.code not in (DONE, DONE_WITH_FINDINGS, STOPPED) or "Traceback" in doctor.err:
        faults.append(f"doctor: exit code {doctor.code}: {doctor.err[-500:]}")
    for question, answer in zip(QUESTIONS, answers, strict=True):
        ran = run_here([*question, "--db", url])
        if "Traceback" in ran.err or (ran.code == STOPPED and not ran.err.strip()):
            faults.append(f"{question[0]}: {ran.err[-500:]}")
        if doctor.code == DONE and (ran.code, ran.out) != (answer.code, answer.out):
            faults.append(f"{question[0]} answers otherwise, and the doctor finds nothing: {ran.err[-500:]}")
    if doctor.code == DONE and not faults and dump(url) != rows:
        faults.append("the rows are others, and the doctor finds nothing")
    return doctor.code != DONE, faults


def test_a_flipped_bit_is_found_or_changes_nothing(sqlite_stages):
    stages = sqlite_stages
    whole = stages.stage("full")
    answers = [run_here([*question, "--db", whole]) for question in QUESTIONS]
    assert all(answer.code == DONE and answer.out for answer in answers), answers
    rows = dump(whole)
    wrong, found = {}, 0
    for number in range(SCALE.flipped_bits):
        url = stages.copy("full")
        where = flip(Path(url), random.Random(seed("flipped bit", number)))
        is_found, faults = faults_of(url, answers, rows)
        found += is_found
        if faults:
            wrong[f"{number}: {where}"] = faults
        stages.drop(url)
    note_figures(
        "flipped bits",
        records=SCALE.flipped_bits,
        found=found,
        changed_nothing=SCALE.flipped_bits - found - len(wrong),
        faults=len(wrong),
    )
    assert not wrong
    assert found > 0
