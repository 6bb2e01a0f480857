"""Dialects: commands filled in, answers with letters, ranges by code."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from drivers.meter import Setup
from drivers.reading import Kind, Quantity
from drivers.registry import check_options
from drivers.scpi.dialect import BenchMeterOptions, Dialect


def dialect(profile=None, **options):
    if profile:
        return Dialect(check_options("scpi", {"profile": profile, **options}))
    return Dialect(BenchMeterOptions(**options))


def test_the_expected_value_is_sent_and_left_out_where_the_meter_is_to_range_by_itself():
    plain = dialect()
    assert plain.setup_commands(Setup(Quantity.RESISTANCE, 450.0)) == ["CONF:RES 450"]
    assert plain.setup_commands(Setup(Quantity.RESISTANCE_4W)) == ["CONF:FRES"]
    assert plain.setup_commands(Setup(Quantity.DIODE, 1.0)) == ["CONF:DIOD"]
    assert plain.integration_command(Setup(Quantity.RESISTANCE, 1.0, 10)) == "SENS:RES:NPLC 10"
    assert plain.compensation_command(Setup(Quantity.DIODE, offset_compensation=True)) == ""


def test_a_meter_told_its_range_by_code_gets_the_finest_that_holds():
    plain_word = dialect("plain_word_bench")
    assert plain_word.setup_commands(Setup(Quantity.RESISTANCE, 450.0)) == ["CONF:RES 1"]
    assert plain_word.setup_commands(Setup(Quantity.RESISTANCE, 601.0)) == ["CONF:RES 2"]
    with pytest.raises(ValueError, match="widest range is 60000"):
        plain_word.setup_commands(Setup(Quantity.RESISTANCE, 1e6))


@pytest.mark.parametrize(
    ("answer", "quantity", "value"),
    [
        ("+2.0E+02 OHM", Quantity.RESISTANCE, 200.0),
        ("0.2025668 kOHM", Quantity.RESISTANCE, 202.5668),
        ("1.5 MOHM", Quantity.RESISTANCE, 1.5e6),
        ("351.2 mΩ", Quantity.RESISTANCE_4W, 0.3512),
        ("+1.04723000E+01OHM4W", Quantity.RESISTANCE_4W, 10.4723),
        ("0.62 V", Quantity.DIODE, 0.62),
        ("50 HZ", Quantity.FREQUENCY, 50.0),
        ("21.5 °C", Quantity.TEMPERATURE, 21.5),
    ],
)
def test_a_unit_behind_a_number_counts_with_its_prefix(answer, quantity, value):
    assert dialect().parse_reading(answer, quantity).value_si == value


@pytest.mark.parametrize(
    ("answer", "why"),
    [
        ("204,4", "2 fields instead of 1"),
        ("+2.0E+02,+0", "2 fields instead of 1"),
        ("200.1;", "is no number"),
        ("200.1 V", "is no resistance"),
        ("200.1 RDNG#", "is no number"),
        ("200.1 parsec", "no number with a unit"),
        ("200.1 200.1", "is no number"),
    ],
)
def test_what_does_not_fit_whole_is_refused_and_never_cut(answer, why):
    """A decimal comma read as 4 ohm, a status read as 0 ohm: both would pass an earth strap."""
    with pytest.raises(ValueError, match=why):
        dialect().parse_reading(answer, Quantity.RESISTANCE)


def test_fields_are_stated():
    first = dialect(fields=(2,), field=0, ignored_fields=(1,))
    assert first.parse_reading("+2.0E+02,+0", Quantity.RESISTANCE).value_si == 200.0
    three = "+1.04723000E+01OHM4W,+0012.345SECS,+00017RDNG#"
    assert dialect("continuous_display").parse_reading(three, Quantity.RESISTANCE_4W).value_si == 10.4723
    with pytest.raises(ValidationError, match="not among 1 fields"):
        BenchMeterOptions(field=1)


@pytest.mark.parametrize(
    ("answer", "kind"),
    [
        ("1.0E9", Kind.OVERLOAD),
        ("OL", Kind.OVERLOAD),
        ("-OL", Kind.NEGATIVE_OVERLOAD),
        ("-1E10", Kind.NEGATIVE_OVERLOAD),
    ],
)
def test_words_and_sentinels_of_a_dialect_mean_overload(answer, kind):
    assert dialect("plain_word_bench").parse_reading(answer, Quantity.RESISTANCE).kind is kind


def test_a_place_that_does_not_exist_is_refused_when_the_file_is_read():
    with pytest.raises(ValidationError, match=r"names \{ohms\}"):
        BenchMeterOptions(configure=("CONF {ohms}",))
    with pytest.raises(ValidationError, match="brace without its partner"):
        BenchMeterOptions(integration="NPLC {plc")


def test_an_empty_name_takes_a_function_away():
    assert Quantity.RESISTANCE not in dialect("micro_ohmmeter").functions
    assert dialect("micro_ohmmeter").functions == {Quantity.RESISTANCE_4W: "FRES"}
