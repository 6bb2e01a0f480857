"""What stands behind a page: the bench's own doings as callables, so that the page knows no daemon.

Not for what the page shows by itself (view).
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from typing import Any

from acquire.outlets.orders import Answer, Desk, Order
from acquire.page.facts import Facts

Plain = dict[str, Any]


class Unknown(LookupError):
    """What was asked for is not on the record; the text says so in a sentence."""


@dataclass(frozen=True, slots=True)
class Behind:
    """A bench as its page needs it.

    Attributes:
        facts: what the bench knows of itself now.
        utc_s: the bench's clock.
        obey: carries out an order; None where the page may order nothing.
        may_stop: whether an order may end the bench. Not by itself: every process of this machine and every
            tablet with the token can order, and nobody can begin the bench again from a page.
        desk: where orders are checked, limited and never done twice.
        monotonic_s: for the rate of orders.
        reads: questions by their path; each is called with the words of the address, in a thread, and may
            raise `Unknown`.
        quick: questions that are answered at once from what is in memory.
        asks: questions that another process answers.
        files: as `asks`, for bytes with their media type.
    """

    facts: Callable[[], Facts]
    utc_s: Callable[[], float]
    monotonic_s: Callable[[], float]
    obey: Callable[[Order], Awaitable[Answer]] | None = None
    may_stop: bool = False
    desk: Desk = field(default_factory=Desk)
    reads: dict[str, Callable[[dict[str, str]], Plain]] = field(default_factory=dict)
    quick: dict[str, Callable[[dict[str, str]], Plain]] = field(default_factory=dict)
    asks: dict[str, Callable[[dict[str, str]], Awaitable[Plain]]] = field(default_factory=dict)
    files: dict[str, Callable[[dict[str, str]], Awaitable[tuple[bytes, str]]]] = field(default_factory=dict)
