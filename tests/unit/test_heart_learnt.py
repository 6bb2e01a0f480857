"""What a bench has learnt goes on the record after a unit; a bench that starts again goes on from there."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from acquire.bench.daemon import recorded
from acquire.bench.recording import RecordedPipeline, replay
from acquire.heart.learnt import learned_of, learnt_notice
from acquire.journal.plain import from_plain, to_plain
from acquire.records import Code, Judged, LeadZero, Learned, Notice, ZeroLeads
from acquire.words.notices import said
from tests.pure_bench import GOOD, LEAD_OHM, Bench

LEARNED = Learned(12, 11, 1.3, 0.25, 0.1, -1.7, 0.2, 2.5, 2.1)


def learnt(bench):
    return [n for n in bench.of(Notice) if n.code is Code.BENCH_LEARNT]


def worked(bench):
    bench.begin()
    bench.work_through(GOOD)
    return bench


def test_what_is_written_is_read_back_bit_for_bit():
    """Through JSON, as the journal keeps it."""
    plain = json.loads(json.dumps(to_plain(learnt_notice(LEARNED, "m", 1.0))))

    assert learned_of(from_plain("notice", plain), "m") == LEARNED


def test_another_meter_has_learnt_nothing():
    assert learned_of(learnt_notice(LEARNED, "m", 1.0), "another") is None


def test_a_unit_leaves_what_it_taught_on_the_record():
    bench = worked(Bench())

    (notice,) = learnt(bench)
    told = learned_of(notice, "m")
    assert told is not None
    assert told.contacts >= 3
    assert (notice, None) in recorded(bench.events)


def test_each_verdict_says_which_version_it_rests_on():
    bench = worked(Bench())
    versions = [judged.evidence.learned for judged in bench.of(Judged)]

    assert versions == sorted(versions)
    assert versions[-1] > versions[0]


def test_a_bench_that_starts_again_goes_on_with_what_was_learnt():
    lived, restarted = worked(Bench()), Bench()
    restarted.pipeline.replay([record for record, _ in recorded(lived.events)], lived.now_s)
    restarted.now_s, restarted.conversion = lived.now_s, lived.conversion

    worked(restarted)

    kept = learned_of(learnt(lived)[-1], "m")
    assert restarted.of(Judged)[0].evidence.learned >= kept.version
    assert learned_of(learnt(restarted)[-1], "m").contacts > kept.contacts


def test_a_recording_with_lessons_and_a_restart_is_replayed_bit_for_bit(tmp_path):
    """Two units, what the first taught taken up in between: all events of the replay are those of the day."""
    bench, path = Bench(), tmp_path / "day.recording"
    plain = bench.pipeline
    with path.open("x", encoding="utf-8") as out:
        bench.pipeline = RecordedPipeline(
            plain.place, plain.meter, plain.conditions, four_wire_below_ohm=10.0, out=out
        )
        bench.pipeline.begin()
        bench.events.clear()
        bench.air(0.5)
        worked(bench)
        kept = [record for record, _ in recorded(bench.events) if isinstance(record, LeadZero | Notice)]
        bench.pipeline.replay(kept, bench.now_s)
        bench.begin("A2")
        bench.work_through(GOOD)

    assert len(learnt(bench)) == 2
    assert list(replay(path)) == bench.events


def test_other_leads_make_void_what_was_learnt():
    """The next zero is far from the last one, and a second touch agrees: leads or probes were changed."""
    bench = worked(Bench())
    bench.command(ZeroLeads())
    bench.hold(0.2)
    bench.hold(0.2)

    assert [n.code for n in bench.of(Notice)][-2:] == [Code.LEADS_MOVED, Code.BENCH_LEARNT]
    assert bench.pipeline.learning.recorded.contacts <= 1
    assert LEAD_OHM < 0.2


@pytest.mark.parametrize(
    ("learned", "sentence"),
    [
        (LEARNED, "This bench's contacts creep for 2.1 s; U widened by 1.3."),
        (replace(LEARNED, creep_s=0.0, widening=1.0), "This bench's contacts do not creep; U is unchanged."),
        (replace(LEARNED, widening=0.8), "This bench's contacts creep for 2.1 s; U narrowed to 0.8."),
        (Learned(), "This bench has not learned anything about its contacts yet."),
    ],
)
def test_it_is_told_in_a_sentence(learned, sentence):
    assert said(learnt_notice(learned, "m", 0.0)) == sentence
