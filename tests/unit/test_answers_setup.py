"""`steadyohm setup` opens its page by itself where somebody can see it."""

import asyncio
import contextlib
import webbrowser

import pytest

from acquire.answers.setup import run_setup
from system import desktop
from tests.waiting import until


@pytest.fixture
def opened(monkeypatch):
    """Addresses that a browser was asked for."""
    addresses = []
    monkeypatch.setattr(webbrowser, "open", addresses.append)
    return addresses


@contextlib.asynccontextmanager
async def set_up(folder, capsys, **options):
    """The page, served."""
    task = asyncio.create_task(run_setup(folder, 0, **options))
    said = []
    await until(lambda: said.append(capsys.readouterr().out) or "http://" in "".join(said))
    try:
        yield "".join(said)
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


async def test_the_page_opens_where_it_is_wanted(tmp_path, opened, capsys):
    async with set_up(tmp_path, capsys, browser=True) as said:
        await until(lambda: opened)
    assert opened[0] in said


async def test_nothing_opens_where_nobody_sits(tmp_path, opened, capsys):
    """Output that goes elsewhere, a machine without a screen: the address is printed, that is all."""
    async with set_up(tmp_path, capsys):
        await asyncio.sleep(0.05)
    assert opened == []
    assert not desktop.has_screen({"HOME": "/home/o"})
    assert desktop.has_screen({"WAYLAND_DISPLAY": "wayland-0"})
