"""The bench: patch, close-up and drape of what lies on the table, and what can be read off it.

Knows how a look is set on the page; the looks come from ``looks``, the pictures from
``pictures_panel``.
"""

from __future__ import annotations

from html import escape

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

import looks
import pictures_panel
from session import guarded, work
from state import light_of, option_words, table_of
from weavecolor.decide.compare import Outcome
from weavecolor.making.lightchoice import light_words
from weavecolor.making.model import Making, MakingOption
from words_page import HELP, OFF_SCREEN, OUTSIDE


@guarded
def draw() -> DeltaGenerator | None:
    """Patch, close-up and the colour in words; gives back the place where the drape will hang.

    The drape takes longer: it is hung last, when the controls stand already.
    """
    now = work()
    option = table_of(now)
    seen = looks.outcome(now, option)
    reading = seen.appearance.reading
    close = pictures_panel.small_closeup(now, option)
    with st.container(key="wc-pictures", horizontal=True):
        st.html(
            '<div class="wc-row">'
            + figure(
                swatch(reading.hex, reading.words, not reading.in_srgb), "Patch", "at arm's length"
            )
            + figure(picture(close, reading.words), close.title, close.caption)
            + "</div>"
        )
        place = st.empty()
    st.html(_colour_lines(now, option, seen))
    return place


def hang(place: DeltaGenerator | None) -> None:
    """The drape into its place, as soon as it is drawn; until then the page can be worked on."""
    if place is not None:
        _hang(place)


@guarded
def _hang(place: DeltaGenerator) -> None:
    now = work()
    words = looks.outcome(now, table_of(now)).appearance.reading.words
    waited = False
    for shown in pictures_panel.small_drape(now, table_of(now)):
        if shown is not None:
            place.html(figure(picture(shown, words), shown.title, shown.caption))
        elif not waited:
            waited = True
            place.html(figure('<div class="wc-pic wc-wait"></div>', "Drape", "being drawn …"))
        else:
            # Any word to the page lets Streamlit turn to what was changed meanwhile.
            place.html(figure('<div class="wc-pic wc-wait"></div>', "Drape", "being drawn …"))


@guarded
def numbers(width: str) -> None:
    """What can be read off; ``width`` "wide" or "narrow" says on which screens it is shown.

    Beside the picture there is room for it on a wide screen; on a narrow one it would push the
    controls out of sight, so there it comes after them.
    """
    now = work()
    seen = looks.outcome(now, table_of(now))
    st.html(_numbers(now, seen, looks.hiding(now, table_of(now)), f"wc-{width}"))


def picture(shown: pictures_panel.Shown, words: str) -> str:
    """One drawn picture, with words for those who do not see it."""
    alt = f"{shown.title}, {shown.caption}: {words}"
    return f'<img class="wc-pic" src="{shown.uri}" alt="{escape(alt)}">'


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


def _colour_lines(now: Making, option: MakingOption, seen: Outcome) -> str:
    reading = seen.appearance.reading
    L, C, h = reading.LCh
    off = f'<p class="wc-warn">✂ {OFF_SCREEN}</p>' if not reading.in_srgb else ""
    told = f"{option_words(now, option)}. Light: {light_words(light_of(now))}"
    return (
        f'<p class="wc-told">{escape(told)}</p>'
        f'<p class="wc-words" id="wc-words">{escape(reading.words)}</p>'
        f'<p class="wc-code"><code>{reading.hex}</code> · L* {L:.0f} · C* {C:.0f} · '
        f"h {h:.0f}° · give or take {seen.uncertainty.stated:.1f} (CIEDE2000)</p>{off}"
    )


def _numbers(now: Making, seen: Outcome, hides: looks.Hiding, kind: str) -> str:
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
    if now.options:
        first = now.options[0]
        step = looks.differences([looks.outcome(now, first), seen])[0]
        rows.insert(
            0,
            (
                f"Against pin {first.name}",
                f"{step.delta:.1f}",
                f"{step.verdict.words if step.verdict else step.effect}",
            ),
        )
    return facts_list(rows, kind)


def facts_list(rows: list[tuple[str, str, str]], kind: str = "") -> str:
    """Numbers with their name and one line of what they mean."""
    items = "".join(
        f'<div class="wc-fact"><dt>{escape(title)}</dt><dd>{escape(value)}</dd>'
        f"<p>{escape(meaning)}</p></div>"
        for title, value, meaning in rows
    )
    return f'<dl class="wc-facts {kind}">{items}</dl>'
