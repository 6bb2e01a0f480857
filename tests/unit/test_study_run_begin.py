"""Beginning a study and going on with it: what is studied, and what must not have changed."""

import contextlib

import pytest

from acquire.bench.assembly import read_files
from acquire.clock import HandClock
from acquire.errors import InputImpossible
from acquire.files.settings import load_bench
from acquire.study.run import Wish, record_of, step_named
from tests.whole_bench import bench_file


@pytest.fixture
def files(tmp_path):
    file = bench_file(tmp_path, meter="tcp:127.0.0.1:9", sheet="fathom-7.toml")
    return read_files(load_bench(file), HandClock())


def wish(tmp_path, **changes):
    given = {
        "bench": tmp_path / "bench.toml",
        "sheet": None,
        "step": "P1",
        "parts": ("a", "b"),
        "operators": ("ann",),
        "trials": 2,
        "seed": 1,
        "to": tmp_path / "study.jsonl",
    }
    return Wish(**{**given, **changes})


def begun(wish, files):
    """The file of a study, closed again."""
    with contextlib.ExitStack() as stack:
        return record_of(stack, wish, files, HandClock()).record


def test_a_study_knows_what_it_measures(tmp_path, files):
    subject = begun(wish(tmp_path), files).subject
    assert (subject.step, subject.pin_a, subject.pin_b, subject.sheet) == ("P1", "1", "2", "Fathom 7")
    assert subject.lower_ohm < subject.nominal_ohm < subject.upper_ohm
    assert not subject.four_wire
    assert begun(wish(tmp_path, step="S1", to=tmp_path / "s1.jsonl"), files).subject.four_wire


def test_the_same_command_goes_on(tmp_path, files):
    first = begun(wish(tmp_path, seed=None), files)
    again = begun(wish(tmp_path, seed=None), files)
    assert again.plan == first.plan
    assert begun(wish(tmp_path, step="", parts=(), operators=()), files).plan == first.plan


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"step": "P2"}, 'is a study of the step "P1"'),
        ({"parts": ("a", "c")}, "with other parts or operators"),
        ({"operators": ("bo",)}, "with other parts or operators"),
    ],
)
def test_another_wish_is_no_going_on(tmp_path, files, changes, told):
    begun(wish(tmp_path), files)
    with pytest.raises(InputImpossible, match=told):
        begun(wish(tmp_path, **changes), files)


def test_a_sheet_that_has_changed_stops_a_study(tmp_path, files):
    begun(wish(tmp_path), files)
    text = (tmp_path / "bench.toml").read_text().replace("fathom-7.toml", "own.toml")
    source = load_bench(tmp_path / "bench.toml").sheet
    own = tmp_path / "own.toml"
    own.write_text(source.read_text(encoding="utf-8") + "\n# changed\n", encoding="utf-8")
    (tmp_path / "bench.toml").write_text(text.replace(str(source.parent), str(tmp_path)))
    changed = read_files(load_bench(tmp_path / "bench.toml"), HandClock())
    with pytest.raises(InputImpossible, match="The sheet fathom 7 changed since"):
        begun(wish(tmp_path), changed)


def test_who_measures_what_must_be_said(tmp_path, files):
    for missing in ({"parts": ()}, {"operators": ()}):
        with pytest.raises(InputImpossible, match="Who measures what"):
            begun(wish(tmp_path, **missing), files)
    assert not (tmp_path / "study.jsonl").exists()


@pytest.mark.parametrize("name", ["P9", "", "isolation"])
def test_a_step_that_cannot_be_studied_is_refused_with_those_that_can(files, name):
    with pytest.raises(InputImpossible, match=r'"P1", "P2", "S1", "S2"'):
        step_named(files, name)


def test_a_record_that_is_none_is_refused_before_anything_is_opened(tmp_path, files):
    (tmp_path / "study.jsonl").write_text("something else\n")
    with pytest.raises(Exception, match="none of a study's record"):
        begun(wish(tmp_path), files)
    assert (tmp_path / "study.jsonl").read_text() == "something else\n"
