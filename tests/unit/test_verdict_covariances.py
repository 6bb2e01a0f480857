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


@pytest.mark.parametrize("readings", [5, 48, 49, 190])
def test_distances_are_those_of_the_matrices(readings):
    """By matrices for a few readings, by causes for many: as the inverse of each whole matrix gives them."""
    kept, whole = two_blocks()
    dice = np.random.default_rng(readings)
    columns = dice.integers(6, size=readings)
    read_by = dice.random((7, readings)) < 0.8
    noise = dice.uniform(1e-4, 1.0, readings)
    seen = dice.normal(size=(7, 4, readings)) * read_by[:, None]
    shared = dice.normal(size=(2, readings))
    met = []
    for own, with_first, with_itself, log_det in kept.distances(columns, read_by, noise, seen, shared):
        for place, circuit in enumerate(range(own.start, own.stop)):
            by = read_by[circuit]
            matrix = whole[circuit][np.ix_(columns[by], columns[by])] + np.diag(noise[by])
            matrix += shared[:, by].T @ shared[:, by]
            products = seen[circuit][:, by] @ np.linalg.solve(matrix, seen[circuit][:, by].T)
            assert with_first[:, place] == pytest.approx(products[0], rel=1e-6, abs=1e-9)
            assert with_itself[:, place] == pytest.approx(np.diagonal(products), rel=1e-6)
            assert log_det[place] == pytest.approx(np.linalg.slogdet(matrix)[1])
            met.append(circuit)
    assert met == list(range(7))
