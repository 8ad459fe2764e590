"""A new cloth of the maker's own comes to the table, from wherever it came."""

from __future__ import annotations

import streamlit as st

from session import note
from state import cloth_called, with_cloth
from weavecolor.making.model import Making

#: Where a cloth may come from.
WAYS = ("Shelf", "Describe", "Measure", "Open a file")


def laid(now: Making, key: str) -> Making:
    """The new cloth on the table, and shown on the shelf."""
    st.session_state["cloth-way"] = WAYS[0]
    note(f"{cloth_called(now, key).name} is on the table and among your cloths.")
    return with_cloth(now, key)
