"""The live picture of hung cloth as a component of the page: turned, zoomed and pressed by hand.

Places go to the browser once, look-up tables when cloth or light change; ``viewer/viewer.js`` draws
them. Views that name the same ``share`` turn together. A machine without graphics shows the still.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import streamlit as st

from weavecolor.picture.encode import AS_SEEN, Seeing
from weavecolor.picture.hanging import Lit
from weavecolor.picture.parcels import light_parcel, stage_parcel

_HTML = """<div class="hung"><canvas tabindex="0" role="application"></canvas><img alt=""></div>"""
_CSS = """
.hung { position: relative; width: 100%; touch-action: none; }
.hung canvas { position: absolute; inset: 0; width: 100%; height: 100%; display: block;
  cursor: grab; opacity: 0; }
.hung canvas:active { cursor: grabbing; }
.hung canvas:focus-visible { outline: 3px solid #1a73e8; outline-offset: -3px; }
.hung img { width: 100%; height: 100%; object-fit: contain; display: block; }
.hung.live canvas { opacity: 1; }
.hung.live img { visibility: hidden; }
.hung.plain canvas { display: none; }
.hung.plain img { visibility: visible; }
"""
_JS = (Path(__file__).parent / "viewer" / "viewer.js").read_text(encoding="utf-8")


def _components() -> tuple[Any, Any]:
    """The view and the carrier of places, registered once a process."""
    return (
        st.components.v2.component("hung_cloth", html=_HTML, css=_CSS, js=_JS),
        st.components.v2.component("hung_places", html="<div></div>", js=_JS),
    )


_VIEW, _PLACES = _components()


def hung_view(
    made: Lit,
    words: str,
    *,
    key: str,
    share: str = "all",
    aspect: float = 0.8,
    still: bytes = b"",
    seeing: Seeing = AS_SEEN,
    sight: Mapping[str, float] | None = None,
) -> Mapping[str, Any] | None:
    """Show the stage in its light; returns what was pressed last in this run, or None.

    Parameters
    ----------
    made : Lit
    words : str
        What is seen, for a reader of the screen.
    key : str
        One a view; turn and zoom stay with ``share`` when everything else changes.
    aspect : float
        Width over height.
    still : bytes
        PNG for a machine without graphics.
    sight : mapping, optional
        First turn, tilt (degrees) and zoom.

    A press tells ``what`` (cloth, body or ground), ``code`` (three screen values), ``cloth_mm``
    (place on the cloth), ``layers`` (how many lie there), and the turn, tilt and zoom.
    """
    name, places = stage_parcel(made.stage)
    _PLACES(data=places, key=f"hung-places-{name}", height=1)
    header = {"view": key, "share": share, "aspect": aspect, "words": words,
              "sight": dict(sight or {})}  # fmt: skip
    told = _VIEW(
        data=light_parcel(made, name, seeing, header, still),
        key=key,
        on_pressed_change=lambda: None,
    )
    return told.pressed
