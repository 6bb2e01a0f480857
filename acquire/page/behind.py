"""What stands behind a page: the bench's own doings as callables, so that the page knows no daemon.

Not for what the page shows by itself (view), nor for how a request comes and an answer goes (app).
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from acquire.errors import SteadyohmError
from acquire.outlets.orders import Answer, Desk, Order
from acquire.page.facts import Facts

Plain = dict[str, Any]
File = tuple[bytes, str]
"""Bytes and media type (IANA)."""

Asked = Callable[[dict[str, str]], Awaitable[Plain | File]]
"""A question with the words of its address; raises `Unknown` for what is not there."""

Posted = Callable[[Plain], Awaitable[Plain]]
"""Takes a body of JSON; whatever a person can do wrong is an error with a sentence."""


class Unknown(LookupError):
    """What was asked for is not on the record; the text says so in a sentence."""


class Unfit(SteadyohmError, ValueError):
    """A request that cannot be carried out; the text says why, in a sentence."""


@dataclass(frozen=True, slots=True)
class Behind:
    """A bench as its page needs it.

    Attributes:
        facts: what the bench knows of itself now.
        utc_s: the bench's clock.
        monotonic_s: for the rate of orders.
        obey: carries out an order; None where the page may order nothing.
        may_stop: whether an order may end the bench. Not by itself: every process of this machine and every
            tablet with the token can order, and nobody can begin the bench again from a page.
        desk: where orders are checked, limited and never done twice.
        asks, posts: questions and what is posted, by path.
    """

    facts: Callable[[], Facts]
    utc_s: Callable[[], float]
    monotonic_s: Callable[[], float]
    obey: Callable[[Order], Awaitable[Answer]] | None = None
    may_stop: bool = False
    desk: Desk = field(default_factory=Desk)
    asks: Mapping[str, Asked] = field(default_factory=dict)
    posts: Mapping[str, Posted] = field(default_factory=dict)


def short_text(body: Plain, name: str, default: str = "") -> str:
    """A text of a body without its white space. Raises `Unfit` for anything else."""
    value = body.get(name) or default
    if not isinstance(value, str) or len(value) > 200 or not value.isprintable():
        raise Unfit(f"{name} is a short text.")
    return value.strip()
