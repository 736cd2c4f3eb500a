"""Quantiles of many values from few bytes: exact while few differ, bins of equal width beyond.

Method: counts in bins, the pairs of neighbours put together whenever more than BINS_MAX are filled, as in
UDDSketch (Epicoco, Melle, Cafaro, Pulimeno & Morleo, IEEE Access 8, 2020), which does so with the bins of
DDSketch (Masson, Rim & Lee, Proc. VLDB 12, 2019); both cited from memory. Their bins grow with the value;
ours have one width, for what is measured here varies by a few thousandths of its own level.

A value x is the whole number q = rint(x / STEP). At level k the bins are 2^k numbers wide: q >> k, and k is
the least level at which at most BINS_MAX are filled. So a sketch depends on its values alone, not on their
order nor on how they were put together: sketches of parts merged are, byte for byte, that of the whole.

Error: at level 0 every value is known to STEP / 2. Else a quantile lies within half a bin's width of that of
the values. At most (highest - lowest) / width + 1 bins, rounded up, can be filled, and with half the width
more than BINS_MAX were: half a width is at most (highest - lowest) / (BINS_MAX - 1), one part in 63 of the
range, and the less the more values stand close together: a single one far out fills one bin.

Bytes: whole numbers of seven bits a byte, least first: level, unit, first bin (zigzag), number of bins, then
each bin's distance from the one before, doubled, one more where it holds more than one value; then these
counts less two. First bin and distances are counted in the unit, their greatest common divisor: values
rounded to 0.01 take a byte each.
"""

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

#: A millionth of the stored unit.
STEP: Final = 1e-6
#: Bins of one sketch.
BINS_MAX: Final = 64
#: Whole numbers up to here are exact as doubles; a group with a larger one has no sketch.
_LARGEST: Final = float(1 << 52)
_HEAD: Final = 4

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


def sketches(values: Floats, *, groups: Ints, count: int) -> list[bytes | None]:
    """A sketch of each of `count` groups. values [m], finite; groups [m] in 0 … count - 1, in any order.

    None for a group without values, or with one of 4.5e9 and more, which is not counted in millionths.

    >>> made = sketches(np.array([6.01, 6.02, 6.01, 5.0]), groups=np.array([0, 0, 0, 1]), count=2)
    >>> [len(one) for one in made if one]
    [9, 8]
    >>> quantiles(made, probabilities=[0.5, 1.0]).tolist()
    [[6.01, 6.02], [5.0, 5.0]]
    """
    index = np.rint(values / STEP)
    known = np.abs(index) < _LARGEST
    lost = set(np.unique(groups[~known]).tolist())
    whole, of = index[known].astype(np.int64), groups[known]
    made = _packed(whole, np.ones(len(whole), dtype=np.int64), of, np.zeros(count, dtype=np.int64))
    return [None if number in lost else one for number, one in enumerate(made)]


def merged(parts: Sequence[bytes | None], *, groups: Ints, count: int) -> list[bytes | None]:
    """The sketches of `count` groups of parts; groups [len(parts)]. None where a part is not known.

    >>> a, b, both = sketches(np.array([1.0, 2.0, 1.0, 2.0]), groups=np.array([0, 1, 2, 2]), count=3)
    >>> merged([a, b], groups=np.array([0, 0]), count=1) == [both]
    True
    """
    known = [number for number, part in enumerate(parts) if part is not None]
    lost = {int(groups[number]) for number, part in enumerate(parts) if part is None}
    level, part_of, index, held = _unpacked([parts[number] for number in known])
    of_part = groups[known] if known else np.empty(0, dtype=np.int64)
    top = np.zeros(count, dtype=np.int64)
    np.maximum.at(top, of_part, level)
    of = of_part[part_of]
    made = _packed(index >> (top[of] - level[part_of]), held, of, top)
    return [None if number in lost else one for number, one in enumerate(made)]


def quantiles(
    parts: Sequence[bytes | None],
    *,
    probabilities: Sequence[float],
    groups: Ints | None = None,
    count: int | None = None,
) -> Floats:
    """[count, len(probabilities)] quantiles of groups of sketches (none given: each is its own).

    Between order statistics the line is straight (type 7 of Hyndman & Fan, The American Statistician 50,
    1996; numpy's own). NaN for a group with a part that is not known, or without any.
    """
    groups = np.arange(len(parts), dtype=np.int64) if groups is None else groups
    count = len(parts) if count is None else count
    answers = np.full((count, len(probabilities)), np.nan)
    known = [number for number, part in enumerate(parts) if part is not None]
    if not known:
        return answers
    level, part_of, index, held = _unpacked([parts[number] for number in known])
    # The middle of the numbers a bin stands for; a whole number itself at level 0.
    wide = np.left_shift(np.int64(1), level[part_of])
    value = (index * wide + (wide - 1) / 2) * STEP
    of = groups[known][part_of]
    if len(known) != len(np.unique(groups[known])) or np.any(np.diff(of) < 0):
        order = np.lexsort((value, of))
        value, held, of = value[order], held[order], of[order]
    starts = np.flatnonzero(np.diff(of, prepend=-1))
    answers[of[starts]] = _between(value, held, starts, probabilities)
    answers[[int(groups[number]) for number, part in enumerate(parts) if part is None]] = np.nan
    # Sums of millionths are no millionths: what was rounded to 0.01 is said as it was.
    return np.round(answers, 9)


def quantiles_of_stretches(values: Floats, *, starts: Ints, probabilities: Sequence[float]) -> Floats:
    """[k, len(probabilities)] quantiles, as above, of values [n] cut before each of `starts` [k], first 0.

    >>> values = np.array([3.0, 1.0, 2.0, 7.0])
    >>> quantiles_of_stretches(values, starts=np.array([0, 3]), probabilities=[0.5]).tolist()
    [[2.0], [7.0]]
    """
    of = np.repeat(np.arange(len(starts)), np.diff(np.append(starts, len(values))))
    ordered = values[np.lexsort((values, of))]
    return _between(ordered, np.ones(len(values), dtype=np.int64), starts, probabilities)


def _between(value: Floats, held: Ints, starts: Ints, probabilities: Sequence[float]) -> Floats:
    """Quantiles of stretches of ascending values, each there as often as it is held."""
    through = np.cumsum(held)
    total = through[np.append(starts[1:], len(value)) - 1]
    before = np.append(0, total[:-1])
    answers = np.empty((len(starts), len(probabilities)))
    for place, probability in enumerate(probabilities):
        at = probability * (total - before - 1)
        under = np.floor(at)
        low = value[np.searchsorted(through, before + under, side="right")]
        high = value[np.searchsorted(through, before + np.ceil(at), side="right")]
        answers[:, place] = low + (high - low) * (at - under)
    return answers


# --- bins ---------------------------------------------------------------------------------------


def _packed(index: Ints, held: Ints, of: Ints, level: Ints) -> list[bytes | None]:
    """Bins (index, how many they hold, whose) of groups at a level each, as sketches; None for the empty."""
    found: list[bytes | None] = [None] * len(level)
    if not len(index):
        return found
    order = np.lexsort((index, of))
    index, held, of = _together(index[order], held[order], of[order])
    starts = np.flatnonzero(np.diff(of, prepend=-1))
    sizes = np.diff(np.append(starts, len(of)))
    if (sizes > BINS_MAX).any():
        further = np.zeros(len(level), dtype=np.int64)
        for start, size in zip(starts[sizes > BINS_MAX], sizes[sizes > BINS_MAX], strict=True):
            further[of[start]] = _levels_up(index[start : start + size])
        index, held, of = _together(index >> further[of], held, of)
        level = level + further
        starts = np.flatnonzero(np.diff(of, prepend=-1))
        sizes = np.diff(np.append(starts, len(of)))
    here = of[starts]
    for number, one in zip(here.tolist(), _written(index, held, starts, sizes, level[here]), strict=True):
        found[number] = one
    return found


def _together(index: Ints, held: Ints, of: Ints) -> tuple[Ints, Ints, Ints]:
    """Sorted bins, each once."""
    new = (np.diff(of, prepend=-1) != 0) | (np.diff(index, prepend=index[:1] - 1) != 0)
    starts = np.flatnonzero(new)
    return index[starts], np.add.reduceat(held, starts), of[starts]


def _levels_up(index: Ints) -> int:
    """How often pairs have to be put together until at most BINS_MAX of these sorted bins are filled.

    Neighbours a and b still differ at level k where a xor b has a bit at k or above.
    """
    differ = index[1:] ^ index[:-1]
    bits = np.where(differ < 0, 64, np.frexp(differ.astype(np.float64))[1])
    return int(np.partition(bits, len(bits) - BINS_MAX)[len(bits) - BINS_MAX])


# --- bytes --------------------------------------------------------------------------------------


def _written(index: Ints, held: Ints, starts: Ints, sizes: Ints, level: Ints) -> list[bytes]:
    apart = np.diff(index, prepend=0)
    apart[starts] = 0
    first = index[starts]
    unit = np.maximum(np.gcd(np.gcd.reduceat(apart, starts), first), 1)
    whose = np.repeat(np.arange(len(starts)), sizes)
    more = held > 1
    several = np.add.reduceat(more.astype(np.int64), starts)
    # Each sketch: its head, its bins, then what those with more than one value hold.
    ends = np.cumsum(_HEAD + sizes + several)
    begins = ends - (_HEAD + sizes + several)
    words = np.empty(int(ends[-1]), dtype=np.int64)
    scaled = first // unit
    for place, column in enumerate((level, unit, (scaled << 1) ^ (scaled >> 63), sizes)):
        words[begins + place] = column
    inside = np.arange(len(index)) - np.repeat(starts, sizes)
    words[begins[whose] + _HEAD + inside] = (apart // unit[whose] << 1) | more
    counted: Ints = np.cumsum(more) - more
    rank: Ints = (counted - counted[starts][whose])[more]
    words[(begins + _HEAD + sizes)[whose[more]] + rank] = held[more] - 2
    return _bytes(words, ends)


def _bytes(words: Ints, ends: Ints) -> list[bytes]:
    """Whole numbers of seven bits a byte, cut behind each of `ends` words."""
    lengths = np.ones(len(words), dtype=np.int64)
    for bits in range(7, 63, 7):
        lengths += words >> bits > 0
    places = np.cumsum(lengths)
    begins = places - lengths
    out = np.empty(int(places[-1]), dtype=np.uint8)
    for byte in range(int(lengths.max())):
        some = lengths > byte
        part = words[some] >> (7 * byte) & 127
        out[begins[some] + byte] = np.where(lengths[some] > byte + 1, part | 128, part)
    raw = out.tobytes()
    cuts = places[ends - 1].tolist()
    return [raw[a:b] for a, b in zip([0, *cuts[:-1]], cuts, strict=True)]


def _unpacked(parts: Sequence[bytes | None]) -> tuple[Ints, Ints, Ints, Ints]:
    """(level of each sketch, then of every bin: whose it is, its index, how many values it holds)."""
    blobs = [part for part in parts if part is not None]
    raw = np.frombuffer(b"".join(blobs), dtype=np.uint8)
    if not len(raw):
        nothing = np.empty(0, dtype=np.int64)
        return nothing, nothing, nothing, nothing
    lasts = np.flatnonzero(raw < 128)
    firsts = np.append(0, lasts[:-1] + 1)
    words = (raw[firsts] & 127).astype(np.int64)
    for byte in range(1, int((lasts - firsts).max()) + 1):
        some = lasts - firsts >= byte
        words[some] |= (raw[firsts[some] + byte] & 127).astype(np.int64) << (7 * byte)
    sizes_bytes = np.array([len(one) for one in blobs], dtype=np.int64)
    begins = np.searchsorted(firsts, np.cumsum(sizes_bytes) - sizes_bytes)
    level, unit, zigzag, sizes = (words[begins + place] for place in range(_HEAD))
    first = (zigzag >> 1) ^ -(zigzag & 1)
    whose = np.repeat(np.arange(len(blobs)), sizes)
    starts = np.cumsum(sizes) - sizes
    inside = np.arange(len(whose)) - starts[whose]
    tokens = words[begins[whose] + _HEAD + inside]
    steps = tokens >> 1
    steps[starts] = first
    run = np.cumsum(steps)
    index = (run - (run - steps)[starts][whose]) * unit[whose]
    more = (tokens & 1).astype(bool)
    held = np.ones(len(whose), dtype=np.int64)
    counted = np.cumsum(more) - more
    rank = (counted - counted[starts][whose])[more]
    held[more] = words[(begins + _HEAD + sizes)[whose[more]] + rank] + 2
    return level, whose, index, held
