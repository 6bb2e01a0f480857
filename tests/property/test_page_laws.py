"""Laws of the bench page: whoever follows the changes knows the whole state, however slowly he reads."""

from __future__ import annotations

import asyncio
import json
from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from acquire.page import stream as stream_module
from acquire.page.backend import About, Facts
from acquire.page.contact_view import PHASES
from acquire.page.stream import Stream
from acquire.page.view import BenchView
from acquire.page.warnings import DUE
from acquire.records import (
    Approach,
    Ask,
    Code,
    Contact,
    Ending,
    FirstUnitDoubt,
    Judged,
    LiftOff,
    Notice,
    Outcome,
    Prompt,
    Purpose,
    Settled,
    Severity,
    Why,
)
from acquire.steps.pairs import PairTable
from drivers.reading import Flag, Kind, Quantity, Reading
from tests.known_records import BATCH, CHECK, EVIDENCE, RESULT, STARTED, TYPED, VERDICT, ZERO
from tests.known_sheets import PLOVER
from tests.tries import tries

OHM = Quantity.RESISTANCE
SERIALS = st.sampled_from(["a", "b", "<b>&\u2028", "\ud800"])
CODES = st.sampled_from(Code)
STEPS = st.sampled_from(PLOVER.steps)
NUMBERS = st.floats(allow_nan=False, allow_infinity=True) | st.none()


def at(kind, **more):
    """An event of a contact at some time."""
    times = {"monotonic_s": st.floats(0.0, 1e6), "utc_s": st.floats(0.0, 2e9)}
    return st.builds(kind, meter_id=st.just("meter"), **times, **more)


EVENTS = st.one_of(
    at(Contact),
    at(LiftOff),
    at(Approach, quantity=st.just(OHM), value_si=st.floats(0, 1e9), settling_ratio=st.floats(0.0)),
    st.just(Settled("meter", OHM, 1.0, 0.0, 9.0, 0.0, 0.0, 0.0, 9, None, None, 0.0, 1.0, 2.0)),
    st.builds(
        lambda ask, step, why: Prompt(ask, "a", step.pair, step.name, 1, 5, why),
        st.sampled_from(Ask),
        STEPS,
        st.sampled_from(Why),
    ),
    st.builds(
        lambda step, serial, outcome, counts, ohm: Judged(
            replace(
                VERDICT,
                serial=serial,
                step=step.name,
                pin_a=step.pair.a,
                pin_b=step.pair.b,
                outcome=outcome,
                counts=counts,
                reference_ohm=ohm,
            ),
            EVIDENCE,
        ),
        STEPS,
        SERIALS,
        st.sampled_from(Outcome),
        st.booleans(),
        NUMBERS,
    ),
    st.builds(lambda serial: replace(STARTED, serial=serial), SERIALS),
    st.builds(
        lambda serial, outcome, wait: replace(
            RESULT, serial=serial, outcome=outcome, ending=Ending.WARM, wait_s=wait
        ),
        SERIALS,
        st.none() | st.sampled_from(Outcome),
        st.none() | st.floats(0.0, 1e5),
    ),
    st.builds(
        lambda severity, code, text, serial, step: Notice(
            severity, code, 5.0, serial, step.pair, facts={"said": text}
        ),
        st.sampled_from(Severity),
        CODES,
        st.text(max_size=20),
        SERIALS,
        STEPS,
    ),
    st.sampled_from([ZERO, CHECK, TYPED, BATCH, replace(BATCH, first_doubt=FirstUnitDoubt(0.9, ()))]),
)
READINGS = st.builds(
    lambda value, quantity, at_s, flags: Reading(
        "meter", quantity, Kind.OVERLOAD if value is None else Kind.VALUE, value, at_s, at_s, 1, flags=flags
    ),
    st.none() | st.floats(-1e9, 1e9),
    st.sampled_from(Quantity),
    st.floats(0.0, 1e6),
    st.frozensets(st.sampled_from(Flag)),
)
FACTS = st.builds(
    Facts,
    utc_s=st.floats(0.0, 2e9),
    due=st.lists(
        st.builds(
            lambda code, severity, outlet: Notice(
                severity, code, 5.0, facts={"resistor": "R1", "meter": "m", "overdue_days": 2, **outlet}
            ),
            st.sampled_from(sorted(DUE)),
            st.sampled_from([Severity.STOP, Severity.WARNING]),
            st.sampled_from([{"outlet": "csv", "cause": "disk full"}, {"outlet": "mqtt", "cause": "a"}]),
        )
    ),
    lead_utc_s=st.none() | st.floats(0.0, 2e9),
)


def fresh():
    """A view of a bench with a sheet."""
    view = BenchView(About("bench-1", Purpose.FINAL, "meter", "", "steadyohm"))
    view.on(PairTable(PLOVER))
    return view


def given_to(view, what):
    """Let a view take an event, a reading or facts."""
    if isinstance(what, Facts):
        view.know(what)
    elif isinstance(what, Reading):
        view.see(what, OHM)
    else:
        view.show(what)


@tries(150)
@given(st.lists(EVENTS | READINGS | FACTS, max_size=40))
def test_the_changes_make_the_state(happenings):
    """Whatever happens, in any order: the state is JSON, the phase has a word, nothing changes untold."""
    view = fresh()
    known = {key: value for key, value in view.state().items() if key != "trace"}
    view.take_changes()
    view.hush()
    trace = []
    for what in happenings:
        given_to(view, what)
        known.update(view.take_changes())
        if (told := view.take_points()) is not None:
            trace = [*([] if told["new"] else trace), *told["points"]]
        view.take_cues()
        state = view.state()
        assert state.pop("trace") == trace
        assert state == known
        json.dumps(state, allow_nan=False)
        assert state["phase"] in PHASES
        ranks = ["stop", "warning", "info"]
        told = [ranks.index(warning["severity"]) for warning in state["warnings"]]
        assert told == sorted(told)


class Follower:
    """A page that reads when it likes."""

    def __init__(self, stream):
        self.stream, self.line, self.state, self.seq = stream, stream.open(), None, -1

    async def read(self):
        """Take what is there, if anything is."""
        if not self.line._ready.is_set():
            return
        for block in (await self.line.take(self.stream.whole)).decode().split("\n\n")[:-1]:
            name, data = block.split("\n")
            plain = json.loads(data.removeprefix("data: "))
            if name == "event: state":
                self.state, self.seq = plain, plain["seq"]
            elif name == "event: change":
                assert plain["seq"] == self.seq + 1  # nothing is missed
                self.state.update(plain)
                self.seq = plain["seq"]


@tries(60)
@given(
    st.lists(st.tuples(EVENTS | READINGS | FACTS, st.booleans(), st.booleans()), max_size=30),
    st.integers(1, 5),
)
def test_every_page_knows_the_same_in_the_end(happenings, room):
    """One that reads at once, one now and then, one hardly ever, with little room for what waits."""

    async def followed():
        way = Stream(fresh())
        pages = [Follower(way) for _ in range(3)]
        for what, second, third in happenings:
            given_to(way.view, what)
            way.changed()
            await asyncio.sleep(0)
            for page, reads in zip(pages, (True, second, third and second), strict=True):
                if reads:
                    await page.read()
        way._out()  # what waits for its tenth of a second
        for page in pages:
            await page.read()
        whole = json.loads(json.dumps(way.state()).encode("utf-8", "replace"))
        for page in pages:
            for key in set(whole) - {"clock", "trace", "seq"}:
                assert json.dumps(page.state[key]) == json.dumps(_replaced(whole[key])), key
            assert page.seq == whole["seq"]

    before, stream_module.MOST_WAITING = stream_module.MOST_WAITING, room
    try:
        asyncio.run(followed())
    finally:
        stream_module.MOST_WAITING = before


def _replaced(value):
    """As it looks after its way: half a surrogate pair is a question mark."""
    return json.loads(json.dumps(value, ensure_ascii=False).encode("utf-8", "replace"))
