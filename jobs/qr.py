"""A QR code of a link, for whoever holds the paper and a phone:
ISO/IEC 18004, bytes, error correction level M.

Versions 1 to 9, which hold up to 180 bytes. What the eight masks cost is weighed as the standard
has it (7.8.3).
"""

from collections.abc import Iterator, Sequence
from itertools import groupby
from xml.sax.saxutils import escape

import numpy as np
from numpy.typing import NDArray

Grid = NDArray[np.bool_]
# ISO/IEC 18004, table 9, level M: error correction codewords of a block, and the data codewords of
# each block.
BLOCKS = {
    1: (10, [16]),
    2: (16, [28]),
    3: (26, [44]),
    4: (18, [32] * 2),
    5: (24, [43] * 2),
    6: (16, [27] * 4),
    7: (18, [31] * 4),
    8: (22, [38, 38, 39, 39]),
    9: (22, [36, 36, 36, 37, 37]),
}
# Annex E: where the centres of alignment patterns stand.
ALIGNED = {
    1: [],
    2: [6, 18],
    3: [6, 22],
    4: [6, 26],
    5: [6, 30],
    6: [6, 34],
    7: [6, 22, 38],
    8: [6, 24, 42],
    9: [6, 26, 46],
}
QUIET_ZONE = 4  # light modules around
FINDER_LIKE = [
    [True, False, True, True, True, False, True] + [False] * 4,
    [False] * 4 + [True, False, True, True, True, False, True],
]


def galois_tables() -> tuple[list[int], list[int]]:
    """Powers and logarithms in GF(256) with x⁸ + x⁴ + x³ + x² + 1."""
    powers = [0] * 512
    logs = [0] * 256
    value = 1
    for exponent in range(255):
        powers[exponent] = powers[exponent + 255] = value
        logs[value] = exponent
        value = value << 1 ^ (0x11D if value & 128 else 0)
    return powers, logs


POWERS, LOGS = galois_tables()


def corrections(data: Sequence[int], count: int) -> list[int]:
    """Reed–Solomon codewords of a block (annex A)."""
    generator = [1]
    for exponent in range(count):
        longer = [*generator, 0]
        for place, factor in enumerate(generator, start=1):
            longer[place] ^= POWERS[LOGS[factor] + exponent]
        generator = longer
    rest = [*data, *[0] * count]
    for place in range(len(data)):
        if lead := rest[place]:
            for offset, factor in enumerate(generator):
                rest[place + offset] ^= POWERS[LOGS[factor] + LOGS[lead]]
    return rest[len(data) :]


def checked_bits(value: int, generator: int, length: int) -> int:
    """The value followed by its BCH bits (annexes C and D)."""
    degree = generator.bit_length() - 1
    rest = value << degree
    for bit in range(length - 1, degree - 1, -1):
        if rest >> bit & 1:
            rest ^= generator << (bit - degree)
    return value << degree | rest


def version_for(text: bytes) -> int:
    """The smallest version that holds the text. Raises ValueError."""
    for version, (_, blocks) in BLOCKS.items():
        if len(text) + 2 <= sum(blocks):
            return version
    raise ValueError(f"{len(text)} bytes do not fit into a code of 180.")


def codewords(text: bytes, version: int) -> list[int]:
    """Mode, length, text and padding, cut into blocks, with corrections, interleaved (7.4 to
    7.6)."""
    count, sizes = BLOCKS[version]
    bits = f"0100{len(text):08b}" + "".join(f"{byte:08b}" for byte in text) + "0000"
    data = [int(bits[place : place + 8].ljust(8, "0"), 2) for place in range(0, len(bits), 8)][
        : sum(sizes)
    ]
    data += [0xEC if n % 2 == 0 else 0x11 for n in range(sum(sizes) - len(data))]
    blocks = []
    start = 0
    for size in sizes:
        blocks.append(data[start : start + size])
        start += size
    return [*interleaved(blocks), *interleaved([corrections(block, count) for block in blocks])]


def interleaved(blocks: Sequence[Sequence[int]]) -> Iterator[int]:
    for place in range(max(map(len, blocks))):
        yield from (block[place] for block in blocks if place < len(block))


def patterns(version: int) -> tuple[Grid, Grid]:
    """The modules that are the same in every code of a version, and which modules are taken (format
    included)."""
    size = 17 + 4 * version
    dark = np.zeros((size, size), bool)
    taken = np.zeros((size, size), bool)
    dark[6, ::2] = dark[::2, 6] = True
    taken[6] = taken[:, 6] = True
    for row in ALIGNED[version]:
        for column in ALIGNED[version]:
            if not near_finder(row, column, size):
                square(dark, row, column, 2)
                taken[row - 2 : row + 3, column - 2 : column + 3] = True
    for row, column in ((3, 3), (3, size - 4), (size - 4, 3)):
        dark[max(row - 4, 0) : row + 5, max(column - 4, 0) : column + 5] = False
        square(dark, row, column, 3)
    taken[:9, :9] = taken[:9, size - 8 :] = taken[size - 8 :, :9] = True
    dark[size - 8, 8] = True
    if version >= 7:
        put_version(dark, taken, version)
    return dark, taken


def near_finder(row: int, column: int, size: int) -> bool:
    return (row, column) in {(6, 6), (6, size - 7), (size - 7, 6)}


def square(dark: Grid, row: int, column: int, reach: int) -> None:
    """Rings around a centre: dark, light, dark."""
    rows, columns = np.ogrid[-reach : reach + 1, -reach : reach + 1]
    ring = np.maximum(abs(rows), abs(columns))
    dark[row - reach : row + reach + 1, column - reach : column + reach + 1] = ring != reach - 1


def put_version(dark: Grid, taken: Grid, version: int) -> None:
    size = len(dark)
    bits = checked_bits(version, 0x1F25, 18)
    for place in range(18):
        row = place // 3
        column = size - 11 + place % 3
        dark[row, column] = dark[column, row] = bits >> place & 1
        taken[row, column] = taken[column, row] = True


def put_format(dark: Grid, mask: int) -> None:
    """Level M and the mask, twice (7.9)."""
    size = len(dark)
    bits = checked_bits(mask, 0x537, 15) ^ 0x5412
    first = [
        *((row, 8) for row in (0, 1, 2, 3, 4, 5, 7)),
        (8, 8),
        (8, 7),
        *((8, column) for column in range(5, -1, -1)),
    ]
    second = [*((8, size - 1 - n) for n in range(8)), *((size - 7 + n, 8) for n in range(7))]
    for place in range(15):
        dark[first[place]] = dark[second[place]] = bits >> place & 1


def free_module_positions(taken: Grid) -> Iterator[tuple[int, int]]:
    """Free modules in the order in which bits are laid:
    two columns at a time from the right, up and down (7.7.3)."""
    size = len(taken)
    is_upward = True
    for right in [*range(size - 1, 6, -2), *range(5, 0, -2)]:
        for row in range(size - 1, -1, -1) if is_upward else range(size):
            yield from ((row, column) for column in (right, right - 1) if not taken[row, column])
        is_upward = not is_upward


def masks(size: int) -> list[Grid]:
    """The eight patterns that may be laid over the data (table 10); row i, column j."""
    i, j = np.indices((size, size))
    product = i * j % 2
    rest = i * j % 3
    return [
        (i + j) % 2 == 0,
        i % 2 == 0,
        j % 3 == 0,
        (i + j) % 3 == 0,
        (i // 2 + j // 3) % 2 == 0,
        product + rest == 0,
        (product + rest) % 2 == 0,
        ((i + j) % 2 + rest) % 2 == 0,
    ]


def mask_penalty(dark: Grid) -> int:
    """How hard it is to read (7.8.3): long runs, blocks, what looks like a finder, and too much of
    one colour."""
    lines = [*dark.tolist(), *dark.T.tolist()]
    runs = sum(
        length - 2
        for line in lines
        for _, group in groupby(line)
        if (length := len(list(group))) >= 5
    )
    same = dark[1:, 1:] == dark[:-1, :-1]
    blocks = int((same & (dark[1:, :-1] == dark[:-1, 1:]) & (dark[1:, 1:] == dark[1:, :-1])).sum())
    alike = sum(line[n : n + 11] in FINDER_LIKE for line in lines for n in range(len(line) - 10))
    return runs + 3 * blocks + 40 * alike + 10 * int(abs(dark.mean() * 100 - 50) // 5)


def qr_modules(text: str) -> Grid:
    """The code of the text, True where a module is dark, without the quiet zone.
    Raises ValueError if too long."""
    content = text.encode()
    version = version_for(content)
    dark, taken = patterns(version)
    bits = "".join(f"{word:08b}" for word in codewords(content, version))
    for bit, place in zip(
        bits, free_module_positions(taken), strict=False
    ):  # some versions have a few modules left over
        dark[place] = bit == "1"
    candidates = []
    for number, mask in enumerate(masks(len(dark))):
        candidate = dark ^ (mask & ~taken)
        put_format(candidate, number)
        candidates.append(candidate)
    return min(candidates, key=mask_penalty)


def qr_svg(text: str, title: str) -> str:
    """As a drawing with its quiet zone, one path."""
    dark = qr_modules(text)
    size = len(dark) + 2 * QUIET_ZONE
    runs = []
    for row, line in enumerate(dark.tolist(), start=QUIET_ZONE):
        column = QUIET_ZONE
        for is_dark, group in groupby(line):
            length = len(list(group))
            if is_dark:
                runs.append(f"M{column} {row}h{length}v1h-{length}z")
            column += length
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {size} {size}"'
        f' shape-rendering="crispEdges"><title>{escape(title)}</title><path fill="#fff" d="M0'
        f' 0h{size}v{size}H0z"/><path fill="#000" d="{"".join(runs)}"/></svg>'
    )
