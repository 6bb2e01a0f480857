"""What stands behind a page: the bench's own doings as callables, so that the page knows no daemon.

Not for what the page shows by itself (view), nor for how a request comes and an answer goes (app).
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields

from acquire.conditions import Conditions
from acquire.errors import SteadyohmError
from acquire.outlets.orders import Desk, Order, OrderAnswer
from acquire.page.telling import Plain
from acquire.records import Code, Fact, Notice, Purpose, Severity
from acquire.words.batches import PURPOSES


@dataclass(frozen=True, slots=True)
class Facts:
    """The state of a bench beside its unit.

    Attributes:
        utc_s: now, by the bench's clock.
        due: what is missing, too old, due, failing or in the way now.
        lead_utc_s, check_utc_s: of the latest lead zero and check standard; None where there was none.
        learned: facts of what the bench has learnt of its contacts; empty where that is nothing.
    """

    utc_s: float
    due: Sequence[Notice] = ()
    lead_utc_s: float | None = None
    check_utc_s: float | None = None
    learned: Mapping[str, Fact] = field(default_factory=dict)


def temperature_due(conditions: Conditions, utc_s: float) -> Iterator[Notice]:
    """Whether there is no fresh temperature, and whether there ever was one."""
    if conditions.fresh_temperature(utc_s) is None:
        code = Code.TEMPERATURE_MISSING if conditions.temperature is None else Code.TEMPERATURE_OLD
        yield Notice(Severity.STOP, code, utc_s)


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
class PageBackend:
    """What stands behind a page: a bench, or the setting up of one.

    Attributes:
        utc_s: the bench's clock.
        monotonic_s: for the rate of orders.
        facts: what the bench knows of itself now; None where there is none yet.
        obey: carries out an order; None where the page may order nothing.
        may_stop: whether an order may end the bench. Not by itself: every process of this machine and every
            tablet with the token can order, and nobody can begin the bench again from a page.
        desk: where orders are checked, limited and never done twice.
        asks, posts: questions and what is posted, by path.
    """

    utc_s: Callable[[], float] = lambda: 0.0
    monotonic_s: Callable[[], float] = lambda: 0.0
    facts: Callable[[], Facts] | None = None
    obey: Callable[[Order], Awaitable[OrderAnswer]] | None = None
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


@dataclass(frozen=True, slots=True)
class About:
    """One bench.

    Attributes:
        name, meter, operator, software: of the bench.
        purpose: why it measures.
        speech: "browser" or "machine", whichever speaks.
        orders: whether the page may order something.
        speed: of the bench's clock; 1 except in a demonstration.
        demo: the instruments are simulated.
        typed: readings are typed, since the meter has no cable.
        study: a gauge study is at work, whose values nobody sees.
    """

    name: str
    purpose: Purpose
    meter: str
    operator: str
    software: str
    speech: str = "browser"
    orders: bool = True
    speed: float = 1.0
    demo: bool = False
    typed: bool = False
    study: bool = False

    def plain(self) -> Plain:
        """For the page."""
        own = {each.name: getattr(self, each.name) for each in fields(self)}
        return {**own, "purpose": self.purpose.value, "purpose_word": PURPOSES[self.purpose]}
