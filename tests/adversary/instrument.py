"""A SCPI multimeter on TCP, and the probes that hang on it; written by the standards alone.

Sources: SCPI-1999 volume 1, 7 (number formats, 9.9E37 for a value beyond range) and 21.8 (error numbers);
volume 2, CONFigure, READ?, SENSe, SYSTem:ERRor; IEEE 488.2-1992 (`*IDN?`, `*OPC?`, `*CLS`, `*RST`). Accuracy
of its ranges: within what configs/meters/bench-6-digit.toml states, which the daemon is told as well.
"""

from __future__ import annotations

import contextlib
import math
import random
import re
import socket
import threading
import time
from collections import deque
from dataclasses import dataclass, field

OVER = "+9.90000000E+37"
RANGES = (100.0, 1e3, 10e3, 100e3, 1e6, 10e6, 100e6)
OVERRANGE = 1.2
COUNTS = 1e6
"""Full scale over the worth of one count."""
TEST_CURRENT_A = {100.0: 1e-3, 1e3: 1e-3, 10e3: 1e-4, 100e3: 1e-5}
NOISE_COUNTS = {100.0: 6.0}
MAINS_S = 0.02


@dataclass
class Touch:
    """What the probes lie on, and how well.

    Attributes:
        on: a pair of pins, "short", or "standard" (the known resistor).
        contact_ohm: of both tips together; adds to a two-wire reading only.
    """

    on: tuple | str
    contact_ohm: float
    since_s: float
    log: dict = field(default_factory=dict)


@dataclass
class Probes:
    """Two probes on leads.

    Attributes:
        resistance_ohm: gives what lies between two pins at an instant; None while no unit is there.
        lead_ohm: both leads; short_extra_ohm: what the short at zeroing has besides (negative: leads that
        grow
            later are the same thing).
        emf_volt: thermal voltages of the clips.
        standard_ohm: the known resistor.
        log: every touch with its end and its readings, for the oracle.
    """

    lead_ohm: float = 0.15
    short_extra_ohm: float = 0.0
    emf_volt: float = 0.0
    standard_ohm: float = 100.0
    touch: Touch | None = None
    resistance_ohm: object = None
    log: list = field(default_factory=list)

    def down(self, on, contact_ohm=0.005, *, slip=False):
        """Set both probes down; `slip`: not where they were meant to."""
        self.up()
        touch = Touch(on, contact_ohm, time.monotonic())
        log = {"on": on, "contact_ohm": contact_ohm, "since_s": touch.since_s, "until_s": math.inf}
        touch.log = log | {"slip": slip, "readings": [], "sent": set()}
        self.log.append(touch.log)
        self.touch = touch

    def up(self):
        """Take them away."""
        if self.touch is not None:
            self.touch.log["until_s"] = time.monotonic()
        self.touch = None

    def seen_ohm(self, touch, *, four_wire):
        """What lies between the sense points during a touch; infinite in the air."""
        if touch is None:
            return math.inf
        if touch.on == "short":
            return 0.0 if four_wire else self.lead_ohm + self.short_extra_ohm
        if touch.on == "standard":
            ohm = self.standard_ohm
        else:
            ohm = math.inf if self.resistance_ohm is None else self.resistance_ohm(touch.on)
        return ohm if four_wire else ohm + self.lead_ohm + touch.contact_ohm


class Instrument:
    """The meter, a thread for each connection.

    Args:
        probes: what hangs on it.
        seed: of its noise and its errors, which stay inside its accuracy.
        conversion_s: time of one conversion at one power line cycle.
        port: 0 takes a free one.
    """

    def __init__(self, probes, *, seed=1, conversion_s=0.02, port=0):
        self.probes, self.conversion_s = probes, conversion_s
        self.dice = random.Random(seed)
        dice = random.Random(f"{seed} errors")
        # one sigma of a third of the limits: what an instrument inside its specification has
        self.gain = {full: max(-1.0, min(1.0, dice.gauss(0, 1 / 3))) * 1e-4 for full in RANGES}
        self.offset = {
            full: max(-1.0, min(1.0, dice.gauss(0, 1 / 3))) * full * (4e-5 if full == 100.0 else 1e-5)
            for full in RANGES
        }
        self.function, self.range, self.plc, self.compensated = "RES", None, 1.0, False
        self.errors, self.sent = deque(maxlen=20), 0
        self.commands, self.display = [], math.inf
        self.silent_until_s = self.down_until_s = 0.0
        self._connections, self._ended = set(), threading.Event()
        self._listener, self._port = None, port
        self.listen()

    # ------------------------------------------------------------------ the link

    @property
    def address(self):
        """As a bench file wants it."""
        return f"tcp:127.0.0.1:{self._port}"

    def listen(self):
        """Switch on."""
        listener = socket.socket()
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind(("127.0.0.1", self._port))
        listener.listen(8)
        listener.settimeout(0.1)
        self._listener, self._port = listener, listener.getsockname()[1]
        threading.Thread(target=self._accept, args=(listener,), daemon=True, name="meter").start()

    def _accept(self, listener):
        while not self._ended.is_set() and self._listener is listener:
            try:
                connection, _ = listener.accept()
            except TimeoutError:
                continue
            except OSError:
                return
            if time.monotonic() < self.down_until_s:
                connection.close()
                continue
            self._connections.add(connection)
            threading.Thread(target=self._serve, args=(connection,), daemon=True, name="meter link").start()

    def _serve(self, connection):
        buffer = b""
        connection.settimeout(None)
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        try:
            while data := connection.recv(4096):
                buffer += data
                while b"\n" in buffer:
                    line, _, buffer = buffer.partition(b"\n")
                    self._take(connection, line.decode("ascii", "replace").strip().lstrip("\x03").strip())
        except OSError:
            pass
        finally:
            self._connections.discard(connection)
            connection.close()

    def drop(self, seconds):
        """Cut every connection; nothing gets through for so long."""
        self.down_until_s = time.monotonic() + seconds
        for connection in list(self._connections):
            with contextlib.suppress(OSError):
                connection.shutdown(socket.SHUT_RDWR)

    def hush(self, seconds):
        """Answer nothing for so long; the link stands, what is asked meanwhile is lost."""
        self.silent_until_s = time.monotonic() + seconds

    def off(self):
        """Power off: no connection, no listener, and the settings are gone."""
        listener, self._listener = self._listener, None
        if listener is not None:
            listener.close()
        self.drop(0.0)
        self.function, self.range, self.plc, self.compensated = "RES", None, 1.0, False
        self.errors.clear()

    def on(self):
        """Power on again, on the same port."""
        self.listen()

    def close(self):
        """The end."""
        self._ended.set()
        self.off()

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()

    # ------------------------------------------------------------------ the language

    def _take(self, connection, line):
        for text in line.split(";"):
            if not (text := text.strip()):
                continue
            self.commands.append(text)
            answer = self._obey(text)
            if answer is not None and time.monotonic() >= self.silent_until_s:
                connection.sendall(answer.encode("ascii") + b"\n")

    def _obey(self, text):  # noqa: PLR0911  (one line a command reads best)
        header, _, rest = text.partition(" ")
        header = header.upper().lstrip(":")
        match header:
            case "*IDN?":
                return "RIG,ADVERSARY,1,1.0"
            case "*OPC?":
                return "1"
            case "*CLS":
                self.errors.clear()
            case "*RST":
                self.function, self.range, self.compensated = "RES", None, False
            case "SYST:REM" | "SYST:RWL" | "SYST:LOC" | "SYSTEM:REMOTE" | "SYSTEM:LOCAL":
                pass
            case "SYST:ERR?" | "SYST:ERR:NEXT?" | "SYSTEM:ERROR?":
                code, words = self.errors.popleft() if self.errors else (0, "No error")
                return f'{code:+d},"{words}"'
            case "READ?" | "INIT;FETC?":
                return self._converted()
            case "CONF?" | "CONFIGURE?":
                full = self.range or RANGES[-1]
                return f'"{self.function} {full:+.6E},{full / COUNTS:+.6E}"'
            case "CONF:RES" | "CONF:FRES" | "CONFIGURE:RESISTANCE" | "CONFIGURE:FRESISTANCE":
                self._configure("FRES" if "FRES" in header else "RES", rest)
            case _:
                return self._sense(header, rest)
        return None

    def _configure(self, function, rest):
        expected = rest.split(",")[0].strip().upper()
        if expected in ("", "AUTO", "DEF"):
            full = None
        else:
            try:
                full = next(full for full in RANGES if full * OVERRANGE >= abs(float(expected)))
            except (ValueError, StopIteration):
                self.errors.append((-222, "Data out of range"))
                return
        self.function, self.range, self.compensated = function, full, False

    def _sense(self, header, rest):
        if re.fullmatch(r"(?:SENS:)?F?RES:NPLC", header):
            self.plc = float(rest)
        elif re.fullmatch(r"(?:SENS:)?F?RES:NPLC\?", header):
            return f"{self.plc:+.6E}"
        elif re.fullmatch(r"(?:SENS:)?F?RES:OCOM", header):
            self.compensated = rest.strip().upper() in ("ON", "1")
        elif re.fullmatch(r"(?:SENS:)?F?RES:RANG\?", header):
            return f"{self.range or RANGES[-1]:+.6E}"
        else:
            self.errors.append((-113, "Undefined header"))
        return None

    # ------------------------------------------------------------------ converting

    def _converted(self):
        time.sleep(self.conversion_s * max(self.plc, 0.02) * (2.0 if self.compensated else 1.0))
        touch = self.probes.touch
        ohm = self.probes.seen_ohm(touch, four_wire=self.function == "FRES")
        full = self.range or next((full for full in RANGES if full * OVERRANGE >= ohm), RANGES[-1])
        self.sent += 1
        if not ohm <= full * OVERRANGE:
            self.display = math.inf
            return OVER
        current_a = TEST_CURRENT_A.get(full, 1e-6)
        if not self.compensated:
            ohm += self.probes.emf_volt / current_a
        count = full / COUNTS
        ohm = ohm * (1.0 + self.gain[full]) + self.offset[full]
        ohm += self.dice.gauss(0.0, NOISE_COUNTS.get(full, 3.0) * count)
        ohm = round(ohm / count) * count
        text = f"{ohm:+.8E}"
        if touch is not None:  # for the oracle: what was sent, with the touch that it was taken on
            touch.log["readings"].append((time.monotonic(), ohm))
            touch.log["sent"].add(text)
        self.display = ohm
        return text
