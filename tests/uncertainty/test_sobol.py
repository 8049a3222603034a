"""Sobol points against scipy's, one by one, and their scrambling against what scrambling must keep."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import qmc

from joulebook.errors import InputError
from joulebook.uncertainty.sobol import sobol, sobol_pieces


def test_plain_points_are_those_of_scipy():
    expected = qmc.Sobol(64, scramble=False, bits=32).random_base2(11).T
    k = np.arange(2**11)
    # scipy goes through them in Gray-code order.
    points = sobol(64, 2**11)[:, k ^ (k >> 1)]
    assert np.array_equal(points, expected + 2.0**-33)


def test_scrambled_points_stay_balanced():
    points = sobol(70, 256, np.random.default_rng(5))
    assert points.min() > 0.0
    assert points.max() < 1.0
    for row in points:
        assert np.array_equal(np.sort((row * 256).astype(int)), np.arange(256))
    # The first two coordinates form a (0, 8, 2)-net in base 2: every elementary box holds its share.
    for bits in range(9):
        boxes = (points[0] * 2**bits).astype(int) * 2 ** (8 - bits) + (points[1] * 2 ** (8 - bits)).astype(int)
        assert np.array_equal(np.sort(boxes), np.arange(256))


def test_scrambled_points_are_uniform():
    # Over many scramblings the same point must be uniform: Kolmogorov and Smirnov's distance, 1 % level about 1.63/√n.
    rng = np.random.default_rng(6)
    many = np.array([sobol(3, 4, rng)[:, 3] for _ in range(2000)])
    for column in np.sort(many, axis=0).T:
        assert np.abs(column - (np.arange(2000) + 0.5) / 2000).max() < 1.95 / np.sqrt(2000)  # 0.1 % level
    assert np.abs(np.corrcoef(many.T) - np.eye(3)).max() < 4.0 / np.sqrt(2000)


def test_beyond_the_table_coordinates_are_stratified():
    points = sobol(66, 1000, np.random.default_rng(7))
    for row in points[64:]:
        assert np.array_equal(np.sort((row * 1000).astype(int)), np.arange(1000))
    assert abs(np.corrcoef(points[64], points[65])[0, 1]) < 4.0 / np.sqrt(1000)


def test_plain_sequence_ends_with_the_table():
    with pytest.raises(InputError, match="ends at 64 dimensions, not 65"):
        sobol(65, 16)


def test_one_point_and_one_dimension():
    assert sobol(1, 1).tolist() == [[2.0**-33]]
    assert sobol(2, 1, np.random.default_rng(1)).shape == (2, 1)


def test_pieces_are_the_whole():
    for draws in (100, 1024, 5000):
        whole = np.concatenate(list(sobol_pieces(66, draws, np.random.default_rng(3), piece=2**16)), axis=1)
        pieces = list(sobol_pieces(66, draws, np.random.default_rng(3), piece=2**8))
        assert max(piece.shape[1] for piece in pieces) <= 2**8
        assert np.array_equal(np.concatenate(pieces, axis=1), whole)
