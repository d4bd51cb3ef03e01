"""How much of each trial is made: a short version in every run of all tests, the whole with GWNET_FAULTS=full.

Every trial is drawn from a seed that its failure message names; GWNET_FAULTS_SEED shifts all seeds at once, for another
draw of the same size.
"""

from __future__ import annotations

import os
from dataclasses import dataclass


@dataclass(frozen=True)
class Scale:
    """Numbers of trials.

    Attributes
    ----------
    kills : dict of str to int
        Kills of all acts together, by database.
    seconds_of_hands : float
        How long several processes work on one record at once [s].
    mutations : int
        Mutated files of all kinds together.
    flipped_bits : int
        Records in which one bit is turned over.
    """

    kills: dict[str, int]
    seconds_of_hands: float
    mutations: int
    flipped_bits: int


SHORT = Scale({"sqlite": 9, "postgresql": 6}, 4.0, 240, 8)
FULL = Scale({"sqlite": 200, "postgresql": 50}, 120.0, 10_000, 60)

SCALE = FULL if os.environ.get("GWNET_FAULTS") == "full" else SHORT


def seed(*parts: object) -> str:
    """Return the seed of one trial, the same in every run."""
    shift = os.environ.get("GWNET_FAULTS_SEED", "")
    return "/".join(map(str, (*parts, shift) if shift else parts))


def shares(total: int, names: list[str]) -> dict[str, int]:
    """Return a total divided among names, as evenly as whole numbers allow."""
    each, more = divmod(total, len(names))
    return {name: each + (at < more) for at, name in enumerate(names)}
