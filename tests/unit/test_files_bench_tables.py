"""The meter's and scanner's tables of a bench file: profiles, self-check, links of scanners."""

from __future__ import annotations

import pytest

from acquire.errors import FileInvalid
from acquire.files.settings import load_bench
from tests.whole_bench import bench_file

PROFILE = """title = "Hand meters of our own"
driver = "{driver}"
verified = "{verified}"
source = "bytes recorded from our own meter, 2026-02-03"

[options]
counts = 4000
"""


def with_meter(folder, lines, *changes):
    """A bench on a status14 hand meter, with further lines in its table."""
    return bench_file(
        folder,
        meter="serial:/dev/ttyUSB0",
        changes=(('driver = "scpi"', f'driver = "status14"\n{lines}'), *changes),
    )


def faults(file):
    """What is wrong with a file, in one text."""
    with pytest.raises(FileInvalid) as refused:
        load_bench(file)
    return str(refused.value)


def test_a_profile_of_the_driver_is_in_order(tmp_path):
    """And its options need not be repeated."""
    lines = 'self_check = "470 ohm"\noptions = { profile = "dmm_4000_counts", silence_s = 3.0 }'
    bench = load_bench(with_meter(tmp_path, lines))
    assert bench.meter.options == {"profile": "dmm_4000_counts", "silence_s": 3.0}
    assert bench.meter.self_check == 470.0


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ('profile = "nosuch"', "there is no profile 'nosuch'"),
        ('profile = "one_letter_3_digit"', "is for the driver 'ascii14'"),
        ('profile = "./none.toml"', "cannot be read"),
        ('profile = "dmm_4000_counts", silense_s = 3.0', 'Did you mean "silence_s"?'),
    ],
)
def test_a_profile_that_cannot_be_used_is_named_by_line(tmp_path, options, said):
    """As any other fault."""
    text = faults(with_meter(tmp_path, f'self_check = "470 ohm"\noptions = {{ {options} }}'))
    assert said in text
    assert "bench.toml:9" in text


def test_a_profile_of_ones_own_is_taken_from_the_folder_of_the_bench_file(tmp_path, monkeypatch):
    """Wherever the command is called; one that was verified by a capture needs no self-check."""
    monkeypatch.chdir("/")
    (tmp_path / "ours.toml").write_text(
        PROFILE.format(driver="status14", verified="capture"), encoding="utf-8"
    )
    bench = load_bench(with_meter(tmp_path, 'options = { profile = "./ours.toml" }'))
    assert bench.meter.options == {"profile": str(tmp_path / "ours.toml")}
    assert bench.meter.self_check is None


def test_a_profile_from_memory_needs_the_self_check_whatever_its_driver(tmp_path):
    """A driver by a standard, set up from memory."""
    file = bench_file(
        tmp_path,
        meter="tcp:127.0.0.1:5025",
        changes=(('driver = "scpi"', 'driver = "scpi"\noptions = { profile = "older_bench" }'),),
    )
    assert 'add self_check = "470 ohm"' in faults(file)


@pytest.mark.parametrize(
    ("resistor", "said"), [("1 ohm", "take a resistor from 10 ohm to 10 Mohm"), ("100", "100 has no unit")]
)
def test_a_resistor_that_cannot_serve_is_refused(tmp_path, resistor, said):
    """It must be told from a short."""
    written = f'"{resistor}"' if " " in resistor else resistor
    text = faults(with_meter(tmp_path, f"self_check = {written}"))
    assert said in text
    assert "self_check" in text


@pytest.mark.parametrize(
    ("link", "good"),
    [
        ("keyboard:/dev/input/by-id/gun-event-kbd", True),
        ("serial:/dev/ttyACM0?baud=9600", True),
        ("tcp:127.0.0.1:9100", True),
        ("keyboard:", False),
        ("gun", False),
    ],
)
def test_the_link_of_a_scanner_may_be_a_keyboard_of_its_own(tmp_path, link, good):
    """Serial lines and sockets as for meters."""
    table = ("[csv]", f'[scanner]\nlink = "{link}"\n\n[csv]')
    file = bench_file(tmp_path, meter="tcp:127.0.0.1:5025", changes=(table,))
    if good:
        assert load_bench(file).scanner.link == link
    else:
        assert "scanner.link" in faults(file)
