"""What `replay --journal` says; that a real recording replays alike is in test_bench_recording."""

from acquire.answers.history import compare
from tests.known_records import verdict
from tests.known_visits import journal_with


def test_the_words_fit_the_number(tmp_path):
    """One, several, one of one, one of several, several of several; nothing replayed is no success."""
    folder = journal_with(tmp_path, [verdict(1), verdict(2)])
    one, two, odd, other = map(verdict, (1, 2, 3, 4))
    assert compare([one], folder) == (True, "The one verdict is on record, byte for byte.")
    assert compare([one, two], folder) == (True, "All 2 verdicts are on record, byte for byte.")
    for replayed, told in (
        ([odd], "1 of 1 verdict is not on record: PL80-0003 "),
        ([one, odd], "1 of 2 verdicts is not on record: PL80-0003 "),
        ([one, odd, other], "2 of 3 verdicts are not on record; the first: PL80-0003 "),
    ):
        same, sentence = compare(replayed, folder)
        assert not same
        assert sentence.startswith(told)
    assert compare([], folder) == (False, "The recording gives no verdict, so there is nothing to compare.")
