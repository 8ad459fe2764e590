"""Two pictures under one slider that moves between them, as a component of the page."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

import streamlit as st

import pictures

_CSS = """
.two { position: relative; max-width: 34rem; margin: 0; color: #1b1b1b; font-family: inherit; }
.two .view { position: relative; aspect-ratio: 4 / 5; overflow: hidden; border: 1px solid #767676; }
.two .view > * { position: absolute; inset: 0; width: 100%; height: 100%; object-fit: cover; }
.two .over { clip-path: inset(0 0 0 var(--at, 50%)); }
.two .line { left: var(--at, 50%) !important; width: 0 !important; border-left: 2px solid #fff;
  outline: 1px solid #000; }
.two input { width: 100%; height: 28px; margin: .3rem 0 0; accent-color: #2f2f2f; }
.two .names { display: flex; justify-content: space-between; gap: 1rem; font-size: .9rem; }
.two .names span:last-child { text-align: right; }
"""
_JS = """
export default function ({ parentElement, data }) {
  const root = parentElement.querySelector(".two");
  const at = root.querySelector("input")?.value ?? 50;
  root.innerHTML = data.html;
  const slide = root.querySelector("input"), view = root.querySelector(".view");
  slide.value = at;
  const move = () => view.style.setProperty("--at", slide.value + "%");
  slide.oninput = move; move();
}
"""
_TWO = st.components.v2.component("two_under_one", html='<div class="two"></div>', css=_CSS, js=_JS)


def two_view(
    names: Sequence[str], codes: Sequence[str], stills: Sequence[bytes], *, key: str
) -> None:
    """Two looks under a line that is moved: their ``names`` and colour ``codes``; ``stills``: WebP
    of both, or none while they are drawn: flat colours then. ``key``: its own among widgets."""
    if stills:
        one, other = (
            f'<img class="{kind}" src="{pictures.uri(data)}" alt="{escape(name)}">'
            for kind, data, name in zip(("under", "over"), stills, names, strict=True)
        )
    else:
        one, other = (
            f'<div class="{kind}" role="img" aria-label="{escape(name)}" '
            f'style="background:{code}"></div>'
            for kind, code, name in zip(("under", "over"), codes, names, strict=True)
        )
    html = (
        f'<div class="view">{one}{other}<div class="line"></div></div>'
        '<input type="range" min="0" max="100" aria-label="Move between the two">'
        f'<p class="names"><span>{escape(names[0])}</span><span>{escape(names[1])}</span></p>'
    )
    _TWO(data={"html": html}, key=key)
