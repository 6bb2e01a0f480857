"""Random benches at work, and what becomes of them when the daemon is killed. Not a test itself.

`play` works some units with hands that slip, skip, ask again, scan, type and take back, and keeps what each
action came to; `killed` begins afresh with the record as it stood after one of these actions, and plays the
rest. The record goes through the journal's spelling, as from a file.
"""

from __future__ import annotations

import json
import math
import random
from dataclasses import dataclass, field

import numpy as np

from acquire.bench.daemon import recorded
from acquire.heart.fixture_hold import FixtureHold
from acquire.heart.serials import SerialRule
from acquire.journal.plain import from_plain, kind_of, to_plain
from acquire.journal.schema import OWED
from acquire.physics.check_standard import Resistor
from acquire.records import (
    AcceptFirstUnit,
    Ask,
    Batch,
    CheckMeter,
    CheckStandard,
    Code,
    ConfirmOpen,
    Ending,
    FixtureMoved,
    FixtureOpen,
    GiveUpUnit,
    Judged,
    LeadZero,
    MeasureAgain,
    Note,
    Notice,
    OpenBatch,
    OverrideCheck,
    Pair,
    Prompt,
    Purpose,
    SkipStep,
    StartUnit,
    Step,
    StepKind,
    TypeResult,
    TypeTemperature,
    Undo,
    UnitKnown,
    UnitResult,
    UnitStarted,
    Verdict,
    Why,
    ZeroLeads,
)
from acquire.records.codes import Order
from acquire.settle import SettleFilter
from acquire.steps.checking import CheckDuty
from acquire.steps.pairs import PairTable
from tests.later import nx
from tests.pure_bench import Bench

SHEETS = ("plover-80", "quern-12", "fathom-7")
TABLES: dict[tuple[str, bool], PairTable] = {}
"""Solved once for all stories."""
AWAY_S = 0.9
"""So long the daemon was away, at the end of the action before the kill."""
LONGEST = 60
"""Actions of one story at most."""


@dataclass(frozen=True)
class Action:
    """Something a person does: commands first, then touches (ohms, NaN: the air), then waits.

    Attributes:
        creeps: so much the value moves, as a fraction, while the probes lie there.
        air_s: before it.
    """

    name: str
    ohm: float = math.nan
    commands: tuple = ()
    creeps: float = 0.0
    air_s: float = 0.0


@dataclass
class Story:
    """What happened on one bench, action by action.

    Attributes:
        actions: what was done.
        came: of each, the facts of the records and the prompt after it.
        records: everything on record; stood: how much of it after each action.
        until: of each action, when that was done, and how many conversions the meter had made.
    """

    sheet: str
    order: Order
    purpose: Purpose
    batch: str
    check: bool
    fixture: bool
    isolation: bool
    actions: list[Action] = field(default_factory=list)
    came: list[tuple] = field(default_factory=list)
    records: list = field(default_factory=list)
    stood: list[int] = field(default_factory=list)
    until: list[tuple[float, int]] = field(default_factory=list)


def values(table, rng: random.Random) -> dict[Pair, float]:
    """What a random unit reads: good, one winding off, one open, a bad joint, warm, a ground."""
    branches = {b.name: b.reference_ohm * rng.gauss(1.0, 0.003) for b in table.branches}
    kind = rng.choice(["good", "good", "short", "open", "joint", "warm", "two", "ground"])
    windings = [b.name for b in table.branches if b.kind.value == "winding"]
    if kind in ("short", "two"):
        branches[rng.choice(windings)] *= rng.uniform(0.6, 0.93)
    if kind in ("open", "two"):
        branches[rng.choice(windings)] = 1e9
    if kind == "warm":
        branches = {name: ohm * 1.05 for name, ohm in branches.items()}
    joint = rng.choice(table.sheet.pins).name if kind == "joint" else ""
    wires = [(b.a, b.b, branches[b.name]) for b in table.branches]
    if kind == "ground" and table.sheet.core:
        wires.append((table.sheet.pins[0].name, table.sheet.core, rng.choice([0.5, 5100.0])))
    read = resistances(wires)
    found = {pair: read.get((pair.a, pair.b), math.inf) for pair in table.pairs()}
    return {pair: math.inf if ohm > 1e7 else ohm + 3.0 * (joint in pair) for pair, ohm in found.items()}


def resistances(wires: list[tuple[str, str, float]]) -> dict[tuple[str, str], float]:
    """Between every two nodes that are joined, by the inverse of the network's matrix: an own solver."""
    graph = nx.MultiGraph()
    graph.add_weighted_edges_from((a, b, 1.0 / max(ohm, 1e-9)) for a, b, ohm in wires)
    found = {}
    for nodes in nx.connected_components(graph):
        order = list(nodes)
        inverse = np.linalg.pinv(nx.laplacian_matrix(graph, order).toarray(), hermitian=True)
        own = np.diag(inverse)
        between = own[:, None] + own[None, :] - 2.0 * inverse
        found |= {(a, b): float(between[i, j]) for i, a in enumerate(order) for j, b in enumerate(order)}
    return found


class Hands:
    """Choose what to do next from the prompt, with slips.

    Args:
        table: of the sheet.
        fixture: relays hold the probes.
        units: to be measured.
        creeps: probes slide, so that values move while they lie there.
    """

    def __init__(self, table, rng: random.Random, *, fixture: bool, units: int, creeps: bool):
        self.table, self.rng, self.fixture, self.creeps = table, rng, fixture, creeps
        self.waiting = [f"A{number + 1}" for number in range(units)]
        self.reads: dict[str, dict[Pair, float]] = {}
        self.last: Pair | None = None
        self.resistor = rng.choice([100.0, 100.0, 100.0, 100.4])
        self.next_up: list[Action] = []

    def next(self, prompt: Prompt) -> Action | None:  # noqa: PLR0911  (one line a request)
        """What the operator does now; None at the end of the day."""
        if self.next_up:
            return self.next_up.pop(0)
        if prompt.ask is Ask.CLIP_ON:
            return Action("clip", commands=(ConfirmOpen(),))
        slip = self.rng.random()
        if slip < 0.10:
            return self._word()
        if prompt.ask is Ask.SHORT_PROBES:
            return self._at(("1", "1"), 0.0, "short")
        if prompt.ask is Ask.CHECK_RESISTOR:
            return self._checked(prompt)
        if prompt.ask is Ask.START_UNIT or prompt.pair is None:
            return self._between(prompt)
        if prompt.serial not in self.reads:
            self.reads[prompt.serial] = values(self.table, self.rng)
        unit = self.reads[prompt.serial]
        if prompt.facts.get("open"):
            return self._open_step(prompt, unit)
        if slip < 0.20 and not self.fixture:
            return Action("wrong", unit[self.rng.choice(list(unit))])
        if slip < 0.26 and self.last is not None and not self.fixture:
            return Action("last", unit[self.last])
        self.last = prompt.pair
        return self._touch(prompt.pair, unit[prompt.pair])

    def _touch(self, pair: Pair, ohm: float) -> Action:
        if math.isinf(ohm) and self.fixture:
            return Action("proven", commands=(FixtureMoved(*pair), FixtureOpen((pair,))))
        if math.isinf(ohm):
            return Action("key", commands=(ConfirmOpen(),), air_s=13.0)
        creeps = self.rng.choice([0.0, 0.0, 0.0, 0.003, -0.02]) if self.creeps else 0.0
        return self._at(pair, ohm * self.rng.gauss(1.0, 2e-5), "touch", creeps)

    def _at(self, pins, ohm: float, name: str, creeps: float = 0.0) -> Action:
        moved = (FixtureMoved(*pins),) if self.fixture else ()
        return Action(name, ohm, moved, creeps)

    def _open_step(self, prompt: Prompt, unit: dict[Pair, float]) -> Action:
        """By key, or between two continuities with the clip on the core; sometimes only half of it."""
        facts, ohm = prompt.facts, unit[prompt.pair]
        if "core" not in facts or math.isfinite(ohm) or self.rng.random() < 0.3:
            return self._touch(prompt.pair, ohm)
        to = {pair: unit[pair] for pair in unit if facts["core"] in pair}
        read = {pin: ohm for pair, ohm in to.items() for pin in pair if pin != facts["core"]}
        if "first" in facts:
            return Action("first", read[facts["first"]])
        return Action("second", read[facts["last"]], air_s=self.rng.choice([0.5, 3.0, 3.0]))

    def _checked(self, prompt: Prompt) -> Action:
        if prompt.why is Why.BLOCKED and self.rng.random() < 0.5:
            self.resistor = 100.0
            return Action("override", commands=(OverrideCheck("known good"),))
        ohm = self.resistor if self.rng.random() < 0.8 else 150.0
        return Action("check", ohm, (FixtureMoved(),) if self.fixture else ())

    def _between(self, prompt: Prompt) -> Action | None:
        if prompt.why is Why.DOUBT and self.rng.random() < 0.6:
            return Action("accept", commands=(AcceptFirstUnit("as wound"),))
        if not self.waiting:
            return None
        serial = self.waiting.pop(0)
        return Action("start", commands=(StartUnit(serial),))

    def _word(self) -> Action:
        rng = self.rng
        undo = Action("undo", commands=(Undo(),))
        slips = [
            Action("sure scan", commands=(StartUnit("OTHER", sure=True),)),
            Action("give up", commands=(GiveUpUnit("dropped"),)),
            Action("skip", commands=(SkipStep("broken pin"),)),
        ]
        words = [
            undo,
            Action("again", commands=(MeasureAgain(),)),
            Action("zero", commands=(ZeroLeads(),)),
            Action("check asked", commands=(CheckMeter(),)),
            Action("warmth", commands=(TypeTemperature(rng.choice((20.0, 20.4)), 0.2),)),
            Action("result", commands=(TypeResult("surge = ok, pass"),)),
            Action("note", commands=(Note("a remark"),)),
            Action("doubtful scan", commands=(StartUnit("skip"),)),
            Action("scan", commands=(StartUnit("OTHER"),)),
        ]
        word = rng.choice([*slips, *words])
        if word in slips and rng.random() < 0.7:
            self.next_up.append(undo)
        if word.name in ("scan", "doubtful scan") and rng.random() < 0.5:
            self.next_up += [rng.choice(words), word]
        return word


def bench_for(story: Story, **changes) -> Bench:
    """A fresh bench; its check standard, if it has one, stops it."""
    more = dict(changes)
    if story.isolation:
        bench = Bench(sheet=story.sheet)
        sheet = bench.pipeline.place.sheet
        pair = Pair(sheet.pins[0].name, sheet.core)
        isolation = Step("isolation", pair, kind=StepKind.OPEN, open_above_ohm=1e6)
        more["steps"] = (sheet.steps[0], isolation, *sheet.steps[1:])
    bench = Bench(
        sheet=story.sheet,
        order=story.order,
        purpose=story.purpose,
        check=CheckDuty(Resistor("R1", 100.0, 0.05), every_s=300.0) if story.check else None,
        fixture=FixtureHold() if story.fixture else None,
        **more,
    )
    table = bench.pipeline.table
    bench.pipeline.table = TABLES.setdefault((story.sheet, story.isolation), table)
    bench.pipeline.serials = SerialRule(words=frozenset({"skip"}))
    return bench


def do(bench: Bench, action: Action, records: list) -> list:
    """Carry an action out; gives what goes on the record.

    Args:
        bench: where.
        action: what.
        records: on record so far.
    """
    before = len(bench.events)
    bench.pipeline.link_lost()
    bench.pipeline.settling = SettleFilter(bench.pipeline.settle)  # what it learnt of the noise is not told
    bench.air(0.5 + action.air_s)
    for command in action.commands:
        if isinstance(command, StartUnit):
            bench.command(known(records, command.serial, bench.pipeline.batches.running))
        bench.command(command)
    if math.isinf(action.ohm):
        bench.air(3.0)
    elif not math.isnan(action.ohm):
        hold(bench, action.ohm)
        if action.creeps:
            hold(bench, action.ohm * (1.0 + action.creeps))
    bench.air(0.5)
    return [record for record, _ in recorded(bench.events[before:])]


def hold(bench: Bench, ohm: float) -> None:
    """Until something is said, as people do; some seconds at most."""
    for _ in range(80):
        if any(isinstance(event, Judged | Notice | LeadZero | CheckStandard) for event in bench.read(ohm)):
            return


def known(records: list, serial: str, running: str) -> UnitKnown:
    """What the record says of a unit, as `on_record.unit_known` finds it."""
    starts = [r for r in records if isinstance(r, UnitStarted)]
    batches = [r.batch for r in starts if r.serial == serial and r.batch]
    latest = batches[-1] if batches else ""
    others = {r.serial for r in starts if running and r.batch == running} - {serial}
    ended = [r for r in records if isinstance(r, UnitResult) and r.serial == serial]
    held = bool(ended) and ended[-1].ending is Ending.WARM
    return UnitKnown(serial, latest, sum(b == latest for b in batches), len(others), held)


def latest_doings(records: list) -> list:
    """What a bench that starts again is told, as `Journal.latest_doings` finds it."""
    start = begin_of(records)
    owed = []
    for kind, code in OWED:
        found = [
            at for at, r in enumerate(records[:start]) if kind_of(r) == kind and (not code or r.code is code)
        ]
        owed += found[-1:]
    return [records[at] for at in sorted(owed)] + records[start:]


def begin_of(records: list) -> int:
    """Where the latest unit begins that can still be on the bench."""
    starts = [at for at, r in enumerate(records) if isinstance(r, UnitStarted)]
    if not starts:
        return len(records)
    start = starts[-1]
    while True:
        since = records[start:]
        back = [r.serial for r in since if isinstance(r, Notice) and r.code is Code.UNIT_REOPENED]
        if not any(isinstance(r, Verdict) for r in since) and not back:
            before = [r.serial for r in records[:start] if isinstance(r, UnitResult)]
            back = before[-1:]
        earlier = [at for at in starts if at < start and records[at].serial in back[-1:]]
        if not earlier:
            return start
        start = earlier[-1]


def facts(records: list, prompt: Prompt) -> tuple:
    """What must be the same with and without a kill."""
    wanted = prompt.ask, prompt.pair, prompt.step, prompt.steps_done, prompt.steps_total
    return tuple(_facts(record) for record in records), wanted


def _facts(record) -> tuple:  # noqa: PLR0911  (one line a kind)
    match record:
        case Verdict():
            of = record.step, record.outcome, record.basis, record.counts
            return ("verdict", *of, record.attempt, record.touch, record.revision)
        case UnitResult():
            found = record.outcome, record.ending, record.steps_passed, record.steps_total, record.revision
            return ("result", record.serial, *found, tuple(h.fault for h in record.hypotheses))
        case Notice():
            return ("notice", record.code, record.serial, record.step, record.facts.get("refusal"))
        case UnitStarted():
            return ("started", record.serial, record.batch, record.attempt)
        case Batch():
            return ("batch", record.batch, record.deed, record.first_serial)
        case CheckStandard():
            return ("check", record.in_control)
    return (type(record).__name__,)


def play(seed: int, *, creeps: bool = False, watch=lambda *_: None) -> Story:
    """Some random units, from the first scan to the last result.

    Args:
        seed: of everything.
        creeps: probes slide; what a meter settles on depends then on what it has settled on before.
        watch: told the bench and everything on record after each action.
    """
    rng = random.Random(seed)
    sheet = rng.choice(SHEETS)
    story = Story(
        sheet,
        rng.choice(list(Order)),
        rng.choice((Purpose.INCOMING, Purpose.FINAL)),
        rng.choice(("", "lot 1")),
        check=rng.random() < 0.3,
        fixture=rng.random() < 0.25,
        isolation=sheet != "fathom-7" and rng.random() < 0.5,
    )
    bench = bench_for(story)
    bench.air(0.5)
    units = rng.choice((1, 1, 2))
    hands = Hands(bench.pipeline.table, rng, fixture=story.fixture, units=units, creeps=creeps)
    first = [Action("batch", commands=(OpenBatch(story.batch, 2),))] if story.batch else []
    while len(story.actions) < LONGEST:
        action = first.pop(0) if first else hands.next(bench.prompt)
        if action is None:
            break
        if len(story.actions) == LONGEST - 1:
            action = Action("end", commands=(GiveUpUnit("enough"),))
        records = do(bench, action, story.records)
        story.actions.append(action)
        story.records += records
        story.stood.append(len(story.records))
        story.until.append((bench.now_s, bench.conversion))
        story.came.append(facts(records, bench.prompt))
        watch(bench, story.records)
    return story


def as_from_a_file(records: list) -> list:
    """Records that went to the journal's file and came back."""
    return [from_plain(kind_of(r), json.loads(json.dumps(to_plain(r)))) for r in records]


def restarted(story: Story, after: int, **changes) -> tuple[Bench, list]:
    """A fresh bench with the record as it stood after an action, and what it said at the start."""
    bench = bench_for(story, **changes)
    now_s, conversion = story.until[after]
    bench.now_s = now_s - AWAY_S
    records = as_from_a_file(story.records[: story.stood[after]])
    bench.pipeline.duties.recall(r for r in records if isinstance(r, CheckStandard))
    deeds: dict[str, Batch] = {}
    for record in records:
        if isinstance(record, Batch):
            deeds.pop(record.batch, None)
            deeds[record.batch] = record
    bench.pipeline.recall(list(deeds.values()))
    told = latest_doings(records)
    serials = [r.serial for r in told if isinstance(r, UnitStarted)]
    if serials:
        bench.command(known(records, serials[-1], bench.pipeline.batches.running))
    ended = bench.pipeline.replay(told, bench.now_s)
    bench.events += ended
    bench.air(AWAY_S)
    bench.conversion = conversion
    return bench, ended


def killed(story: Story, after: int) -> tuple[list[tuple], list[tuple]]:
    """What the rest came to with a kill after an action, and what it came to without."""
    bench, _ = restarted(story, after)
    asked = story.came[after][1][0]
    if bench.prompt.ask is Ask.CLIP_ON and asked is not Ask.CLIP_ON:
        bench.command(ConfirmOpen())  # a fixture asks once more after a start whether the unit is in it
    records, came = story.records[: story.stood[after]], []
    for action in story.actions[after + 1 :]:
        new = do(bench, action, records)
        records = records + new
        came.append(facts(new, bench.prompt))
    return came, story.came[after + 1 :]
