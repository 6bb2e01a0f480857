"""Which orders were taken, kept over a restart: one sent again by its broker is answered and not done again.

A line is on the disk before its order is carried out, another when its answer is known. An order cut off
between the two is not done a second time; its sender is told to look what became of it. Not for reading
orders (orders).
"""

from __future__ import annotations

import json
import os
from collections import OrderedDict
from pathlib import Path

from acquire.outlets.orders import REMEMBERED, Answer
from system.files import BYTES, to_disk

FILE = "orders.jsonl"
CUT_OFF = Answer(
    done=False,
    reason="This order was taken before the bench was started anew: see on the record what became of it.",
)
_MODE = 0o640


class OrderFile:
    """The file in a journal's folder. One that cannot be written is no fault here: the journal tells that."""

    def __init__(self, folder: Path) -> None:
        """Read what is there, and keep the latest of it only."""
        self._path = folder / FILE
        self.known: OrderedDict[str, Answer | None] = OrderedDict()
        try:
            content = self._path.read_bytes()
        except OSError:
            content = b""
        lines = content.splitlines()
        self._torn = bool(content) and not content.endswith(b"\n")
        for line in lines:
            self._understand(line)
        while len(self.known) > REMEMBERED:
            self.known.popitem(last=False)
        if len(lines) > 4 * REMEMBERED:
            beside = self._path.with_suffix(".new")
            text = "".join(_line(correlation, answer) for correlation, answer in self.known.items())
            try:
                beside.write_text(text, encoding="utf-8")
                beside.replace(self._path)
            except OSError:
                return

    def _understand(self, line: bytes) -> None:
        try:
            correlation, *said = json.loads(line)
            self.known[str(correlation)] = Answer(bool(said[0]), str(said[1])) if said else CUT_OFF
        except (ValueError, TypeError, IndexError):
            return  # torn by a power cut: its order was not begun

    def note(self, correlation: str, answer: Answer | None) -> None:
        """Write on the disk that an order is taken, or what became of it."""
        try:
            number = os.open(self._path, os.O_WRONLY | os.O_CREAT | os.O_APPEND | BYTES, _MODE)
            try:
                os.write(number, ("\n" * self._torn + _line(correlation, answer)).encode())
                self._torn = False
                to_disk(number)
            finally:
                os.close(number)
        except OSError:
            return


def _line(correlation: str, answer: Answer | None) -> str:
    said = [] if answer is None or answer == CUT_OFF else [answer.done, answer.reason]
    return json.dumps([correlation, *said]) + "\n"
