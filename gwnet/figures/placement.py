"""Places labels so that they do not collide: along a line, and around points of a map. Same input, same places."""

from __future__ import annotations

from collections.abc import Sequence

__all__ = ["spread"]


def spread(wanted: Sequence[float], heights: Sequence[float], low: float, high: float) -> list[float]:
    """Move labels along a line as little as needed so that none overlaps another.

    Parameters
    ----------
    wanted : sequence of float
        Wanted centres.
    heights : sequence of float
        Lengths of the labels along the line.
    low, high : float
        Ends of the line.

    Returns
    -------
    list of float
        Centres, in the order of the input; labels keep the order of their wanted centres. Where they need more room
        than there is, they run over the upper end rather than into each other.

    Notes
    -----
    Least squares under order constraints by pooling adjacent blocks: neighbours that would overlap form a block,
    whose middle is the mean of what its members want.
    """
    order = sorted(range(len(wanted)), key=lambda i: (wanted[i], i))
    blocks: list[tuple[list[int], float, float]] = []
    for i in order:
        members, length = [i], heights[i]
        centre = _within(wanted[i], length, low, high)
        while blocks and blocks[-1][1] + blocks[-1][2] / 2 > centre - length / 2 + 1e-9:
            earlier, _, earlier_length = blocks.pop()
            members = [*earlier, *members]
            length += earlier_length
            centre = _within(_block_centre(members, wanted, heights), length, low, high)
        blocks.append((members, centre, length))
    centres = [0.0] * len(wanted)
    for members, centre, length in blocks:
        edge = centre - length / 2
        for i in members:
            centres[i] = edge + heights[i] / 2
            edge += heights[i]
    return centres


def _block_centre(members: Sequence[int], wanted: Sequence[float], heights: Sequence[float]) -> float:
    length = sum(heights[i] for i in members)
    edge, total = 0.0, 0.0
    for i in members:
        total += wanted[i] - (edge + heights[i] / 2)
        edge += heights[i]
    return total / len(members) + length / 2


def _within(centre: float, length: float, low: float, high: float) -> float:
    return max(min(centre, high - length / 2), low + length / 2)
