"""Whatever is done to batches: one runs at a time, and the record alone leads back to where one was."""

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from acquire.errors import InputImpossible
from acquire.heart.batches import Batches
from acquire.journal.plain import from_plain, to_plain
from acquire.physics.common import PairReading
from acquire.physics.wire import SpoolCard
from acquire.records import (
    AcceptFirstUnit,
    Batch,
    BatchState,
    ChangeSpool,
    Circumstances,
    FinishBatch,
    OpenBatch,
    Outcome,
    Pair,
    PauseBatch,
    Purpose,
    ResumeBatch,
    StartUnit,
    UnitKnown,
)
from acquire.sheets import load_sheet
from tests.known_records import RESULT
from tests.tries import tries
from tests.whole_bench import CONFIGS

FATHOM = load_sheet(CONFIGS / "sheets" / "fathom-7.toml")
CARDS = {
    "36-A": SpoolCard("36-A", 1.377, 5e-4, 10.0, 0.127),
    "36-B": SpoolCard("36-B", 1.328, 5e-4, 10.0, 0.127),
}
NAMES = st.sampled_from(["a", "b", "c"])
COMMANDS = st.one_of(
    st.builds(OpenBatch, NAMES, st.none() | st.integers(1, 3)),
    st.builds(PauseBatch),
    st.builds(ResumeBatch, NAMES | st.just("")),
    st.builds(FinishBatch),
    st.builds(ChangeSpool, st.sampled_from(["36-A", "36-B", "x"]), st.sampled_from(["", "P1, P2", "S1"])),
    st.builds(AcceptFirstUnit, st.just("so")),
    st.builds(UnitKnown, st.sampled_from(["U1", "U2"]), NAMES, st.integers(0, 2), st.integers(0, 3)),
    st.tuples(st.sampled_from(["U1", "U2", "U3"]), st.sampled_from([1.0, 1.26])),
)


def bench():
    place = Circumstances("bench-1", Purpose.FINAL, FATHOM, "meter", "m", "m", "b", "test")
    return Batches(place, CARDS)


def done(batches, command, utc_s):
    """What a command leads to; a pair stands for a unit that is measured, with what its primaries read."""
    if not isinstance(command, tuple):
        return batches.obey(command, utc_s)
    serial, factor = command
    started, told = batches.start(StartUnit(serial), utc_s)
    if started is None:
        return told
    batches.begin(started)
    readings = [
        PairReading(Pair("1", "2"), 246.0 * factor, 0.05),
        PairReading(Pair("3", "4"), 269.3 * factor, 0.05),
    ]
    result = replace(RESULT, serial=serial, batch=started.batch, outcome=Outcome.PASS, utc_s=utc_s)
    return [*told, *batches.ended(result, readings, 10.0)]


@tries(60)
@given(st.lists(COMMANDS, max_size=14))
def test_the_record_alone_leads_back(commands):
    """After a restart at any moment the same batches stand as they stood, and one runs at most."""
    batches, record = bench(), []
    for number, command in enumerate(commands):
        before = dict(batches.known)
        events = []
        try:
            events = done(batches, command, float(number))
        except InputImpossible:
            assert batches.known == before  # what is refused changes nothing
        record += [to_plain(event) for event in events if isinstance(event, Batch)]
    running = [batch for batch in batches.known.values() if batch.state is BatchState.RUNNING]
    assert [batch.batch for batch in running] == ([batches.running] if batches.running else [])
    again = bench()
    again.recall([from_plain("batch", plain) for plain in record])
    assert (again.known, again.running) == (batches.known, batches.running)
