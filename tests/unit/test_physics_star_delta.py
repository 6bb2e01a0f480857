"""Terminal readings and phases of three-phase windings, and their balance."""

import networkx as nx
import pytest

from acquire.errors import InputImpossible
from acquire.physics.star_delta import (
    Three,
    delta_of_lines,
    delta_of_star,
    excess_in_common_lead,
    imbalance,
    lines_of_delta,
    lines_of_star,
    star_of_delta,
    star_of_lines,
    star_u_ohm,
)

UNEQUAL = Three(1.0, 1.1, 1.3)


def close(a, b):
    return pytest.approx(tuple(b), rel=1e-12) == tuple(a)


def test_conversions_undo_each_other():
    assert close(star_of_lines(lines_of_star(UNEQUAL)), UNEQUAL)
    assert close(delta_of_lines(lines_of_delta(UNEQUAL)), UNEQUAL)
    assert close(star_of_delta(delta_of_star(UNEQUAL)), UNEQUAL)
    assert close(lines_of_delta(delta_of_star(UNEQUAL)), lines_of_star(UNEQUAL))


def test_equal_phases_read_twice_in_a_star_and_two_thirds_in_a_delta():
    assert close(lines_of_star(Three(3.0, 3.0, 3.0)), (6.0, 6.0, 6.0))
    assert close(lines_of_delta(Three(3.0, 3.0, 3.0)), (2.0, 2.0, 2.0))


def test_terminal_readings_agree_with_networkx():
    """Second opinion: `resistance_distance` of the same circuit."""
    star = nx.Graph()
    star.add_weighted_edges_from([("U", "N", 1.0), ("V", "N", 1.1), ("W", "N", 1.3)])
    delta = nx.Graph()
    delta.add_weighted_edges_from([("U", "V", 1.0), ("V", "W", 1.1), ("W", "U", 1.3)])
    for graph, ours in ((star, lines_of_star(UNEQUAL)), (delta, lines_of_delta(UNEQUAL))):
        theirs = [
            nx.resistance_distance(graph, a, b, weight="weight", invert_weight=True)
            for a, b in (("U", "V"), ("V", "W"), ("W", "U"))
        ]
        assert list(ours) == pytest.approx(theirs)


def test_a_phase_5_percent_low_shows_as_1_7_percent_at_the_terminals_of_either():
    """Found by calculation; the reason why balance is judged on phases."""
    low = Three(0.95, 1.0, 1.0)
    assert imbalance(lines_of_star(low)).fraction == pytest.approx(0.017, abs=5e-4)
    assert imbalance(lines_of_delta(low)).fraction == pytest.approx(0.017, abs=5e-4)
    assert imbalance(low).fraction == pytest.approx(0.0339, abs=1e-4)
    assert imbalance(star_of_lines(lines_of_star(low))).worst == 0


def test_an_invented_alternator_with_four_turns_short_in_v():
    """Lines 0.8799, 0.8799, 0.8914: phase V is 2.6 % low, the terminals only 0.9 % unbalanced."""
    lines = Three(0.8799, 0.8799, 0.8914)
    u, v, w = star_of_lines(lines)
    assert v / u - 1.0 == pytest.approx(-0.026, abs=1e-3)
    assert u == pytest.approx(w)
    assert imbalance(lines).fraction == pytest.approx(0.009, abs=1e-3)


def test_an_open_phase_of_a_delta_reads_three_and_one_and_a_half_times_healthy():
    healthy = lines_of_delta(Three(1.0, 1.0, 1.0)).first_ohm
    opened = lines_of_delta(Three(1e12, 1.0, 1.0))
    assert opened.first_ohm / healthy == pytest.approx(3.0)
    assert opened.second_ohm / healthy == pytest.approx(1.5)


def test_a_bad_joint_in_the_common_pin_shows_by_itself():
    """Invented: joint of 12 ohm in pin 2; series reading unchanged."""
    assert excess_in_common_lead(214.6, 58.2, 248.69) == pytest.approx(12.0, abs=0.1)
    assert excess_in_common_lead(192.44, 46.17, 238.56) == pytest.approx(0.0, abs=0.05)


def test_uncertainty_of_the_imbalance_agrees_with_the_uncertainties_library():
    from uncertainties import ufloat

    phases = [ufloat(0.95, 0.002), ufloat(1.0, 0.003), ufloat(1.01, 0.001)]
    mean = sum(phases) / 3
    expected = (mean - phases[0]) / mean
    got = imbalance([0.95, 1.0, 1.01], [0.002, 0.003, 0.001])
    assert got.fraction == pytest.approx(expected.n)
    assert got.u_fraction == pytest.approx(expected.s, rel=1e-9)


def test_uncertainty_of_a_star_phase():
    assert star_u_ohm(Three(0.002, 0.002, 0.002)) == pytest.approx(0.002 * 3**0.5 / 2)


def test_readings_that_no_circuit_has_are_refused():
    with pytest.raises(InputImpossible, match="no star or delta"):
        star_of_lines(Three(1.0, 1.0, 2.5))
    with pytest.raises(InputImpossible):
        lines_of_star(Three(0.0, 1.0, 1.0))
    with pytest.raises(InputImpossible, match="two windings"):
        imbalance([1.0])
    with pytest.raises(InputImpossible):
        imbalance([1.0, -1.0])
