"""How few walks can take every move: a bound that no set of walks can go below.

Give each move to one of the walks that take it: what a walk keeps is a chain in which each move can be taken some
time after the one before. So there are at least as many walks as chains are needed, and chains that need not be
walks are counted exactly by a matching: one chain fewer for each move that can be paired with one that follows it.
"""

from collections.abc import Iterator, Mapping, Sequence

from ohmward.chart.table import Position


def ahead_of(onward: Mapping[Position, Sequence[tuple[int, Position]]]) -> dict[Position, int]:
    """For each position the moves, as bits, that can still be taken from there. `onward`: (move, where it leads)."""
    back: dict[Position, list[Position]] = {}
    ahead = {}
    for position, ways in onward.items():
        ahead[position] = sum(1 << move for move in {m for m, _ in ways})
        for _, to in ways:
            back.setdefault(to, []).append(position)
    waiting = list(onward)
    while waiting:
        position = waiting.pop()
        for before in back.get(position, ()):
            if ahead[position] & ~ahead[before]:
                ahead[before] |= ahead[position]
                waiting.append(before)
    return ahead


def fewest(
    count: int, onward: Mapping[Position, Sequence[tuple[int, Position]]], ahead: Mapping[Position, int]
) -> int:
    """At least so many walks are needed to take all of `count` moves, each of which some position offers.

    `ahead`: of the same moves, as `ahead_of` gives it.
    """
    after = [0] * count
    for ways in onward.values():
        for move, to in ways:
            after[move] |= ahead[to]
    chains = count - _pairs([bits & ~(1 << move) for move, bits in enumerate(after)])
    return max(chains, min(count, 1))  # moves on a round follow one another for ever, and still take a walk


def _pairs(after: Sequence[int]) -> int:
    """The most pairs (move, one after it) in which no move is first twice or second twice."""
    first: dict[int, int] = {}  # second of a pair, to its first
    second: dict[int, int] = {}
    for move in range(len(after)):
        came: dict[int, int] = {}  # second, to the first from which it was looked at
        other = _free(move, after, first, came)
        while other is not None:  # back along the way: each first gives its second to the first before it
            one = came[other]
            given = second.get(one)
            first[other], second[one] = one, other
            other = given
    return len(first)


def _free(move: int, after: Sequence[int], first: Mapping[int, int], came: dict[int, int]) -> int | None:
    """A move that is nobody's second yet, reached from `move` by taking seconds away; None for none."""
    waiting, seen = [move], 0
    while waiting:
        one = waiting.pop()
        for other in _bits(after[one] & ~seen):
            seen |= 1 << other
            came[other] = one
            if other not in first:
                return other
            waiting.append(first[other])
    return None


def _bits(mask: int) -> Iterator[int]:
    while mask:
        lowest = mask & -mask
        yield lowest.bit_length() - 1
        mask ^= lowest
