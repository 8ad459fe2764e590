"""The page's address: which making, which question, which ground. Told to the browser, and followed
where somebody went by it.

A message of the browser carries the address that it stood at when the message was sent, which may
be the one before the last. So the address is followed only where a session begins, and where the
browser says that Back or Forward was pressed (``viewer/viewer.js``). Knows names, not what they
mean.
"""

from __future__ import annotations

from collections.abc import Mapping
from urllib.parse import parse_qsl

import streamlit as st

MAKING, ASKING, GROUND = "making", "asking", "ground"
_HEARD, _GONE, _TOLD = "address-heard", "address-gone-to", "address-told"


def go(names: Mapping[str, str]) -> None:
    """Have the next drawing follow an address. For callbacks."""
    st.session_state[_GONE] = dict(names)


def gone(search: str) -> None:
    """Somebody went to an address by Back or Forward; ``search``: what follows its path."""
    go(dict(parse_qsl(search.lstrip("?"))))


def to_follow() -> dict[str, str] | None:
    """The names in the address where it is to be followed in this drawing, else None."""
    if _HEARD not in st.session_state:
        return {key: str(value) for key, value in st.query_params.to_dict().items()}
    held: dict[str, str] | None = st.session_state.get(_GONE)
    return held


def followed() -> None:
    """It was followed; before this a drawing that is broken off follows it again."""
    st.session_state[_HEARD] = True
    st.session_state.pop(_GONE, None)


def tell(names: Mapping[str, str]) -> None:
    """Have the browser's address name this, where it was not told so yet; "" leaves a name out."""
    if names == st.session_state.get(_TOLD):
        return
    st.session_state[_TOLD] = dict(names)
    before = st.query_params.to_dict()
    after = {k: v for k, v in {**before, **names}.items() if v}
    if after != before:
        st.query_params.from_dict(after)
