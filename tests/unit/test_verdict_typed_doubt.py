"""Numbers of a typed result that no instrument shows."""

from dataclasses import replace

import pytest

from acquire.records import Refused, ResultKind
from acquire.verdict.typed_doubt import TypedGate
from tests.known_records import TYPED


@pytest.mark.parametrize(("accuracy", "refused"), [(2e-6, False), (0.4, False), (5e-7, True), (0.6, True)])
def test_an_accuracy_is_between_a_millionth_and_a_half(accuracy, refused):
    """The best bridges know a part in a million; half of the reading is no measurement (common practice)."""
    plain = {"result_kind": ResultKind.STATED, "value_si": None, "unit": "", "hertz": None, "test_volt": None}
    result = replace(TYPED, **plain, accuracy=accuracy, celsius=None)
    if refused:
        with pytest.raises(Refused):
            TypedGate().look(result, None)
    else:
        TypedGate().look(result, None)
