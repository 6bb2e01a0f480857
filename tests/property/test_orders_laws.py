"""Whatever is typed at the bench or sent over the network: an answer, never a traceback."""

import asyncio
import contextlib
import json

from hypothesis import HealthCheck, given
from hypothesis import strategies as st

from acquire.bench.keyboard import Keyboard, to_command
from acquire.bench.publishing import Orders
from acquire.clock import HandClock
from acquire.errors import InputImpossible
from acquire.files.settings import load_bench
from acquire.outlets.orders import ORDERS, Desk
from acquire.records import Notice
from tests.obedient_meter import StillBench
from tests.tries import tries
from tests.whole_bench import bench_file, journal_entries

WORDS = [
    ".again",
    ".skip",
    ".undo",
    ".zero",
    ".end",
    ".note",
    ".temperature",
    ".help",
    ".batch",
    ".pause",
    ".resume",
    ".finish",
    ".spool",
    ".accept",
    ".standard",
    ".",
    "..",
    "P80-0001",
    "",
]
LINES = st.one_of(
    st.text(max_size=300),
    st.builds(lambda word, rest: f"{word} {rest}", st.sampled_from(WORDS), st.text(max_size=60)),
    st.builds(
        lambda x, unit: f".temperature {x}{unit}", st.floats(), st.sampled_from([" °C", " C", "", " K"])
    ),
)


@given(LINES)
def test_any_typed_line_is_a_command_or_a_sentence(line):
    """`to_command` alone."""
    with contextlib.suppress(InputImpossible):
        to_command(line)


TEXTS = st.one_of(
    st.text(max_size=250), st.sampled_from(["slow charge", "../../etc/passwd", "=1+1", "\x1b[2J"])
)
JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | TEXTS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(TEXTS, inner, max_size=3),
    max_leaves=6,
)
FIELDS = [
    "serial",
    "batch",
    "operator",
    "step",
    "reason",
    "text",
    "celsius",
    "standard_uncertainty_kelvin",
    "correlation",
    "command",
    "more",
]
COMMANDS = st.builds(
    lambda name, correlation, more: json.dumps({**more, "command": name, "correlation": correlation}).encode(
        "utf-8", "surrogatepass"
    ),
    st.sampled_from(sorted(set(ORDERS) - {"stop"})) | TEXTS,
    st.text(max_size=70) | JSON,
    st.dictionaries(st.sampled_from(FIELDS), TEXTS | JSON, max_size=4),
)
PAYLOADS = st.one_of(st.binary(max_size=200), COMMANDS, JSON.map(lambda value: json.dumps(value).encode()))


class Typed(Keyboard):
    """A keyboard of given lines."""

    def __init__(self, lines):
        self._lines = lines

    async def lines(self):
        for line in self._lines:
            yield line


@tries(25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.tuples(st.booleans(), LINES, PAYLOADS), max_size=12))
def test_a_bench_survives_whatever_is_typed_and_sent(tmp_path_factory, doings):
    """Through keyboard and desk into the real daemon with its journal; it is at work afterwards."""
    folder = tmp_path_factory.mktemp("bench")
    asyncio.run(_at_work(folder, doings))
    journal_entries(folder)


async def _at_work(folder, doings):
    file = bench_file(folder, meter="tcp:127.0.0.1:9")
    still = await StillBench(load_bench(file), HandClock(100.0)).assembled()
    still.meter.pace_s = 0.001
    stop, desk, now_s = asyncio.Event(), Desk(), 0.0
    orders = Orders(still.daemon, stop)
    async with asyncio.TaskGroup() as group:
        group.create_task(still.daemon.run(stop))
        for by_key, line, payload in doings:
            now_s += 10.0
            if by_key:
                await Typed([line]).followed(still.daemon.command, still.daemon.tell, still.daemon.clock)
                continue
            taken = desk.take(payload, now_s)
            if taken.order is not None:
                answer = await desk.carry_out(taken.correlation, taken.order, orders)
                assert answer.done or answer.reason
            else:
                assert taken.answer is None or not taken.answer.done or taken.correlation
        await still.daemon.command(to_command(".note still here"))
        await still.until(lambda b: any(n.facts.get("note") == "still here" for n in b.of(Notice)))
        still.meter.calm = None
        stop.set()
