"""A meter known from memory only must prove itself before verdicts, on a simulated hand meter."""

from __future__ import annotations

import contextlib

from tests.commanded import commanded
from tests.whole_bench import CONFIGS, bench_file, free_port, journal_entries, lift, running, simulated

HAND = ("--meter", "hand-6000", "--voice", "status14")


def hand_bench(folder, link, *changes):
    """A bench with a hand meter of two wires; the resistor is a coil of the unit, about 204 ohm."""
    return bench_file(
        folder,
        meter=link,
        changes=(
            ('driver = "scpi"', 'driver = "status14"\nself_check = "200 ohm"'),
            ("bench-6-digit.toml", "hand-6000.toml"),
            ('four_wire_below = "10 ohm"\nintegration_plc = 1.0\n', ""),
            *changes,
        ),
    )


@contextlib.contextmanager
def at_work(folder, *changes):
    """The simulated hand meter and the bench on it."""
    port = free_port()
    file = hand_bench(folder, f"tcp:127.0.0.1:{port}", *changes)
    with simulated(port, *HAND) as sim, running(file) as bench:
        yield sim, bench, file


def hands(sim, words):
    """Move the probes."""
    sim.type(words)
    sim.until("tips together" if words == "short" else "probes on")


def prove(sim, bench):
    """The three contacts."""
    bench.until("Self-check: Hold the probes together")
    hands(sim, "short")
    bench.until("Self-check: Hold the probes apart")
    lift(sim)
    bench.until("Self-check: Hold the probes to the resistor of 200 Ω")
    hands(sim, "1 2")
    bench.until("has passed its self-check")
    lift(sim)


def zeroed(sim, bench):
    """Zero the leads."""
    bench.until("Hold the probes together, to zero")
    hands(sim, "short")
    bench.until("zeroed")
    lift(sim)


def test_no_verdict_before_short_open_and_resistor_have_been_read_rightly(tmp_path):
    """The unit waits on the bench meanwhile; then the work goes on, and the next start asks for nothing."""
    with at_work(tmp_path) as (sim, bench, file):
        bench.type("P80-0001")
        prove(sim, bench)
        zeroed(sim, bench)
        hands(sim, "1 2")
        bench.until("pass")
        lift(sim)
        code, output = bench.end()
        assert code == 0, output
        assert "Touch 1–2" not in output.split("has passed")[0]
        with running(file) as again:
            again.until("was interrupted: it continues")
            again.until("Touch 2–3")
            _, output = again.end()
            assert "elf-check" not in output
    told = [entry.payload for entry in journal_entries(tmp_path, "notice", "verdict")]
    codes = [payload.get("code", "verdict") for payload in told]
    assert codes.index("self_check.due") < codes.index("self_check.passed") < codes.index("verdict")


def test_without_a_resistor_the_bench_file_is_refused_in_a_sentence(tmp_path):
    """Exit code 2, by line, with the remedy; `check` says the same."""
    file = hand_bench(tmp_path, "tcp:127.0.0.1:9", ('self_check = "200 ohm"', ""))
    for command in ("run", "check"):
        done = commanded(command, file)
        assert done.returncode == 2
        told = done.stdout + done.stderr
        assert "known from memory only" in told
        assert 'add self_check = "470 ohm"' in told
        assert "Traceback" not in told
    assert str(CONFIGS) in file.read_text(encoding="utf-8")
