"""Orders taken before a restart are known after it."""

import json

from acquire.outlets.orders import CUT_OFF, FILE, REMEMBERED, Answer, Desk, OrderFile
from acquire.records import Note


class Kept:
    """A desk with its file, as a bench makes them at its start."""

    def __init__(self, folder):
        self.file = OrderFile(folder)
        self.desk = Desk(known=self.file.known)

    def take(self, message, now_s):
        """As the outlet does: noted before it is handed out."""
        taken = self.desk.take(message, now_s)
        if taken.order is not None:
            self.file.note(taken.correlation, None)
        return taken

    def answered(self, correlation, answer):
        """As the outlet does."""
        self.desk.answered(correlation, answer)
        self.file.note(correlation, answer)


def order(correlation):
    return json.dumps({"command": "note", "correlation": correlation, "text": "x"}).encode()


def test_an_order_is_carried_out_once_whatever_restarts_in_between(tmp_path):
    """Its copy gets the answer of then; one cut off before its answer is not done a second time either."""
    first = Kept(tmp_path)
    assert first.take(order("a"), 0.0).order == Note("x")
    first.answered("a", Answer(done=True))
    first.take(order("b"), 0.0)

    second = Kept(tmp_path)
    assert second.take(order("a"), 0.0).answer == Answer(done=True)
    assert second.take(order("b"), 0.0).answer == CUT_OFF
    assert second.take(order("c"), 0.0).order == Note("x")
    assert Kept(tmp_path).take(order("b"), 0.0).answer == CUT_OFF


def test_a_torn_line_is_an_order_that_was_not_begun(tmp_path):
    """The line is on the disk before the order is handed out."""
    Kept(tmp_path).take(order("whole"), 0.0)
    with (tmp_path / FILE).open("ab") as file:
        file.write(b'["to')
    again = Kept(tmp_path)
    assert again.take(order("whole"), 0.0).answer == CUT_OFF
    assert again.take(order("to"), 0.0).order is not None
    assert Kept(tmp_path).take(order("to"), 0.0).answer == CUT_OFF


def test_the_file_stays_small_and_its_folder_may_be_read_only(tmp_path):
    kept = OrderFile(tmp_path)
    for number in range(4 * REMEMBERED + 1):
        kept.known[str(number)] = None
    (tmp_path / FILE).write_text("".join(f'["{n}", true, ""]\n' for n in range(4 * REMEMBERED + 1)))
    again = OrderFile(tmp_path)
    assert list(again.known) == [str(n) for n in range(3 * REMEMBERED + 1, 4 * REMEMBERED + 1)]
    assert len((tmp_path / FILE).read_text().splitlines()) == REMEMBERED
    OrderFile(tmp_path / "nowhere").note("a", None)
