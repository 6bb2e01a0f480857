"""The columns of the CSV files, of verdicts, typed results and units. A name never changes its meaning.

Not for the cells (payload) nor for the files (csv_log).
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a CSV file.

    Attributes:
        name: in the header; ends with its unit of measure where it has one.
        about: for people.
        text: True where the content may come from a person or a file, so that a spreadsheet must be kept
            from taking it for a formula.
    """

    name: str
    about: str
    text: bool = False


COLUMNS: tuple[Column, ...] = (
    # First, because a reader that does not know the byte order mark sees it glued to this name.
    Column("schema", "version of these columns"),
    Column("id", "of the verdict, unique for ever; the same in MQTT and in the journal"),
    Column("time_utc", "when the deciding reading was taken, ISO 8601"),
    Column("bench", "name of the bench", text=True),
    Column("purpose", "incoming, winding, final or returned; decides which limits apply"),
    Column("batch", "name of the batch", text=True),
    Column("operator", "who measured", text=True),
    Column("serial", "of the unit", text=True),
    Column("sheet", "name of the unit type", text=True),
    Column("step", "name of the step on the sheet", text=True),
    Column("pin_a", "first pin", text=True),
    Column("pin_b", "second pin", text=True),
    Column("outcome", "pass, conditional_pass, conditional_fail, fail or cannot_judge"),
    Column("counts", "false for a verdict that was asked for once more before it counts"),
    Column("reference_ohm", "the resistance without leads at reference_celsius; empty for an open circuit"),
    Column("expanded_ohm", "half-width of its 95 % interval"),
    Column("lower_ohm", "lower limit at reference_celsius; empty where there is none"),
    Column("upper_ohm", "upper limit at reference_celsius; empty where there is none"),
    Column("nominal_ohm", "what the circuit on the sheet gives for this pair"),
    Column("conformity", "probability that the true value lies within the limits, 0 to 1"),
    Column("guard_band_ohm", "taken off each limit before a pass"),
    Column("rule", "decision rule"),
    Column("reason", "one sentence with the numbers that decided", text=True),
    Column("hint", "what the value reads like, where it is not as expected", text=True),
    Column("raw_ohm", "as the meter settled"),
    Column("lead_ohm", "subtracted for the leads"),
    Column("winding_celsius", "temperature the winding was taken to have"),
    Column("reference_celsius", "temperature that limits and reference_ohm hold at"),
    Column("standard_uncertainty_ohm", "of reference_ohm"),
    Column("coverage_factor", "expanded_ohm divided by standard_uncertainty_ohm"),
    Column("quantity", "what the meter measured"),
    Column("range_full_scale_ohm", "of the range in use; empty when unknown"),
    Column("resolution_ohm", "worth of one count on that range; empty when unknown"),
    Column("conversions", "how many conversions of the meter it rests on"),
    Column("settle_s", "from the touch of the probes to the deciding reading"),
    Column("attempt", "1 for the first attempt at this step"),
    Column("revision", "of the settled value"),
    Column("utc_s", "time_utc in seconds since 1970-01-01T00:00:00 UTC"),
    Column("meter_id", "name of the meter on the bench", text=True),
    Column("meter_model", "name of its meter file", text=True),
    Column("sheet_hash", "SHA-256 of the sheet file"),
    Column("meter_hash", "SHA-256 of the meter file"),
    Column("bench_hash", "SHA-256 of the bench file"),
    Column("software", "name and version of the program", text=True),
    Column("scope", "tolerance; continuity, as the step asks; continuity_only: its tolerance not judged"),
    Column(
        "against", "known resistor or golden pair that the meter was compared with; empty: none", text=True
    ),
    Column("off_ohm", "what the meter reads too much there by that comparison, taken off besides lead_ohm"),
)
"""The columns of a verdict's row, in order."""

RESULT_COLUMNS: tuple[Column, ...] = (
    Column("schema", "version of these columns"),
    Column("id", "of the result, unique for ever; the same in MQTT and in the journal"),
    Column("time_utc", "when it was typed in, ISO 8601"),
    Column("bench", "name of the bench", text=True),
    Column("purpose", "incoming, winding, final or returned; decides which limits apply"),
    Column("batch", "name of the batch", text=True),
    Column("operator", "who typed it", text=True),
    Column("serial", "of the unit", text=True),
    Column("sheet", "name of the unit type", text=True),
    Column("name", "what was tested, as the sheet calls it", text=True),
    Column("sort", "insulation, inductance, quality, loss, resistance or stated; decides how it is judged"),
    Column("typed", "the line as typed", text=True),
    Column("value_si", "number in ohms or henry, plain for Q and loss; empty for a result in words"),
    Column("unit", "of value_si, reference_si and the limits: ohm, H or empty"),
    Column("at_least", 'true where the instrument showed "more than" this value'),
    Column("outcome", "of a rule, or the person's own; empty where nobody judged"),
    Column("stated", "true where the outcome is the person's own word"),
    Column("reason", "one sentence with the numbers that decided", text=True),
    Column("reference_si", "the value at reference_celsius; empty where nothing was corrected"),
    Column("reference_celsius", "temperature that it was corrected to"),
    Column("lower_si", "lower limit; empty where there is none"),
    Column("upper_si", "upper limit; empty where there is none"),
    Column("conformity", "probability that the true value lies within the limits, 0 to 1"),
    Column("test_volt", "at what voltage it was measured; empty where not told"),
    Column("hertz", "at what frequency it was measured; empty where not told"),
    Column("instrument", "with what it was measured", text=True),
    Column("accuracy", "limits of error of the instrument as a fraction of reading"),
    Column("celsius", "temperature of the winding"),
    Column("correction", "name of the temperature rule, none where nothing was corrected", text=True),
    Column("pattern_si", "value of the sister coil or golden unit"),
    Column("pattern", "its name", text=True),
    Column("deviation", "from it, as a fraction"),
    Column("utc_s", "time_utc in seconds since 1970-01-01T00:00:00 UTC"),
    Column("sheet_hash", "SHA-256 of the sheet file"),
    Column("software", "name and version of the program", text=True),
)
"""The columns of a typed result's row, in order."""

UNIT_COLUMNS: tuple[Column, ...] = (
    Column("schema", "version of these columns"),
    Column("id", "of this row's entry, unique for ever; the same in MQTT and in the journal"),
    Column("time_utc", "when the unit ended, or when this revision was found, ISO 8601"),
    Column("bench", "name of the bench", text=True),
    Column("purpose", "incoming, winding, final or returned; decides which limits apply"),
    Column("batch", "name of the batch", text=True),
    Column("operator", "who measured", text=True),
    Column("serial", "of the unit", text=True),
    Column("sheet", "name of the unit type", text=True),
    Column("revision", "0 as the unit left the bench, then 1, 2, ...: the latest row of a stay counts"),
    Column("outcome", "the worst of what was measured and typed in decides; empty where it has none"),
    Column("measured", "what its own steps and balances come to, without typed results"),
    Column("ending", "done, warm, given_up, next_unit or files_changed"),
    Column("remark", "the operator's words for giving up", text=True),
    Column("findings", "what was found over the whole unit, in words", text=True),
    Column("relations", "joints and windings that follow from several pairs, in words", text=True),
    Column("not_tested", "what nobody has tested, in words", text=True),
    Column("steps_passed", "steps whose counting verdict is a pass, conditional ones included"),
    Column("steps_total", "of the unit"),
    Column("started_utc_s", "when the stay began; with bench and serial the same in all its revisions"),
    Column("ended_utc_s", "when it ended, of a later revision; empty in the first row"),
    Column("utc_s", "time_utc in seconds since 1970-01-01T00:00:00 UTC"),
    Column("sheet_hash", "SHA-256 of the sheet file"),
)
"""The columns of a unit's row, in order."""

COLUMNS_OF: dict[str, tuple[Column, ...]] = {
    "verdict": COLUMNS,
    "typed_result": RESULT_COLUMNS,
    "unit_result": UNIT_COLUMNS,
}
"""Kinds of entries that have a row, with their columns."""
