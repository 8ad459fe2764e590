"""Measuring a cloth from photographs. Knows the measuring module and how its findings are shown."""

from __future__ import annotations

import streamlit as st

from session import guarded


@guarded
def draw() -> None:
    st.info("Measuring from photographs comes here.")
