"""The catalogue of notices, refusals and prompts: everything has a sentence, every fact is used in it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from acquire.records import Ask, Code, Notice, Refusal, Severity, Why
from acquire.records.codes import ANOTHER_PAIR, KEPT_ONLY
from acquire.words.notices import NOTICES, said
from acquire.words.prompts import PROMPTS, asked
from acquire.words.refusals import REFUSALS
from tests.told import ASKED, REFUSED, TOLD


@pytest.mark.parametrize(("notice", "sentence"), TOLD, ids=lambda each: getattr(each, "code", ""))
def test_a_notice_is_said_from_its_facts(notice, sentence):
    """Word for word, so that a change of a sentence is seen."""
    assert said(notice) == sentence


def test_every_code_has_a_sentence_and_an_example():
    """The warnings of the page among them."""
    assert set(NOTICES) == {notice.code for notice, _ in TOLD} == set(Code)
    assert set(REFUSALS) == {refused.refusal for refused in REFUSED} == set(Refusal)
    assert {(prompt.ask, prompt.why) for prompt, _ in ASKED} >= set(PROMPTS)
    assert {prompt.why for prompt, _ in ASKED} == set(Why)
    assert {prompt.ask for prompt, _ in ASKED} == set(Ask)


@pytest.mark.parametrize(("refused", "sentence"), REFUSED.items(), ids=lambda each: str(each)[:20])
def test_a_refusal_is_said_from_its_facts(refused, sentence):
    """By the notice that answers the command."""
    assert said(refused.notice(0.0)) == sentence


@pytest.mark.parametrize(("prompt", "sentence"), ASKED, ids=lambda each: getattr(each, "why", ""))
def test_a_prompt_is_said_from_its_facts(prompt, sentence):
    """With its pair, its step and how often it was asked."""
    assert asked(prompt) == sentence


def test_every_fact_changes_a_sentence():
    """A fact without which the same is said is none; a mark, or what is kept only, is the program's."""
    told = [
        *(notice for notice, _ in TOLD if notice.code not in KEPT_ONLY),
        *(refused.notice(0.0) for refused in REFUSED),
    ]
    known = {(_kind(notice), name) for notice in told for name in notice.facts}
    used = {
        (_kind(notice), name)
        for notice in told
        for name, fact in notice.facts.items()
        if said(replace(notice, facts={**notice.facts, name: _other(fact)})) != said(notice)
    }
    assert known == used


def _kind(notice):
    """What a notice is of; both that name another pair are told in one way."""
    return "" if notice.code in ANOTHER_PAIR else notice.code, notice.facts.get("refusal", "")


def _other(fact):
    """Another fact of the same kind."""
    if isinstance(fact, bool):
        return not fact
    if isinstance(fact, tuple):
        return fact[:-1] if len(fact) in (1, 4) else tuple(f"x{each}" for each in fact)
    return f"x{fact}" if isinstance(fact, str) else 77.0 if isinstance(fact, float) else 8 if fact == 7 else 7


def test_the_sentence_of_an_old_record_is_passed_on():
    """Journals of earlier versions hold nothing else."""
    old = Notice(Severity.INFO, Code.PAIR_OTHER, 0.0, facts={"said": "That reads like 1–3."})
    assert said(old) == "That reads like 1–3."


def test_a_record_that_lacks_a_fact_is_told_by_its_code():
    """Written by another version; nothing breaks."""
    assert said(Notice(Severity.INFO, Code.LEADS_MOVED, 0.0, facts={"ohm": 0.3})) == "leads.moved: ohm 0.3."
