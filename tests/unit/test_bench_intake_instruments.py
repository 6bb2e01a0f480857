"""The instruments of a bench file are made in one place."""

import re
from pathlib import Path

import acquire

ROOMS = ("bench", "study")


def test_no_other_module_makes_an_instrument_of_a_bench_file():
    """A twin would forget the bench's clock, or an option that comes later."""
    house = Path(acquire.__file__).parent
    makers = {
        str(path.relative_to(house))
        for room in ROOMS
        for path in (house / room).rglob("*.py")
        if re.search(r'open_(meter\(|device\(\s*"scanner")', path.read_text(encoding="utf-8"))
    }
    assert makers == {"bench/intake.py"}
