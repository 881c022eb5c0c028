"""Which lengths some blanks add up to, each taken at most once: sets of sums as bits, compiled.

Bit t of a set is there where t is such a sum, in cells.  Cells coarser than the unit leave sums off
by half a cell for each blank.
"""

import numpy as np
import numpy.typing as npt
from numba.cpython.unsafe.numbers import leading_zeros

from solver.nests.compiled import compiled, compiled_within

Bits = npt.NDArray[np.uint64]
Ints = npt.NDArray[np.int32]


@compiled_within
def _shift(bits: Bits, by: int, into: Bits) -> None:
    """Add all sums of one set, so much longer, to the other."""
    words, whole, part = len(bits), by >> 6, np.uint64(by & 63)
    if part == 0:
        for j in range(words - 1, whole - 1, -1):
            into[j] |= bits[j - whole]
        return
    back = np.uint64(64) - part
    for j in range(words - 1, whole, -1):
        into[j] |= (bits[j - whole] << part) | (bits[j - whole - 1] >> back)
    if whole < words:
        into[whole] |= bits[0] << part


@compiled
def add_up(sides: Ints, left: npt.NDArray[np.uint8], cell: int, bits: Bits, spare: Bits) -> None:
    """All sums of the blanks left into `bits`; (k, 2) `sides` of each kind, one of which counts.

    Kinds with equal sides have one.  What does not go into the bits is left out.
    """
    for j in range(len(bits)):
        bits[j] = 0
    bits[0] = 1
    for kind in range(len(left)):
        for _ in range(left[kind]):
            for j in range(len(bits)):
                spare[j] = bits[j]
            _shift(spare, (sides[kind, 0] + cell // 2) // cell, bits)
            if sides[kind, 1] != sides[kind, 0]:
                _shift(spare, (sides[kind, 1] + cell // 2) // cell, bits)


@compiled
def most_within(bits: Bits, limit: int) -> int:
    """The largest sum up to a limit, in cells; the set holds 0 and reaches as far."""
    word = limit >> 6
    held = bits[word] & (np.uint64(0xFFFFFFFFFFFFFFFF) >> np.uint64(63 - (limit & 63)))
    while held == 0:
        word -= 1
        held = bits[word]
    return (word << 6) + 63 - int(leading_zeros(held))  # type: ignore[call-arg]
