"""A bench set up in the browser and the demonstration with its page: real processes, no browser."""

from __future__ import annotations

import json
import re
import signal

from tests.page_client import asked, ordered, posted, until_served
from tests.paged_daemon import heard
from tests.whole_bench import (
    Typed,
    free_port,
    simulated,
)


def test_a_bench_is_set_up_in_the_browser(tmp_path):
    """Search, test of the link, file, start: one process, one port, one stream; paths stay in the folder."""
    meter_port, port = free_port(), free_port()
    folder = tmp_path / "mine"
    folder.mkdir()
    with simulated(meter_port, speed=4.0):
        daemon = Typed("-m", "acquire", "setup", "--folder", str(folder), "--port", str(port))
        try:
            assert until_served(port)["mode"] == "setup"
            with heard(port) as ear:
                _set_up(port, meter_port, folder, ear)
                code, shown = daemon.end()
            assert code == 0, shown
        finally:
            daemon.close()
    assert (folder / "journal" / "journal.db").exists()


def _set_up(port, meter_port, folder, ear):
    def post(what, **body):
        status, _, answer = posted(port, f"/setup/{what}", body)
        return status, json.loads(answer)

    assert post("search", tcp=[f"127.0.0.1:{meter_port}"]) == (200, {"searching": True})
    found, _ = ear.until("setup", lambda data: data["meters"])
    assert found["meters"][0]["driver"] == "scpi"
    assert post("try", meter=0) == (200, {"ok": True})
    ear.until("change", lambda data: (data.get("link") or {}).get("ok"))
    shelf = json.loads(asked(port, "/setup")[2])
    lists = {each["name"]: each["choices"] for each in shelf["fields"]}
    sheet = next(file for file, words in lists["sheet"] if words.startswith("Plover 80"))
    model = next(file for file, words in lists["model"] if words == "bench-6-digit")
    wish = {"meter": 0, "sheet": sheet, "model": model, "purpose": "final", "temperature": "22 °C"}
    for name in ("../out.toml", "/out.toml", ".hidden.toml", "a/b.toml", "bench"):
        assert post("write", file=name, **wish)[0] == 422
    assert post("write", file="b.toml", **{**wish, "sheet": "folder/../../etc/passwd"})[0] == 422
    assert post("write", file="b.toml", **{**wish, "temperature": "warm"})[0] == 422
    assert post("write", file="b.toml", name="left", **wish) == (200, {"written": "b.toml"})
    assert post("write", file="b.toml", **wish)[0] == 422  # never overwritten
    assert post("start", file="../b.toml")[0] == 422
    assert post("start", file="b.toml") == (200, {"started": True})
    state, _ = ear.until("state", lambda data: data["mode"] == "bench")
    assert state["bench"]["name"] == "left"
    assert post("start", file="b.toml")[0] == 409
    assert asked(port, "/setup")[0] == 409
    assert ordered(port, "note", text="it runs")["done"]
    assert [path.name for path in folder.glob("*.toml")] == ["b.toml"]


def test_a_setup_that_cannot_start_says_why_and_goes_on(tmp_path):
    """A bench file with a fault; the page stays."""
    port = free_port()
    (tmp_path / "bad.toml").write_text('[bench]\nname = "x"\n[meter]\ndriver = "scpi"\n', encoding="utf-8")
    daemon = Typed("-m", "acquire", "setup", "--folder", str(tmp_path), "--port", str(port))
    try:
        until_served(port)
        status, _, body = posted(port, "/setup/start", {"file": "bad.toml"})
        assert status == 422
        assert any("sheet" in fault for fault in json.loads(body)["faults"])
        assert until_served(port)["mode"] == "setup"
        assert daemon.end()[0] == 0
    finally:
        daemon.close()


def test_the_demo_shows_its_page_until_ctrl_c(tmp_path):
    """The address is printed; the page says that it is a demonstration, and stays after the last unit."""
    demo = Typed(
        "-m", "acquire", "demo", "--page", "--units", "1", "--speed", "10", "--dir", str(tmp_path / "run")
    )
    try:
        port = int(re.search(r":(\d+)/", demo.until("The bench page"))[1])
        state = until_served(port)
        assert (state["bench"]["demo"], state["clock"]["speed"]) == (True, 10.0)
        demo.until("stays until Ctrl-C", within_s=60.0)
        assert until_served(port)["result"]["outcome"] == "pass"
        code, shown = demo.end(signal.SIGINT)
        assert code == 0, shown
    finally:
        demo.close()
