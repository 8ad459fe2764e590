"""The bench: patch, close-up and drape of what lies on the table, and what can be read off it.

Knows how a look is set on the page; the looks come from ``looks``, the pictures from
``pictures_panel``.
"""

from __future__ import annotations

from html import escape

import streamlit as st

import looks
import pictures_panel
from session import guarded, work
from state import Work, light_words, option_words
from weavecolor.compare import Outcome
from weavecolor.make.project import ProjectOption
from words_page import HELP, OFF_SCREEN, OUTSIDE


@guarded
def draw() -> None:
    """The whole bench in one piece, so that a change is one message to the browser."""
    now = work()
    option = now.now
    seen = looks.outcome(now, option)
    hides = looks.hiding(now, option)
    shown = pictures_panel.pictures(now, option)
    st.html(
        '<section class="wc-bench" aria-label="What lies on the table">'
        + _pictures_row(now, option, seen, shown)
        + _colour_lines(seen)
        + "</section>"
    )
    st.html(_numbers(now, seen, hides))


def _pictures_row(
    now: Work, option: ProjectOption, seen: Outcome, shown: list[pictures_panel.Shown]
) -> str:
    reading = seen.appearance.reading
    told = f"{option_words(now, option)}. Light: {light_words(now.light)}"
    figures = [
        figure(
            swatch(reading.hex, reading.words, not reading.in_srgb),
            "Patch",
            "at arm's length",
        )
    ]
    for picture in shown:
        alt = f"{picture.title} of {told}: {reading.words}"
        figures.append(
            figure(
                f'<img class="wc-pic" src="{picture.uri}" alt="{escape(alt)}">',
                picture.title,
                picture.caption,
            )
        )
    return f'<div class="wc-row">{"".join(figures)}</div><p class="wc-told">{escape(told)}</p>'


def figure(inner: str, title: str, caption: str) -> str:
    """One picture with its title and caption."""
    return (
        f'<figure class="wc-fig">{inner}<figcaption><b>{escape(title)}</b> '
        f"{escape(caption)}</figcaption></figure>"
    )


def swatch(hex_code: str, words: str, off_screen: bool, small: bool = False) -> str:
    """A patch of colour that says its colour; a cut corner marks one the screen cannot show."""
    kind = "wc-patch wc-small" if small else "wc-patch"
    mark = f'<span class="wc-off" title="{OUTSIDE}">✂</span>' if off_screen else ""
    return (
        f'<div class="{kind}" role="img" aria-label="{escape(words)}" '
        f'style="background:{hex_code}">{mark}</div>'
    )


def _colour_lines(seen: Outcome) -> str:
    reading = seen.appearance.reading
    L, C, h = reading.LCh
    off = f'<p class="wc-warn">✂ {OFF_SCREEN}</p>' if not reading.in_srgb else ""
    return (
        f'<p class="wc-words" id="wc-words">{escape(reading.words)}</p>'
        f'<p class="wc-code"><code>{reading.hex}</code> · L* {L:.0f} · C* {C:.0f} · '
        f"h {h:.0f}° · give or take {seen.uncertainty.stated:.1f} (CIEDE2000)</p>{off}"
    )


def _numbers(now: Work, seen: Outcome, hides: looks.Hiding) -> str:
    L, C, h = seen.appearance.reading.LCh
    reasons = "; ".join(seen.uncertainty.reasons)
    sure = f"Give or take {seen.uncertainty.stated:.1f} in all" + (
        f": {reasons}." if reasons else "."
    )
    rows = [
        ("Opacity", f"{100 * hides.opacity:.0f} %", HELP["opacity"] + " Within a few per cent."),
        ("Straight through", f"{100 * hides.straight:.0f} %", HELP["straight"]),
        ("Light through in all", f"{100 * hides.sheer:.0f} %", HELP["sheer"]),
        ("Lightness", f"{L:.1f}", HELP["lightness"] + sure),
        ("Strength of colour", f"{C:.1f}", HELP["strength"]),
        ("Hue", f"{h:.0f}°" if C >= 2 else "none", HELP["hue"] + "Means little in greys."),
    ]
    if now.pins:
        first = now.pins[0]
        step = looks.differences([looks.outcome(now, first), seen])[0]
        rows.insert(
            0,
            (
                f"Against pin {first.name}",
                f"{step.delta:.1f}",
                f"{step.verdict.words if step.verdict else step.effect}",
            ),
        )
    return facts_list(rows, "wc-numbers")


def facts_list(rows: list[tuple[str, str, str]], name: str = "") -> str:
    """Numbers with their name and one line of what they mean."""
    items = "".join(
        f'<div class="wc-fact"><dt>{escape(title)}</dt><dd>{escape(value)}</dd>'
        f"<p>{escape(meaning)}</p></div>"
        for title, value, meaning in rows
    )
    return f'<dl class="wc-facts" id="{name}">{items}</dl>'
