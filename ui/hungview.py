"""The live picture of hung cloth as a component of the page: turned, zoomed and pressed by hand.

Places go to the browser once, look-up tables each when it is new; ``viewer/viewer.js`` draws them.
Views that name the same ``share`` turn together. A machine without graphics shows the still.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import streamlit as st

from pictures import Parcels
from weavecolor.picture.framing import headed, parcel

_HTML = """<div class="hung"><canvas tabindex="0" role="application"
aria-roledescription="cloth to turn by hand"></canvas><img alt="">
<p class="wait" hidden></p></div>"""
_CSS = """
.hung { position: relative; width: 100%; height: calc(100vh - 6.8rem); touch-action: none;
  background: var(--ground, #b0b0b0); overflow: hidden; }
.hung canvas { position: absolute; inset: 0; width: 100%; height: 100%; display: block;
  cursor: grab; opacity: 0; touch-action: none; }
.hung canvas:active { cursor: grabbing; }
.hung canvas:focus-visible { outline: 3px solid #0b3d91; outline-offset: -3px; }
.hung img { width: 100%; height: 100%; object-fit: contain; display: block; }
.hung.live canvas { opacity: 1; }
.hung.live img { visibility: hidden; }
.hung.plain canvas { display: none; }
.hung.plain img { visibility: visible; }
.hung.waiting canvas, .hung.waiting img, .hung.late canvas { filter: grayscale(.7) opacity(.55); }
.hung .wait { position: absolute; left: 50%; bottom: 1.2rem; transform: translateX(-50%); margin: 0;
  background: #fff; color: #1f1f1f; border: 1px solid #555; border-radius: 4px;
  padding: .35rem .8rem; font: 600 1rem/1.3 sans-serif; max-width: 90%; }
.hung .wait[hidden] { display: none; }
@media (max-width: 900px) { .hung { height: 50vh; } }
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
    made: Parcels | None,
    words: str,
    *,
    key: str,
    share: str = "all",
    still: bytes = b"",
    waiting: str = "",
    dimmed: bool = False,
    sight: Mapping[str, float] | None = None,
    went: Callable[[str], None] = lambda search: None,
) -> tuple[Mapping[str, Any] | None, bool]:
    """Show the cloth as it hangs; returns what was pressed in this run, or None, and whether the
    browser has no graphics for it and shows stills.

    Parameters
    ----------
    made : Parcels or None
        None while there is nothing to draw yet: the still stands alone.
    words : str
        What is seen, for a reader of the screen.
    key : str
        One a view; turn and zoom stay with ``share`` when everything else changes.
    still : bytes
        WebP for a machine without graphics, and until there is something to draw.
    waiting : str
        What is being waited for.
    dimmed : bool
        Whether the picture is an earlier one.
    sight : mapping, optional
        First turn, tilt (degrees) and zoom.
    went : called with what follows the address's path where Back or Forward was pressed.

    A press tells ``what`` (cloth, body or ground), ``code`` (three screen values), ``cloth_mm``
    (place on the cloth), ``layers`` (how many lie there), and the turn, tilt and zoom.
    """
    header = {"view": key, "share": share, "words": words, "sight": dict(sight or {}),
              "waiting": waiting, "dimmed": dimmed, "picture_bytes": len(still)}  # fmt: skip
    if made is None:
        data = parcel({"parcel": "nothing", "id": "", "stage": "", **header}, {})
    else:
        for name, part in made.parts.items():
            _PLACES(data=part, key=f"hung-places-{name}", height=1)
        data = headed(made.light, header)
    told = _VIEW(
        data=data + still, key=key, on_pressed_change=_nothing, on_plain_change=_nothing,
        on_went_change=lambda: went(st.session_state[key]["went"]["search"]),
    )  # fmt: skip
    return told.pressed, bool(told.plain)


def _nothing() -> None:
    """A press or a state only runs the page again."""
