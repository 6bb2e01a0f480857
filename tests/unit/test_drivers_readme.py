"""The page on drivers keeps step with the drivers."""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path

from drivers.conformance.vectors import VectorFile
from drivers.profiles import Profile
from drivers.registry import BUILT_IN, check_options

PAGE = (Path(__file__).parent.parent.parent / "drivers" / "README.md").read_text(encoding="utf-8")


def block(kind, beginning):
    (found,) = [
        text for text in re.findall(rf"```{kind}\n(.*?)```", PAGE, re.DOTALL) if text.startswith(beginning)
    ]
    return found


def test_every_built_in_driver_stands_in_the_table():
    listed = set(re.findall(r"^\| `(\w+)` \|", PAGE, re.MULTILINE))
    assert listed == set(BUILT_IN)


def test_the_profile_shown_can_be_used():
    profile = Profile.model_validate(tomllib.loads(block("toml", "title")))
    check_options(profile.driver, profile.options)


def test_the_frames_shown_can_be_read():
    assert len(VectorFile.model_validate(json.loads(block("json", "{"))).frames) == 3


def test_the_class_shown_runs():
    names: dict = {}
    imports = """
from drivers.frame import Decoded, FrameProtocol, FrameRefused
from drivers.handheld.hand_meter import HandMeter
from drivers.handheld.options import HandMeterOptions
from drivers.link.address import SerialLine
from drivers.link.framing import LineFramer
from drivers.meter import Capabilities
from drivers.reading import Kind, Quantity
"""
    exec(imports + block("python", "class"), names)  # noqa: S102 - our own page
    meter = names["MilliohmMeter"](meter_id="m", address="tcp:127.0.0.1:1", clock=lambda: (0.0, 0.0))
    protocol = meter.decoder(meter.Options())
    (frame,) = protocol.framer().feed(b"m1234\r\n")
    assert protocol.decode(frame).value_si == 1.234
