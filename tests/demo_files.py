"""What the documents speak of: records of the two demos and of a bench of one's own. Not a test itself.

Made in a second or two: the heart is real, hands and meter are `tests.pure_bench`. Serials, sheets, batch and
spools are those of `steadyohm demo` and `steadyohm demo --scene fathom-7`, whose own runs take minutes.
"""

from __future__ import annotations

from acquire.answers.instruments import bench_text_for
from acquire.bench.daemon import recorded
from acquire.bench.keyboard import to_command
from acquire.simulated.simulate import simulated
from acquire.study.record import begun
from drivers.find import SearchStep
from tests.known_records import CHECK, NOON_S
from tests.known_studies import study_record
from tests.known_visits import journal_with
from tests.pure_bench import CONFIGS, GOOD, Bench

FATHOM = {("1", "2"): 243.09, ("3", "4"): 266.11, ("5", "6"): 1.64, ("7", "8"): 1.64}

SHORTED = {**GOOD, ("2", "3"): 38.65, ("1", "3"): 241.17}


def write(folder):
    """All of it, below this folder."""
    for name in ("configs", "Makefile"):
        (folder / name).symlink_to(CONFIGS.parent / name)
    demo(folder / "demo", "plover-80", worked("plover-80", [("P80-0001", GOOD), ("P80-0002", SHORTED)]))
    said = (".batch F7 autumn, 40 units", ".spool 36-A for P1, P2")
    of_batch = worked("fathom-7", [("F7-0001", FATHOM), ("F7-0002", FATHOM)], *said)
    demo(folder / "fathom", "fathom-7", of_batch)
    own = [(CHECK, None), *worked("plover-80", [("P80-0001", GOOD), ("P80-0001", GOOD)])]
    journal_with(folder / "journal", own)
    study = study_record()
    with begun(folder / "study.jsonl", study.subject, study.plan, study.begun_utc_s) as file:
        for measurement in study.taken.values():
            file.take(measurement)
    found = SearchStep("found", 1, 1, "tcp:192.0.2.10:5025", "a SCPI meter", driver="scpi")
    (folder / "my-bench.toml").write_text(bench_text_for([found]), encoding="utf-8")


def worked(sheet, units, *typed):
    """Records of units that went over the bench, one after the other."""
    bench = Bench(22.0, sheet=sheet, utc_s=NOON_S)
    for line in typed:
        bench.command(to_command(line))
    for serial, values in units:
        bench.begin(serial)
        while bench.prompt.pair is not None:
            bench.hold(values[tuple(bench.prompt.pair)], 8.0)
    return recorded(bench.events)


def demo(folder, scene, records):
    """The folder of one demo."""
    folder.mkdir()
    text = simulated(scene, "bench-6-digit").bench_text("tcp:127.0.0.1:5025", "tcp:127.0.0.1:5026")
    (folder / "bench.toml").write_text(text, encoding="utf-8")
    journal_with(folder / "journal", records)
