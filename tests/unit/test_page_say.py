"""Speech of the machine: one thing after another, urgent ones first, the words never an argument."""

from __future__ import annotations

import asyncio
import time

import pytest

from acquire.page import say
from acquire.page.say import Speaker, speaking_program
from acquire.page.spoken import Cue


@pytest.fixture
def voice(tmp_path):
    """A program that writes down what it reads, slowly."""
    program = tmp_path / "voice"
    said = tmp_path / "said"
    program.write_text(
        f'#!/bin/sh\nread words\necho "$# $words" >> {said}\nexec sleep 0.3\n', encoding="utf-8"
    )
    program.chmod(0o755)
    said.touch()
    return Speaker((str(program), "--fixed")), said


async def spoken(said, lines):
    """Wait until so many lines were said."""
    deadline = time.monotonic() + 5.0
    while len(found := said.read_text(encoding="utf-8").splitlines()) < lines:
        assert time.monotonic() < deadline, found
        await asyncio.sleep(0.02)
    return found


async def test_words_are_said_in_order_and_never_as_arguments(voice):
    speaker, said = voice
    task = asyncio.create_task(speaker.run())
    for words in ("Pass.", "-v evil --option", "$(reboot)"):
        speaker.speak(Cue(say=words))
    assert await spoken(said, 3) == ["1 Pass.", "1 -v evil --option", "1 $(reboot)"]
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)


async def test_an_urgent_cue_ends_what_is_being_said(voice):
    speaker, said = voice
    task = asyncio.create_task(speaker.run())
    speaker.speak(Cue(say="A long sentence."))
    await spoken(said, 1)
    for words in ("old", "older"):
        speaker.speak(Cue(say=words))
    began_s = time.monotonic()
    speaker.speak(Cue(say="Fail.", urgent=True))
    assert (await spoken(said, 2))[1] == "1 Fail."
    assert time.monotonic() - began_s < 2.0
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)


async def test_a_voice_that_is_gone_is_counted_and_no_more(tmp_path):
    speaker = Speaker((str(tmp_path / "nothing"),))
    task = asyncio.create_task(speaker.run())
    speaker.speak(Cue(say="Pass."))
    for _ in range(300):
        await asyncio.sleep(0 if speaker.failures else 0.01)
    assert speaker.failures == 1
    assert not task.done()
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)


def test_a_machine_without_a_voice_has_none(monkeypatch):
    monkeypatch.setattr(say.shutil, "which", lambda _name: None)
    assert speaking_program() is None
    monkeypatch.setattr(say.shutil, "which", lambda name: f"/usr/bin/{name}" if name == "say" else None)
    assert speaking_program() == ("/usr/bin/say", "-f", "-")
