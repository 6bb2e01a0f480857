"""A gauge study from end to end: the real command, a simulated bench, hands that do what the prompts say."""

import json
import re
import signal
import time

import pytest

from acquire.study.record import read_study
from tests.commanded import commanded
from tests.page_client import asked, ordered, posted, until_served
from tests.whole_bench import AIR_S, SPEED, Typed, bench_file, free_port

SWAP_S = 0.9 / SPEED


class Person:
    """Reads the prompts of a study and moves the probes of the simulated bench."""

    def __init__(self, study, bench):
        self.study, self.bench, self.true = study, bench, {}
        self.taken = 0
        self.wrong = False

    def until(self, done, within_s=100.0):
        """Do what is asked until `done` is true of a line, or the study ends; gives everything read."""
        seen, deadline = [], time.monotonic() + within_s
        while True:
            line = self.study.lines._queue.get(timeout=max(0.1, deadline - time.monotonic()))
            if line is None:
                return "".join(seen)
            seen.append(line)
            self._do(line)
            if done(line):
                return "".join(seen)

    def _do(self, line):
        if "presses Enter" in line:
            self.study.type("")
        elif "● " in line and " taken" in line:
            self.taken += 1
            self.bench.type("lift")
        elif "That reads like" in line:
            self.bench.type("lift")
            time.sleep(AIR_S / SPEED)
            self.bench.type("1 2")
        elif asked := re.search(r"part (\w+), touch (\S+)–(\S+) ", line):
            time.sleep(SWAP_S)
            self.bench.type(f"part {asked[1]}")
            self.bench.type("7 8" if self.wrong else f"{asked[2]} {asked[3]}")
            self.wrong = False


@pytest.fixture
def bench(tmp_path):
    """The simulated bench; gives its process after writing the bench file."""
    port = free_port()
    bench = Typed("-m", "tests.study_bench", "--scene", "fathom-7", "--hands", "typed", "--no-pty",
                  "--meter-port", str(port), "--speed", str(SPEED))  # fmt: skip
    try:
        bench.until("on the bench:")
        leads = '[leads]\nzero = "value"\nvalue = "0.13 ohm"\nuncertainty = "0.02 ohm"\n\n[journal]'
        changes = [("[journal]", leads)]  # the zeroing of leads by each operator is tested in test_study_run
        bench_file(tmp_path, meter=f"tcp:127.0.0.1:{port}", sheet="fathom-7.toml", changes=changes)
        yield bench
    finally:
        bench.close()


def study(folder, *words):
    return Typed("-m", "tests.hurried", str(SPEED), "study", "bench.toml", *words, cwd=folder)


def true_ohms(bench):
    """What the simulation says that each touch of a part really was."""
    return [float(line.split()[1]) for line in bench.lines.rest().splitlines() if line.startswith("true ")]


def test_a_study_is_killed_goes_on_and_reports(tmp_path, bench):
    """Two parts, one operator, two rounds; a wrong pair at first; SIGKILL in the middle."""
    first = study(tmp_path, "--step", "P1", "--parts", "F7-001,F7-002", "--operators", "ann", "--trials", "2",
                  "--seed", "3")  # fmt: skip
    try:
        person = Person(first, bench)
        person.wrong = True
        seen = person.until(lambda _: person.taken == 1)
        assert "That reads like 5–6 or 7–8: move to 1–2." in seen
        person.until(lambda line: "touch" in line)
        first.end(signal.SIGKILL)
    finally:
        first.close()
    assert len(read_study(tmp_path / "study.jsonl").taken) == 1

    second = study(tmp_path, "--html", "study.html")
    try:
        person = Person(second, bench)
        seen = person.until(lambda _: False)
        assert second.process.wait(30) == 0
    finally:
        second.close()
    assert "1 of 4 measured" in seen
    assert "This bench can judge P1 (1–2) of Fathom 7." in seen
    record = read_study(tmp_path / "study.jsonl")
    assert not record.missing
    assert (tmp_path / "study.html").read_text(encoding="utf-8").count("<figcaption") == 3

    bench.type("quit")
    bench.process.wait(30)
    truth = sorted({round(ohm, 4) for ohm in true_ohms(bench) if ohm > 100.0})
    assert len(truth) == 2
    means = sorted(
        sum(record.taken[t.number].reference_ohm for t in record.plan.turns if t.label == part.label) / 2
        for part in record.plan.parts
    )
    assert means == pytest.approx(truth, rel=0.01)  # 22.5 °C are typed in; the room of the simulation wanders

    told = Typed("-m", "acquire", "study", "--report", "study.jsonl", "--json", cwd=tmp_path)
    try:
        plain = json.loads(told.lines.rest())
        assert told.process.wait(30) == 0
    finally:
        told.close()
    assert (plain["parts"], plain["operators"], plain["rounds"]) == (2, ["ann"], 2)
    assert plain["analysis_of_variance"]["components"]["gauge"]["sigma_ohm"] > 0.0


def test_ctrl_c_stops_a_study_that_can_go_on(tmp_path):
    """Exit code 0, one sentence, and the record is there; no meter need answer for that."""
    bench_file(tmp_path, meter=f"tcp:127.0.0.1:{free_port()}", sheet="fathom-7.toml")
    begun = study(tmp_path, "--step", "P1", "--parts", "3", "--operators", "ann,bo", "--trials", "2")
    try:
        begun.until("presses Enter")
        begun.until("The meter gives no readings")
        code, text = begun.end(signal.SIGINT)
    finally:
        begun.close()
    assert code == 0
    assert "Stopped with 12 left: the same command continues it." in text
    assert len(read_study(tmp_path / "study.jsonl").missing) == 12


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--report", "none.jsonl"), "none.jsonl cannot be read"),
        (("--report", "bench.toml"), "bench.toml is no record of a study"),
        (("bench.toml", "--step", "P9", "--parts", "3", "--operators", "ann"), 'no step "P9"'),
    ],
)
def test_what_cannot_be_is_one_sentence_and_exit_code_2(tmp_path, monkeypatch, words, told):
    """No traceback reaches a user."""
    bench_file(tmp_path, meter="tcp:127.0.0.1:9", sheet="fathom-7.toml")
    if "bench.toml" in words and "--report" in words:
        (tmp_path / "bench.toml").write_text("x")
    monkeypatch.chdir(tmp_path)
    done = commanded("study", *words)
    assert done.returncode == 2
    assert told in done.stderr
    assert len((done.stdout + done.stderr).splitlines()) == 1


def test_a_study_is_run_and_reported_on_the_page(tmp_path, bench):
    """Begun from setup; the page asks and shows no value; then it is setup's again and has the report."""
    port = free_port()
    setup = Typed("-m", "tests.hurried", str(SPEED), "setup", "--folder", str(tmp_path), "--port", str(port))
    step = "folder/bench.toml P1"
    wish = {"name": "study-1", "step": step, "operators": "ann", "trials": "2"}
    try:
        until_served(port)
        refused = posted(port, "/study", {**wish, "parts": "2", "step": f"{step}0"})
        assert refused[0] == 422
        assert '"P1"' in json.loads(refused[2])["error"]
        begun = posted(port, "/study", {**wish, "parts": "F7-001,F7-002"})
        assert json.loads(begun[2]) == {"name": "study-1.jsonl"}
        shown, done = [], -1
        while (state := until_served(port))["mode"] != "setup":
            shown += [state["reading"], state["verdict"]]
            ask = state["ask"] or {}
            if ask.get("kind") == "wait" and ask["why"] == "study":
                ordered(port, "confirm_open")
            elif ask.get("kind") == "touch" and ask["steps_done"] > done:
                done = ask["steps_done"]
                bench.type("lift")
                time.sleep(SWAP_S)
                bench.type(f"part {ask['serial']}")
                bench.type(" ".join(ask["pair"]))
            time.sleep(0.1)
        assert [each for each in shown if each and each.get("si") is not None] == []
        assert json.loads(asked(port, "/study")[2])["names"] == ["study-1.jsonl"]
        told = json.loads(asked(port, "/study?name=study-1.jsonl")[2])["document"]
        assert told["title"] == "Gauge study: P1 of Fathom 7"
        assert told["blocks"][3]["kind"] == "result"
        assert sum(block["kind"] == "picture" for block in told["blocks"]) == 3
        assert setup.end()[0] == 0
    finally:
        setup.close()
    assert not read_study(tmp_path / "study-1.jsonl").missing
