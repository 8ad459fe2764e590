"""A new cloth of the maker's own comes to the table, from wherever it came."""

from __future__ import annotations

import streamlit as st

from session import note
from state import Work, with_cloth

#: Where a cloth may come from.
WAYS = ("Shelf", "Describe", "Measure", "Open a file")


def laid(now: Work, key: str) -> Work:
    """The new cloth on the table, and shown on the shelf."""
    st.session_state["cloth-way"] = WAYS[0]
    note(f"{now.cloths[key].cloth.name} is on the table and among your cloths.")
    return with_cloth(now, key)
