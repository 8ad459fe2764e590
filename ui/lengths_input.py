"""Lengths asked for in the maker's own unit. Knows one widget."""

from __future__ import annotations

from collections.abc import Callable

import streamlit as st

from session import bound, work
from weavecolor.cutting.lengths import LONGEST_CM, UNITS
from weavecolor.making.model import Making


def length_input(
    label: str,
    key: str,
    value_cm: float,
    apply: Callable[[Making, float], Making],
    help_text: str,
    least: float = 0.0,
) -> None:
    """A length ``value_cm``, from ``least`` cm, shown in cm or inches under ``label``; what is set
    goes through ``apply(work, cm)``. ``key``: its own among widgets; ``help_text`` beside it."""
    unit = work().units
    size = UNITS[unit]
    shown = round(value_cm / size, 2)
    bound(
        st.number_input,
        f"{label}, {'inches' if unit == 'inch' else 'cm'}",
        f"length-{key}-{unit}",
        shown,
        lambda now, value: apply(now, float(value) * size),
        min_value=min(least / size, shown),  # a project may tell of less than is set here
        max_value=max(LONGEST_CM / size, shown),
        step=1.0,
        format="%.6g",
        help=help_text,
    )
