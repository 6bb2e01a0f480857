"""Solved fault dictionaries, kept for the next unit within a budget of bytes.

What was asked for last stays; what was not asked for longest goes first. Not for solving (casebook).
"""

from __future__ import annotations

from collections.abc import Callable, Hashable

from acquire.verdict.casebook import Casebook

BUDGET_BYTES = 200e6
"""Of all dictionaries together; those of one sheet that ships take 6 to 68 MB. Workshop choice: what a small
machine can spare."""


class Shelf:
    """Keeps casebooks by what they are of."""

    def __init__(self, budget_bytes: float = BUDGET_BYTES) -> None:
        """Begin with none.

        Args:
            budget_bytes: all together take no more, unless a single one does.
        """
        self._budget_bytes = budget_bytes
        self._books: dict[Hashable, Casebook] = {}  # the one asked for last at the end

    @property
    def nbytes(self) -> int:
        """Memory taken by all."""
        return sum(book.nbytes for book in list(self._books.values()))

    def take(self, key: Hashable, make: Callable[[], Casebook]) -> Casebook:
        """The casebook of a key, made where it is not there.

        One may be solved beforehand in a thread beside a running bench: every step here is a single one of a
        dict, so that at worst two threads solve the same.

        Args:
            key: all that it depends on.
            make: solves it.
        """
        book = self._books.pop(key, None) or make()
        self._books[key] = book
        for oldest in list(self._books)[:-1]:
            if self.nbytes <= self._budget_bytes:
                break
            self._books.pop(oldest, None)
        return book
