"""Sans-I/O: from the key events of a scanner in keyboard mode to its text. Linux only.

A scanner in keyboard mode types into whatever window has the focus. Reading its event device instead, and
grabbing it, keeps its codes to ourselves. Keys are taken as on a US keyboard, which scanners send unless set
otherwise. Not for a keyboard that people type on.

Source: `struct input_event` and key numbers from the kernel's `linux/input.h` and `input-event-codes.h`.
"""

from __future__ import annotations

import struct

_EVENT = struct.Struct("@llHHi")  # two words of time, type, code, value
EVENT_BYTES = _EVENT.size
_KEY_TYPE = 1
_PRESS = 1
_SHIFTS = frozenset({42, 54})
_ENTER = frozenset({28, 96})
_TAB = 15
_PLAIN = {
    **dict(zip(range(2, 14), "1234567890-=", strict=True)),
    **dict(zip(range(16, 28), "qwertyuiop[]", strict=True)),
    **dict(zip(range(30, 42), "asdfghjkl;'`", strict=True)),
    **dict(zip(range(43, 54), "\\zxcvbnm,./", strict=True)),
    57: " ",
}
_SHIFTED = {
    **dict(zip(range(2, 14), "!@#$%^&*()_+", strict=True)),
    **dict(zip(range(16, 28), "QWERTYUIOP{}", strict=True)),
    **dict(zip(range(30, 42), 'ASDFGHJKL:"~', strict=True)),
    **dict(zip(range(43, 54), "|ZXCVBNM<>?", strict=True)),
    57: " ",
}


class KeyText:
    """Turns key events into text; ENTER becomes a line end."""

    def __init__(self) -> None:
        self._part = b""
        self._shifts: set[int] = set()

    def feed(self, data: bytes) -> bytes:
        """Take bytes of the event device; give the text they type."""
        self._part += data
        typed = []
        whole = len(self._part) - len(self._part) % EVENT_BYTES
        for _, _, kind, code, value in _EVENT.iter_unpack(self._part[:whole]):
            if kind == _KEY_TYPE:
                typed.append(self._key(code, value))
        self._part = self._part[whole:]
        return "".join(typed).encode("ascii")

    def _key(self, code: int, value: int) -> str:
        if code in _SHIFTS:
            (self._shifts.discard if value == 0 else self._shifts.add)(code)
            return ""
        if value != _PRESS:
            return ""
        if code in _ENTER or code == _TAB:
            return "\n"
        return (_SHIFTED if self._shifts else _PLAIN).get(code, "")
