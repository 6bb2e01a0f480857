"""One unit, one result: every outlet says the same of it, whenever a typed result comes.

Shapes, codes and JSON fields are read; of sentences none.
"""

from __future__ import annotations

import asyncio
import csv
import json
import re
import xml.etree.ElementTree as ET

import pytest

from tests.adversary.benches import at, scan, sound
from tests.brokers import Mosquitto, needs_mosquitto, subscriber
from tests.waiting import wait_until

SHAPES = {"●": "pass", "◑": "conditional_pass", "◒": "conditional_fail", "✖": "fail", "?": "cannot_judge"}
BAD = "insulation = 1 Mohm, 500 V, accuracy 5 %"
GOOD = "insulation = 800 Mohm, 500 V, accuracy 5 %"


def shape_in(text):
    """The outcome whose shape stands in a text; the text itself where there is none."""
    return next((outcome for shape, outcome in SHAPES.items() if shape in text), text)


def said_on_paper(bench, serial, batch):
    """What the commands say, by their name."""
    journal, said = bench.folder / "journal", {}
    label = bench.folder / "label.svg"
    code, told = bench.command("label", journal, serial, "--svg", label)
    assert code == 0, told
    drawn = ET.parse(label)  # noqa: S314  (drawn a moment ago)
    texts = [each.text or "" for each in drawn.iter() if each.tag.endswith("text")]
    said["label"] = shape_in(" ".join(texts))
    code, told = bench.command("history", journal, "--serial", serial, "--json", "--kind", "unit_result")
    assert code == 0, told
    said["history"] = json.loads(told.splitlines()[-1])["outcome"]
    page = bench.folder / "certificate.html"
    code, told = bench.command("certificate", journal, serial, "--html", page, "--json")
    assert code == 0, told
    facts = re.search(
        r'<script type="application/json"[^>]*>(.*?)</script>', page.read_text(encoding="utf-8"), re.DOTALL
    )
    said["certificate"] = outcome_in(json.loads(facts[1]))
    code, told = bench.command("batch", batch, "--journal", journal, "--json")
    assert code == 0, told
    [unit] = [unit for unit in json.loads(told)["units"] if unit["serial"] == serial]
    said["batch report"] = unit["outcome"]
    return said


def outcome_in(facts):
    """The unit's latest outcome among the entries that a certificate rests on."""
    results = [entry["payload"] for entry in facts["on_record"] if entry["kind"] == "unit_result"]
    return results[-1]["outcome"]


def said_by_csv(bench, serial):
    """The unit's latest outcome in a CSV file with one row a unit; None where there is no such file."""
    latest = None
    for file in sorted((bench.folder / "csv").glob("*.csv")):
        if file.name.startswith(("verdicts-", "results-")):
            continue
        with file.open(encoding="utf-8-sig", newline="") as stream:
            for row in csv.DictReader(stream):
                if row.get("serial") == serial and "outcome" in row:
                    latest = row["outcome"]
    return latest


def said_on_page(bench, serial):
    """What the page shows now and remembers."""
    now, unit = bench.asked("/now"), bench.asked(f"/unit?serial={serial}")
    [visit] = unit["visits"]
    [line] = [line for line in bench.asked("/units")["units"] if line["serial"] == serial]
    return {
        "/now": now["result"]["outcome"], "/unit": unit["outcome"], "visits": visit["outcome"],
        "/units": line["outcome"], "/now batch": (now["batch"]["passed"], now["batch"]["failed"]),
    }  # fmt: skip


def said_at_the_end(output, serial):
    """The last table of the terminal: the line that begins with the serial."""
    return shape_in([line for line in output.splitlines() if line.startswith(f"{serial} ")][-1])


def worked(bench, hands, serial, scaled=None):
    """One unit of a batch, measured."""
    bench.type(".batch lot 7, 2 units")
    return hands.measure(sound(hands, serial, scaled=scaled))


def typed(bench, line):
    """A result typed in, until it is on record."""
    before = len(bench.journal.entries("typed_result"))
    bench.type(f".result {line}")
    wait_until(lambda: len(bench.journal.entries("typed_result")) > before)


@pytest.mark.long
@needs_mosquitto
async def test_a_result_that_changes_after_the_unit_is_heard_everywhere(tmp_path):
    """Passed in ohms, failed by insulation afterwards: terminal, page, papers, MQTT and CSV all say fail."""
    with Mosquitto(tmp_path / "broker") as broker:
        async with subscriber(broker.port) as ear:
            said = await asyncio.to_thread(changed_afterwards, tmp_path, broker.port)
            await ear.until(lambda ear: ear.of("status")[-1]["state"] == "stopped")
        async with subscriber(broker.port) as late:
            await late.until(lambda ear: ear.of("status", retained=True))
        heard = [unit for unit in ear.of("unit") if unit["serial"] == "P-1" and "outcome" in unit]
        said["mqtt"] = heard[-1]["outcome"] if heard else None
        kept = [unit for unit in late.of("latest", retained=True) if unit.get("serial") == "P-1"]
        said["mqtt retained"] = kept[-1].get("outcome") if kept else None
    assert said == {name: (0, 1) if name == "/now batch" else "fail" for name in said}


def changed_afterwards(folder, broker_port):
    """Do that; gives what page, terminal, papers and CSV say."""
    mqtt = f'[mqtt]\nhost = "127.0.0.1"\nport = {broker_port}\n'
    with at(folder, "plover", tables=mqtt) as (bench, hands):
        assert worked(bench, hands, "P-1")["outcome"] == "pass"
        typed(bench, BAD)
        said = said_on_page(bench, "P-1")
        assert bench.stop() == 0
        said |= said_on_paper(bench, "P-1", "lot 7")
        said["end table"] = said_at_the_end(bench.output(), "P-1")
        said["csv"] = said_by_csv(bench, "P-1")
    return said


@pytest.mark.long
def test_a_result_typed_while_the_bench_rests_changes_the_papers(tmp_path):
    """`steadyohm result` after the day's work: label, history, certificate and batch report say fail."""
    with at(tmp_path, "plover") as (bench, hands):
        assert worked(bench, hands, "P-1")["outcome"] == "pass"
        bench.stop()
        code, told = bench.command("result", bench.file, BAD, "--serial", "P-1")
        assert code == 0, told
        said = said_on_paper(bench, "P-1", "lot 7")
        bench.start()
        said |= said_on_page_later(bench, "P-1")
    assert said == dict.fromkeys(said, "fail")


def said_on_page_later(bench, serial):
    """What the page remembers of an earlier run."""
    return {
        "/unit": bench.asked(f"/unit?serial={serial}")["outcome"],
        "visits": bench.asked(f"/unit?serial={serial}")["visits"][0]["outcome"],
        "/units": bench.asked("/units")["units"][0]["outcome"],
    }


@pytest.mark.long
def test_a_result_typed_before_the_unit_ends_counts_in_its_result(tmp_path):
    """Insulation typed between two pairs: the unit ends as a fail at once, everywhere."""
    with at(tmp_path, "plover") as (bench, hands):
        bench.type(".batch lot 7, 2 units")
        unit = sound(hands, "P-1")
        scan(bench, hands, unit)
        typed(bench, BAD)
        assert hands.go_on("P-1")
        said = said_on_page(bench, "P-1")
        bench.stop()
        said |= said_on_paper(bench, "P-1", "lot 7")
        said["end table"] = said_at_the_end(bench.output(), "P-1")
    assert said == {name: (0, 1) if name == "/now batch" else "fail" for name in said}


@pytest.mark.long
def test_a_good_typed_result_makes_no_bad_winding_good(tmp_path):
    """Failed in ohms, insulation good: fail everywhere."""
    with at(tmp_path, "plover") as (bench, hands):
        assert worked(bench, hands, "P-1", scaled={"trigger": 0.8})["outcome"] == "fail"
        typed(bench, GOOD)
        said = said_on_page(bench, "P-1")
        bench.stop()
        said |= said_on_paper(bench, "P-1", "lot 7")
        said["end table"] = said_at_the_end(bench.output(), "P-1")
    assert said == {name: (0, 1) if name == "/now batch" else "fail" for name in said}


@pytest.mark.long
def test_a_result_named_like_a_letter_of_the_core_takes_nothing_off_the_list(tmp_path):
    """ "R" is no insulation to CORE: what was not tested stays not tested, by its id."""
    with at(tmp_path, "plover") as (bench, hands):
        assert worked(bench, hands, "P-1")["outcome"] == "pass"
        before = untested(bench)
        typed(bench, "R = 5 ohm")
        assert untested(bench) == before


def untested(bench):
    """How many things a certificate says were not tested."""
    page = bench.folder / "certificate.html"
    code, told = bench.command("certificate", bench.folder / "journal", "P-1", "--html", page, "--json")
    assert code == 0, told
    text = page.read_text(encoding="utf-8")
    facts = json.loads(re.search(r'<script type="application/json"[^>]*>(.*?)</script>', text, re.DOTALL)[1])
    return lists_named(facts, ("not_tested", "untested", "missing"))


def lists_named(facts, names):
    """Lengths of the lists of these names, wherever they stand."""
    found = []
    if isinstance(facts, dict):
        found += [(name, len(facts[name])) for name in names if isinstance(facts.get(name), list)]
        facts = list(facts.values())
    if isinstance(facts, list):
        for each in facts:
            found += lists_named(each, names)
    return found
