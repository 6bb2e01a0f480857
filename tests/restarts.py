"""Random units on a pure bench, and what becomes of them when the daemon is killed. Not a test itself.

`play` works one unit with hands that slip, skip, ask again, scan and type, and keeps what each action came to;
`killed` begins afresh with the record as it stood after one of these actions, and plays the rest.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field

from acquire.bench.on_record import recorded
from acquire.records import (
    Ask,
    Batch,
    CheckStandard,
    ConfirmOpen,
    GiveUpUnit,
    MeasureAgain,
    Notice,
    OpenBatch,
    Pair,
    Prompt,
    SkipStep,
    StartUnit,
    TypedResult,
    TypeResult,
    TypeTemperature,
    Undo,
    UnitKnown,
    UnitResult,
    UnitStarted,
    Verdict,
    ZeroLeads,
)
from acquire.records.codes import Order
from tests.pure_bench import Bench

SHEETS = ("plover-80", "quern-12", "fathom-7")
LONGEST = 60
"""Actions of one unit at most."""


@dataclass(frozen=True)
class Action:
    """Something a person does: touches (ohms, NaN: the air), words, or waiting."""

    name: str
    ohm: float = math.nan
    command: object = None


@dataclass
class Story:
    """One unit's way, action by action.

    Attributes:
        actions: what was done.
        came: of each, the facts of the records and the prompt after it.
        records: everything on record; stood: how much of it after each action; until_s: when that was done.
    """

    sheet: str
    order: Order
    batch: str
    actions: list[Action] = field(default_factory=list)
    came: list[tuple] = field(default_factory=list)
    records: list = field(default_factory=list)
    stood: list[int] = field(default_factory=list)
    until_s: list[float] = field(default_factory=list)


def values(table, rng: random.Random) -> dict[Pair, float]:
    """What a random unit reads: good, one winding off, one open, a bad joint in a pin."""
    branches = {b.name: b.reference_ohm * rng.gauss(1.0, 0.003) for b in table.branches}
    kind = rng.choice(["good", "good", "short", "open", "joint", "warm", "two"])
    windings = [b.name for b in table.branches if b.kind.value == "winding"]
    if kind in ("short", "two"):
        branches[rng.choice(windings)] *= rng.uniform(0.6, 0.93)
    if kind in ("open", "two"):
        branches[rng.choice(windings)] = 1e9
    if kind == "warm":
        branches = {name: ohm * 1.05 for name, ohm in branches.items()}
    joint = rng.choice(table.sheet.pins).name if kind == "joint" else ""
    import networkx as nx

    graph = nx.Graph()
    for b in table.branches:
        ohm = branches[b.name]
        weight = 1.0 / max(ohm, 1e-9) + (graph[b.a][b.b]["weight"] if graph.has_edge(b.a, b.b) else 0.0)
        graph.add_edge(b.a, b.b, weight=weight)
    found = {}
    for pair in table.pairs():
        if pair.a in graph and pair.b in graph and nx.has_path(graph, *pair):
            part = graph.subgraph(nx.node_connected_component(graph, pair.a))
            ohm = nx.resistance_distance(part, *pair, weight="weight", invert_weight=False)
            found[pair] = math.inf if ohm > 1e7 else ohm + (3.0 if joint in pair else 0.0)
        else:
            found[pair] = math.inf
    return found


class Hands:
    """Choose what to do next from the prompt, with slips."""

    def __init__(self, unit: dict[Pair, float], rng: random.Random):
        self.unit, self.rng, self.last = unit, rng, None

    def next(self, prompt: Prompt) -> Action | None:
        rng, slip = self.rng, self.rng.random()
        if prompt.ask is Ask.SHORT_PROBES:
            return Action("short", 0.0)
        if prompt.ask is Ask.CHECK_RESISTOR:
            return Action("check", 100.0)
        if prompt.ask is Ask.START_UNIT or prompt.pair is None:
            return None
        words = [
            Action("again", command=MeasureAgain()),
            Action("skip", command=SkipStep("broken pin")),
            Action("zero", command=ZeroLeads()),
            Action("warmth", command=TypeTemperature(rng.choice((20.0, 20.4)), 0.2)),
            Action("result", command=TypeResult("surge = ok, pass")),
            Action("scan", command=StartUnit("OTHER")),
            Action("undo", command=Undo()),
        ]
        if slip < 0.08:
            return rng.choice(words)
        if slip < 0.18:
            return Action("wrong", self.unit[rng.choice(list(self.unit))])
        if slip < 0.24 and self.last is not None:
            return Action("last", self.unit[self.last])
        self.last = prompt.pair
        ohm = self.unit[prompt.pair]
        if math.isinf(ohm):
            return Action("key", command=ConfirmOpen())
        return Action("touch", ohm * rng.gauss(1.0, 2e-5))


def bench_for(story: Story) -> Bench:
    """A fresh bench with a check standard left out and a temperature from its file."""
    return Bench(sheet=story.sheet, order=story.order)


def do(bench: Bench, action: Action) -> list:
    """Carry an action out; gives what goes on the record."""
    before = len(bench.events)
    if action.name == "key":
        bench.air(13.0)
        bench.command(action.command)
    elif action.command is not None:
        bench.command(action.command)
    elif math.isinf(action.ohm):
        bench.air(3.0)
    else:
        bench.hold(action.ohm)
    bench.air(0.5)
    return [record for record, _ in recorded(bench.events[before:])]


def facts(records: list, prompt: Prompt) -> tuple:
    """What must be the same with and without a kill."""
    return tuple(_facts(record) for record in records), (
        prompt.ask,
        prompt.pair,
        prompt.step,
        prompt.steps_done,
        prompt.steps_total,
    )


def _facts(record) -> tuple:
    match record:
        case Verdict():
            return ("verdict", record.step, record.outcome, record.counts, record.attempt, record.touch)
        case UnitResult():
            found = record.outcome, record.ending, record.steps_passed, record.steps_total
            return ("result", record.serial, *found, tuple(h.fault for h in record.hypotheses))
        case Notice():
            return ("notice", record.code, record.step)
        case UnitStarted():
            return ("started", record.serial, record.batch, record.attempt)
        case Batch():
            return ("batch", record.batch, record.deed)
        case TypedResult() | CheckStandard():
            return (type(record).__name__,)
    return (type(record).__name__,)


def play(seed: int) -> Story:
    """One random unit from its scan to its result."""
    rng = random.Random(seed)
    story = Story(rng.choice(SHEETS), rng.choice(list(Order)), rng.choice(("", "lot 1")))
    bench = bench_for(story)
    bench.air(0.5)
    hands = Hands(values(bench.pipeline.table, rng), rng)
    first = [Action("start", command=StartUnit("A1"))]
    if story.batch:
        first.insert(0, Action("batch", command=OpenBatch(story.batch, 1)))
    while len(story.actions) < LONGEST:
        action = first.pop(0) if first else hands.next(bench.prompt)
        if action is None:
            break
        if len(story.actions) == LONGEST - 1:
            action = Action("end", command=GiveUpUnit("enough"))
        records = do(bench, action)
        story.actions.append(action)
        story.records += records
        story.stood.append(len(story.records))
        story.until_s.append(bench.now_s)
        story.came.append(facts(records, bench.prompt))
    return story


def killed(story: Story, after: int) -> tuple[list[tuple], list[tuple]]:
    """What the rest came to with a kill after an action, and what it came to without."""
    bench = bench_for(story)
    bench.now_s = story.until_s[after]
    records = story.records[: story.stood[after]]
    latest = {record.batch: record for record in records if isinstance(record, Batch)}
    bench.pipeline.recall(list(latest.values()))
    starts = [record for record in records if isinstance(record, UnitStarted)]
    if starts:
        of = starts[-1]
        attempts = sum(s.serial == of.serial and s.batch == of.batch for s in starts)
        bench.command(UnitKnown(of.serial, of.batch, attempts))
    bench.events += bench.pipeline.replay(records, bench.now_s)
    bench.air(0.5)
    return [facts(do(bench, action), bench.prompt) for action in story.actions[after + 1 :]], story.came[
        after + 1 :
    ]
