"""How what can be typed at the bench is written. Not for reading it (bench/keyboard)."""

from __future__ import annotations

_LINES = {
    "The unit": (".undo", ".again [step]", ".skip REASON", ".end REASON", ".note TEXT"),
    "Good units": (".learn [NAME]",),
    "The bench": (".zero", ".temperature 21.5 °C"),
    "The meter": (".read 20.6", ".dial 2k", ".check", ".override REASON"),
    "Other instruments": (".result NAME = VALUE, ...",),
    "Batches": (".batch NAME, 40 units", ".pause", ".resume [NAME]", ".finish"),
    "Spools": (".spool NAME for WINDINGS", ".accept REASON"),
    "This": (".help",),
}
"""By what it is about."""

FORMS = {form.split(" ")[0]: form for forms in _LINES.values() for form in forms}
"""Each word with what belongs behind it."""

HELP = "\n".join(
    [
        "Type or scan a serial and press Enter to put a unit on the bench.",
        "Enter alone: the probes are on the pair.",
        *(f"{about}: {'  '.join(forms)}" for about, forms in _LINES.items()),
    ]
)
"""What can be typed, line by line."""

STUDY_HELP = (
    "Enter: you have the probes and begin. A part's label: measure that one next. .again [label]: the last "
    "one did not go well, measure it again.  .zero  .temperature 21.5 °C  .note TEXT  .help  Ctrl-C: stop; "
    "the same command goes on later."
)
"""What can be typed in a study."""
