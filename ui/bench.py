"""Numbers, patches and figures as the page sets them. Knows HTML; computes nothing."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from looks import Hiding
from weavecolor.decide.compare import Outcome
from words_page import HELP, OFF_SCREEN, OUTSIDE


def figure(inner: str, title: str, caption: str) -> str:
    """One picture, ``inner`` HTML, with its ``title`` and ``caption``."""
    return (
        f'<figure class="wc-fig">{inner}<figcaption><b>{escape(title)}</b> '
        f"{escape(caption)}</figcaption></figure>"
    )


def swatch(hex_code: str, words: str, off_screen: bool, small: bool = False) -> str:
    """A patch of colour ``hex_code`` that says its colour in ``words``; a cut corner marks one that
    is ``off_screen``, which the screen cannot show. ``small``: as in a row."""
    kind = "wc-patch wc-small" if small else "wc-patch"
    mark = f'<span class="wc-off" title="{OUTSIDE}">✂</span>' if off_screen else ""
    return (
        f'<div class="{kind}" role="img" aria-label="{escape(words)}" '
        f'style="background:{hex_code}">{mark}</div>'
    )


def numbers_of(seen: Outcome, hides: Hiding) -> list[tuple[str, str, str]]:
    """What can be read off a look: name, value, what it means and how sure it is."""
    reading = seen.appearance.reading
    L, C, h = reading.LCh
    reasons = "; ".join(seen.uncertainty.reasons)
    sure = f"Give or take {seen.uncertainty.stated:.1f} in all"
    sure += f": {reasons}." if reasons else "."
    code = HELP["code"] if reading.in_srgb else OFF_SCREEN
    return [
        ("Colour", f"{reading.words} {reading.hex}", code),
        ("Lightness", f"{L:.1f}", HELP["lightness"] + sure),
        ("Strength of colour", f"{C:.1f}", HELP["strength"]),
        ("Hue", f"{h:.0f}°" if C >= 2 else "none", HELP["hue"] + "Means little in greys."),
        ("Opacity", f"{100 * hides.opacity:.0f} %", HELP["opacity"] + " Within a few per cent."),
        ("Straight through", f"{100 * hides.straight:.0f} %", HELP["straight"]),
        ("Light through in all", f"{100 * hides.sheer:.0f} %", HELP["sheer"]),
    ]


def mind(told: Iterable[str]) -> str:
    """A box of what is to be minded; nothing where nothing is."""
    items = "".join(f"<li>{escape(line)}</li>" for line in told)
    box = '<div class="wc-caution" role="note"><b>Mind</b><ul>'
    return f"{box}{items}</ul></div>" if items else ""


def figures_list(rows: list[tuple[str, str, str]], kind: str = "") -> str:
    """Numbers with their name and one line of what they mean."""
    items = "".join(
        f'<div class="wc-fact"><dt>{escape(title)}</dt><dd>{escape(value)}</dd>'
        f"<dd class=wc-means>{escape(meaning)}</dd></div>"
        for title, value, meaning in rows
    )
    return f'<dl class="wc-facts {kind}">{items}</dl>'
