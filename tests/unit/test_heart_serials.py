"""When a serial is asked about before it is taken."""

import pytest

from acquire.heart.serials import SerialDoubt, SerialRule

WORDS = frozenset({"again", "skip", "undo"})


@pytest.mark.parametrize("serial", ["again", "AGAIN", " skip bent pin", "undo.", ":undo"])
def test_a_command_word_without_its_full_stop_is_doubted(serial):
    """Whoever typed it meant the command."""
    assert SerialRule(words=WORDS).doubt(serial) is SerialDoubt.WORD


@pytest.mark.parametrize("serial", ["A1", "again-7", "PL80-0001", "", "  "])
def test_anything_else_is_a_serial(serial):
    """Words of commands are doubted whole."""
    assert SerialRule(words=WORDS).doubt(serial) is None


@pytest.mark.parametrize(
    ("serial", "doubt"),
    [
        ("PL80-0001", None),
        ("PL80-00011", SerialDoubt.PATTERN),
        ("xPL80-0001", SerialDoubt.PATTERN),
        ("again", SerialDoubt.PATTERN),
    ],
)
def test_a_stated_pattern_must_match_in_full(serial, doubt):
    """A scanner that read the label beside it; no command word needs a list then."""
    assert SerialRule(r"PL80-\d{4}", WORDS).doubt(serial) is doubt


def test_a_pattern_that_reads_like_a_command_word_wins():
    """The bench file says that serials look so."""
    assert SerialRule(r"[a-z]+", WORDS).doubt("again") is None
