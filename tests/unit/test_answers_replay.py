"""What `replay --journal` says; that a real recording replays alike is in test_bench_recording."""

import json

from acquire.answers.replay import Replayed, compare
from acquire.journal.plain import to_plain
from tests.known_records import verdict
from tests.known_visits import journal_with


def again(*verdicts):
    """As a replay would give them."""
    spelt = {"separators": (",", ":"), "sort_keys": True, "ensure_ascii": False}
    return [Replayed(each.serial, each.serial, json.dumps(to_plain(each), **spelt)) for each in verdicts]


def test_the_words_fit_the_number(tmp_path):
    """One, several, one of one, one of several, several of several; nothing replayed is no success."""
    folder = journal_with(tmp_path, [verdict(1), verdict(2)])
    one, two = again(verdict(1), verdict(2))
    odd, other = again(verdict(3), verdict(4))
    assert compare([one], folder) == (True, "The one verdict is on record, byte for byte.")
    assert compare([one, two], folder) == (True, "All 2 verdicts are on record, byte for byte.")
    assert compare([odd], folder) == (False, "1 of 1 verdict is not on record: PL80-0003")
    assert compare([one, odd], folder) == (False, "1 of 2 verdicts is not on record: PL80-0003")
    assert compare([one, odd, other], folder) == (
        False,
        "2 of 3 verdicts are not on record; the first: PL80-0003",
    )
    assert compare([], folder) == (False, "The recording gives no verdict, so there is nothing to compare.")
