"""Covariances by what moves the pairs, against the matrices themselves."""

from __future__ import annotations

import numpy as np
import pytest

from acquire.verdict.covariances import Covariances, block_size, sparse


def two_blocks():
    """Seven circuits in two blocks, and all their matrices."""
    dice = np.random.default_rng(2)
    moves = dice.normal(size=(7, 4, 6)) * (dice.random((1, 4, 6)) < 0.6)
    return Covariances((sparse(0, moves[:3]), sparse(3, moves[3:])), 6), moves.transpose(0, 2, 1) @ moves


def test_any_pairs_in_any_order_one_of_them_twice():
    """As picked from the whole matrices."""
    kept, whole = two_blocks()
    columns = np.array([4, 0, 4, 2])
    seen = np.zeros((7, 4, 4))
    for start, end, part in kept.among(columns):
        seen[start:end] = part.transpose(2, 0, 1)
    assert seen == pytest.approx(whole[:, columns[:, None], columns])


def test_a_few_circuits():
    """From both blocks, in the order asked for."""
    kept, whole = two_blocks()
    columns, circuits = np.array([5, 1, 3]), np.array([6, 0, 3])
    assert kept.at(columns, circuits) == pytest.approx(whole[circuits][:, columns[:, None], columns])


def test_what_is_worked_on_at_once_is_bounded():
    """Few circuits of many pairs, many of few; a small number at least."""
    assert block_size(190, 40) * 190 * 190 * 8 < 25e6
    assert block_size(6, 10) == 2048
    assert block_size(100_000, 10) == 16
