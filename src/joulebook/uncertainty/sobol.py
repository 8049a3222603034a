"""Scrambled Sobol points: draws that fill the unit cube more evenly than independent ones.

Made here rather than by scipy.stats.qmc because that takes ten times as long to scramble as all the rest of a Monte Carlo
run, and half a second to import; the tests compare the plain points with scipy's, one by one.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from joulebook.errors import InputError

__all__ = ["sobol", "sobol_pieces"]

_BITS = 32

# Primitive polynomials (all coefficients, as binary numbers) and first direction integers of S. Joe and F. Y. Kuo,
# SIAM J. Sci. Comput. 30 (2008) 2635, set new-joe-kuo-6, dimensions 2 to 64.
_DIRECTIONS: tuple[tuple[int, tuple[int, ...]], ...] = (
    (3, (1,)),
    (7, (1, 3)),
    (11, (1, 3, 1)),
    (13, (1, 1, 1)),
    (19, (1, 1, 3, 3)),
    (25, (1, 3, 5, 13)),
    (37, (1, 1, 5, 5, 17)),
    (41, (1, 1, 5, 5, 5)),
    (47, (1, 1, 7, 11, 19)),
    (55, (1, 1, 5, 1, 1)),
    (59, (1, 1, 1, 3, 11)),
    (61, (1, 3, 5, 5, 31)),
    (67, (1, 3, 3, 9, 7, 49)),
    (91, (1, 1, 1, 15, 21, 21)),
    (97, (1, 3, 1, 13, 27, 49)),
    (103, (1, 1, 1, 15, 7, 5)),
    (109, (1, 3, 1, 15, 13, 25)),
    (115, (1, 1, 5, 5, 19, 61)),
    (131, (1, 3, 7, 11, 23, 15, 103)),
    (137, (1, 3, 7, 13, 13, 15, 69)),
    (143, (1, 1, 3, 13, 7, 35, 63)),
    (145, (1, 3, 5, 9, 1, 25, 53)),
    (157, (1, 3, 1, 13, 9, 35, 107)),
    (167, (1, 3, 1, 5, 27, 61, 31)),
    (171, (1, 1, 5, 11, 19, 41, 61)),
    (185, (1, 3, 5, 3, 3, 13, 69)),
    (191, (1, 1, 7, 13, 1, 19, 1)),
    (193, (1, 3, 7, 5, 13, 19, 59)),
    (203, (1, 1, 3, 9, 25, 29, 41)),
    (211, (1, 3, 5, 13, 23, 1, 55)),
    (213, (1, 3, 7, 3, 13, 59, 17)),
    (229, (1, 3, 1, 3, 5, 53, 69)),
    (239, (1, 1, 5, 5, 23, 33, 13)),
    (241, (1, 1, 7, 7, 1, 61, 123)),
    (247, (1, 1, 7, 9, 13, 61, 49)),
    (253, (1, 3, 3, 5, 3, 55, 33)),
    (285, (1, 3, 1, 15, 31, 13, 49, 245)),
    (299, (1, 3, 5, 15, 31, 59, 63, 97)),
    (301, (1, 3, 1, 11, 11, 11, 77, 249)),
    (333, (1, 3, 1, 11, 27, 43, 71, 9)),
    (351, (1, 1, 7, 15, 21, 11, 81, 45)),
    (355, (1, 3, 7, 3, 25, 31, 65, 79)),
    (357, (1, 3, 1, 1, 19, 11, 3, 205)),
    (361, (1, 1, 5, 9, 19, 21, 29, 157)),
    (369, (1, 3, 7, 11, 1, 33, 89, 185)),
    (391, (1, 3, 3, 3, 15, 9, 79, 71)),
    (397, (1, 3, 7, 11, 15, 39, 119, 27)),
    (425, (1, 1, 3, 1, 11, 31, 97, 225)),
    (451, (1, 1, 1, 3, 23, 43, 57, 177)),
    (463, (1, 3, 7, 7, 17, 17, 37, 71)),
    (487, (1, 3, 1, 5, 27, 63, 123, 213)),
    (501, (1, 1, 3, 5, 11, 43, 53, 133)),
    (529, (1, 3, 5, 5, 29, 17, 47, 173, 479)),
    (539, (1, 3, 3, 11, 3, 1, 109, 9, 69)),
    (545, (1, 1, 1, 5, 17, 39, 23, 5, 343)),
    (557, (1, 3, 1, 5, 25, 15, 31, 103, 499)),
    (563, (1, 1, 1, 11, 11, 17, 63, 105, 183)),
    (601, (1, 1, 5, 11, 9, 29, 97, 231, 363)),
    (607, (1, 1, 5, 15, 19, 45, 41, 7, 383)),
    (617, (1, 3, 7, 7, 31, 19, 83, 137, 221)),
    (623, (1, 1, 1, 3, 23, 15, 111, 223, 83)),
    (631, (1, 1, 5, 13, 31, 15, 55, 25, 161)),
    (637, (1, 1, 3, 13, 25, 47, 39, 87, 257)),
)


def sobol(dimensions: int, draws: int, rng: np.random.Generator | None = None) -> npt.NDArray[np.float64]:
    """Return points of the Sobol sequence, shape (dimensions, draws), each coordinate inside (0, 1).

    dimensions: any number; beyond 64 the coordinates are stratified and shuffled (a Latin hypercube), which needs `rng`.
    draws: at most 2³²; a power of two keeps the points' balance.
    rng: scrambles the points: a random lower triangular matrix over the two-element field applied to the digits of each
        coordinate and a random digital shift (J. Matoušek, J. Complexity 14 (1998) 527), after which each point is uniform.
        None leaves the plain sequence, every coordinate moved up by 2⁻³³ so that none is 0.
    Raises InputError when more than 64 dimensions are asked for without `rng`.
    """
    return np.concatenate(list(sobol_pieces(dimensions, draws, rng)), axis=1)


def sobol_pieces(
    dimensions: int, draws: int, rng: np.random.Generator | None = None, *, piece: int = 2**13
) -> Iterator[npt.NDArray[np.float64]]:
    """Yield the points of `sobol` in order, in pieces of shape (dimensions, piece) that a processor's cache can hold.

    piece: a power of two; the last piece may be shorter. Other arguments, and what is raised, as in `sobol`.
    """
    known = min(dimensions, len(_DIRECTIONS) + 1)
    columns = max(draws - 1, 1).bit_length()
    directions = _direction_numbers(known)[:, :columns]
    shift = np.zeros(known, dtype=np.uint32)
    if rng is not None:
        directions = _scrambled(directions, rng)
        shift = rng.integers(0, 2**_BITS, size=known, dtype=np.uint32)
    first = min(columns, piece.bit_length() - 1)
    digits = np.empty((known, 1 << first), dtype=np.uint32)
    digits[:, 0] = shift
    for bit in range(first):
        half = 1 << bit
        np.bitwise_xor(digits[:, :half], directions[:, bit : bit + 1], out=digits[:, half : 2 * half])
    if dimensions > known:
        if rng is None:
            raise InputError(f"the plain Sobol sequence ends at {known} dimensions, not {dimensions}.", remedy="Give an rng.")
        stratified = _latin_hypercube(dimensions - known, draws, rng)
    for start in range(0, draws, 1 << first):
        width = min(1 << first, draws - start)
        points = np.empty((dimensions, width))
        # A later piece is the first one with the directions of its number's higher digits added.
        higher = [bit for bit in range(first, columns) if start >> bit & 1]
        offset = np.bitwise_xor.reduce(directions[:, higher], axis=1, keepdims=True)
        np.multiply(digits[:, :width] ^ offset, 2.0**-_BITS, out=points[:known])
        points[:known] += 2.0 ** -(_BITS + 1)
        if dimensions > known:
            points[known:] = stratified[:, start : start + width]
        yield points


def _scrambled(directions: npt.NDArray[np.uint32], rng: np.random.Generator) -> npt.NDArray[np.uint32]:
    """Multiply the direction numbers, instead of every point, by the random matrix: the points are their sums."""
    row = np.arange(_BITS, dtype=np.uint32)
    unit = np.uint32(1) << (np.uint32(_BITS - 1) - row)
    above = ~(unit | (unit - np.uint32(1)))
    matrix = rng.integers(0, 2**_BITS, size=(directions.shape[0], 1, _BITS), dtype=np.uint32) & above | unit
    product = matrix & directions[:, :, None]
    for fold in (16, 8, 4, 2, 1):
        # The lowest digit of what remains is the parity of all digits.
        product ^= product >> np.uint32(fold)
    scrambled: npt.NDArray[np.uint32] = np.bitwise_or.reduce(unit * (product & np.uint32(1)), axis=2)
    return scrambled


def _latin_hypercube(dimensions: int, draws: int, rng: np.random.Generator) -> npt.NDArray[np.float64]:
    strata = rng.permuted(np.tile(np.arange(draws, dtype=np.float64), (dimensions, 1)), axis=1)
    # 1 − random lies in (0, 1]; the last stratum's upper end is kept below 1.
    return np.minimum((strata + 1.0 - rng.random((dimensions, draws))) / draws + 2.0**-53, 1.0 - 2.0**-53)


@lru_cache(maxsize=8)
def _direction_numbers(dimensions: int) -> npt.NDArray[np.uint32]:
    """Direction numbers, shape (dimensions, 32), by the recurrence of Bratley and Fox (ACM TOMS 14 (1988) 88)."""
    numbers = np.empty((dimensions, _BITS), dtype=np.uint32)
    numbers[0] = [1 << (_BITS - 1 - column) for column in range(_BITS)]
    for dimension, (polynomial, first) in enumerate(_DIRECTIONS[: dimensions - 1], start=1):
        degree = len(first)
        integers = list(first)
        for column in range(degree, _BITS):
            new = integers[column - degree] ^ (integers[column - degree] << degree)
            for back in range(1, degree):
                if polynomial >> (degree - back) & 1:
                    new ^= integers[column - back] << back
            integers.append(new)
        numbers[dimension] = [integer << (_BITS - 1 - column) for column, integer in enumerate(integers)]
    return numbers
