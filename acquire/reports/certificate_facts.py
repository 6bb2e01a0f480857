"""What a certificate states, as plain facts: everything on its pages is drawn from these and nothing else.

Most come from the record; what nobody measured (customer, condition, heading) is given when it is issued and
kept apart. The facts have one spelling, so that they have one digest. Not for pages (certificate_pages) nor
for the record (certificate_source).
"""

from __future__ import annotations

import base64
import hashlib
import json
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal

from acquire.errors import InputImpossible
from acquire.journal.plain import spelt
from acquire.records import Outcome, Purpose, Rule
from drivers.reading import Quantity

FORM = 1
"""Version of these facts; a certificate of another one cannot be re-drawn here."""

SHORT = 8
"""Digits of digest and birth id that stand in a certificate's id."""


@dataclass(frozen=True, slots=True)
class Heading:
    """Who issues it.

    Attributes:
        logo: the picture's bytes in base 64, empty for none; logo_kind: "svg" or "png".
        authorised: name under the line for a signature.
    """

    name: str
    address: tuple[str, ...] = ()
    logo: str = ""
    logo_kind: Literal["", "svg", "png"] = ""
    authorised: str = ""


@dataclass(frozen=True, slots=True)
class Given:
    """What was said when the certificate was issued; nothing of it is on the record.

    Attributes:
        customer, received, condition, remark: in words, empty where not given.
        replaces: number of an earlier certificate that this one stands in for.
        heading: of the shop.
        paper: "A4" or "Letter".
        issued_utc_s: whole seconds.
        as_of_utc_s: the record counts as it stood then; what came later is not in the facts.
        software: that drew it, name and version.
        calibrations: what the meter files given at issue say of the meters.
    """

    heading: Heading
    issued_utc_s: float
    as_of_utc_s: float
    software: str
    paper: Literal["A4", "Letter"] = "A4"
    customer: str = ""
    received: str = ""
    condition: str = ""
    remark: str = ""
    replaces: str = ""
    calibrations: tuple[Calibration, ...] = ()


@dataclass(frozen=True, slots=True)
class Calibration:
    """What a meter file says of its meter.

    Attributes:
        meter_hash: SHA-256 of the file; it must be that of a verdict to be worth anything.
        about: the file's line for people.
        due: first day past due, ISO 8601; empty where the file states none.
        certificate: number of the calibration certificate.
    """

    meter_hash: str
    about: str = ""
    due: str = ""
    certificate: str = ""


@dataclass(frozen=True, slots=True)
class Step:
    """One judged resistance.

    Attributes:
        id: of its entry.
        counts: it decided its step; else an earlier or refused attempt.
        doubt: why it is doubtful today, else empty.
        trace: (seconds since contact, ohms), thinned; trace_of: how many readings there were.
    """

    id: str
    step: str
    pin_a: str
    pin_b: str
    outcome: Outcome
    reason: str
    raw_ohm: float | None
    lead_ohm: float
    winding_celsius: float | None
    reference_celsius: float
    reference_ohm: float | None
    nominal_ohm: float | None
    lower_ohm: float | None
    upper_ohm: float | None
    expanded_ohm: float | None
    coverage_factor: float | None
    guard_band_ohm: float
    conformity: float | None
    rule: Rule
    attempt: int
    counts: bool
    utc_s: float
    conversions: int
    quantity: Quantity
    range_full_scale_ohm: float | None
    resolution_ohm: float | None
    meter_id: str
    meter_model: str
    meter_hash: str
    bench_hash: str
    operator: str
    software: str
    temperature_source: str
    temperature_utc_s: float | None
    lead_zero_utc_s: float | None
    doubt: str
    trace: tuple[tuple[float, float], ...]
    trace_of: int


@dataclass(frozen=True, slots=True)
class Typed:
    """One result that a person typed in from elsewhere; as `acquire.records.TypedResult`."""

    id: str
    name: str
    sort: str
    typed: str
    instrument: str
    outcome: Outcome | None
    stated: bool
    reason: str
    operator: str
    utc_s: float
    shows_turns: bool


@dataclass(frozen=True, slots=True)
class Check:
    """The bench's known resistor as last seen before the verdicts."""

    meter_id: str
    resistor: str
    certificate_ohm: float
    certificate_expanded_ohm: float
    reading_ohm: float
    expanded_ohm: float
    in_control: bool
    text: str
    utc_s: float


@dataclass(frozen=True, slots=True)
class OtherVisit:
    """Another stay of the same unit on a bench of the same record.

    Attributes:
        id: of the entry of its result, of its start where it has none.
        later: it came after the visit that the certificate is about.
        ended: how, in words.
    """

    id: str
    purpose: Purpose
    utc_s: float
    ended: str
    later: bool


@dataclass(frozen=True, slots=True)
class Measured:
    """What the record says; the same from every machine that reads the same record.

    Attributes:
        result_id: of the entry with the unit's result, which the certificate is about.
        spools: "winding: spool" of what it was wound from, where the bench knew.
        diagnosis: (probability, sentence), most likely first.
        deviations: what was left out, overridden or remarked during the visit, a sentence each.
    """

    serial: str
    result_id: str
    sheet: str
    sheet_hash: str
    purpose: Purpose
    bench: str
    batch: str
    operator: str
    spools: tuple[str, ...]
    started_utc_s: float
    ended_utc_s: float
    outcome: Outcome
    steps_passed: int
    steps_total: int
    findings: tuple[str, ...]
    diagnosis: tuple[tuple[float, str], ...]
    not_tested: tuple[str, ...]
    steps: tuple[Step, ...]
    typed: tuple[Typed, ...]
    checks: tuple[Check, ...]
    deviations: tuple[str, ...]
    other_visits: tuple[OtherVisit, ...]


@dataclass(frozen=True, slots=True)
class CertificateFacts:
    """All of it."""

    form: int
    given: Given
    measured: Measured

    @property
    def text(self) -> str:
        """The one spelling: JSON in ASCII, keys in order, no spaces."""
        return json.dumps(spelt(self), sort_keys=True, separators=(",", ":"), allow_nan=False)

    @property
    def digest(self) -> str:
        """SHA-256 of `text`, hexadecimal."""
        return hashlib.sha256(self.text.encode("ascii")).hexdigest()

    @property
    def id(self) -> str:
        """Unique id: journal and entry of the unit's result, and the beginning of the digest."""
        birth, _, seq = self.measured.result_id.partition("-")
        return f"{birth[:SHORT]}-{seq}-{self.digest[:SHORT]}".upper()

    @property
    def code_text(self) -> str:
        """What the QR code holds."""
        return f"steadyohm certificate {self.id} sha256 {self.digest}"


def facts_from_text(text: str) -> CertificateFacts:
    """Read the facts back from a certificate.

    Raises:
        InputImpossible: they are none, or of a form that is not known here.
    """
    from pydantic import ValidationError  # noqa: PLC0415  (0.1 s that only a check needs)

    try:
        plain = json.loads(text)
        if not isinstance(plain, dict) or plain.get("form") != FORM:
            raise InputImpossible(
                "The facts in this certificate are of a form that is not known here.",
                "Check it with the version of the program that its last lines name.",
            )
        facts: CertificateFacts = _reader().validate_python(plain)
        base64.b64decode(facts.given.heading.logo, validate=True)
        assert facts.digest  # noqa: S101  (it can be spelt: no number in it is infinite)
    except (ValidationError, ValueError, RecursionError) as error:
        if isinstance(error, InputImpossible):
            raise
        raise InputImpossible("The facts in this certificate are damaged.") from error
    return facts


@cache
def _reader() -> Any:
    from pydantic import TypeAdapter  # noqa: PLC0415  (as above)

    return TypeAdapter(CertificateFacts)
