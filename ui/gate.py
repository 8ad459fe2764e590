"""Who may see the page: whoever came in by a code that opens once.

Knows codes, and the keys that they are changed for, which only that browser's address holds.
``weavecolor page --telephone`` makes a code for this machine and one for the telephone; without it
the page is on this machine alone and nobody is asked.
"""

from __future__ import annotations

import hmac
import os
import secrets
import threading

import streamlit as st

from weavecolor.cli.page import HANDED, new_code

CODE, KEY = "code", "key"
#: Wrong codes after which no code opens any more, until the page is started again.
MOST_WRONG = 20


class Gate:
    """Codes that open once, keys that were given for them; shared by all sessions."""

    def __init__(self, codes: tuple[str, ...]) -> None:
        self._codes = list(codes)
        self._keys: set[str] = set()
        self._wrong = 0
        self._lock = threading.Lock()

    def key_for(self, code: str) -> str:
        """A key for a code that has not been used, else ""."""
        with self._lock:
            if self._wrong >= MOST_WRONG:
                return ""
            for there in self._codes:
                if hmac.compare_digest(there.encode(), code.strip().encode()):
                    self._codes.remove(there)
                    key = secrets.token_urlsafe(24)
                    self._keys.add(key)
                    return key
            self._wrong += 1
            return ""

    def opens(self, key: str) -> bool:
        """Whether it is a key that was given."""
        return any(hmac.compare_digest(there.encode(), key.encode()) for there in self._keys)

    def next_code(self) -> str:
        """A code that still opens; a new one where all were used."""
        with self._lock:
            if not self._codes:
                self._codes.append(new_code())
            return self._codes[-1]


def handed() -> tuple[str, str, str] | None:
    """What the command handed over; None where the page is on this machine alone."""
    parts = os.environ.get(HANDED, "").split()
    return (parts[0], parts[1], parts[2]) if len(parts) == 3 else None


@st.cache_resource(show_spinner=False)
def gate() -> Gate:
    given = handed()
    return Gate(given[:2] if given else ())


def pass_or_stop() -> None:
    """Nothing where the asker may see the page; else only the question for the code is drawn, and
    this run ends."""
    if handed() is None or gate().opens(str(st.query_params.get(KEY, ""))):
        return
    code = str(st.query_params.get(CODE, "")) or str(st.session_state.get("gate-code") or "")
    key = gate().key_for(code) if code else ""
    if key:
        st.query_params.pop(CODE, None)
        st.query_params[KEY] = key
        st.rerun()
    st.title("weavecolor")
    if code:
        st.error("This code does not open the page, or was used already; ask for a new one.")
    st.text_input("The code on the other screen", key="gate-code", max_chars=20)
    st.stop()
