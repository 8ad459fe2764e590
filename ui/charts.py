"""Charts of the page. Knows how looks are drawn as lines; computes no looks."""

from __future__ import annotations

import altair as alt
import numpy as np
import pandas as pd
import streamlit as st

import looks
from weavecolor.decide.found import SearchResult
from weavecolor.decide.tradeoff import MEASURES, edge

INK, SOFT, TEAL, RUST = "#221f1a", "#5a5346", "#1d5566", "#9a4a12"


def _axis(title: str) -> alt.Axis:
    return alt.Axis(title=title, labelColor=INK, titleColor=INK, gridColor="#e2d9c6")


def turn_chart(turn: looks.Turn, now_deg: float) -> None:
    """Lightness and hue against the angle, the present one marked; the numbers as a sentence."""
    chroma = np.hypot(turn.Lab[:, 1], turn.Lab[:, 2])
    hue = np.degrees(np.unwrap(np.arctan2(turn.Lab[:, 2], turn.Lab[:, 1])))
    data = pd.DataFrame(
        {
            "angle": turn.angle,
            "lightness": turn.Lab[:, 0],
            "hue": np.where(chroma >= 2.0, hue, np.nan),
            "colour": list(turn.words),
            "code": list(turn.hex),
        }
    )
    rule = (
        alt.Chart(pd.DataFrame({"angle": [now_deg % 180.0]}))
        .mark_rule(color=SOFT, strokeDash=[4, 3])
        .encode(x="angle:Q")
    )
    x = alt.X(
        "angle:Q",
        scale=alt.Scale(domain=[0, 180], nice=False),
        axis=alt.Axis(
            title="Grain of the outermost layer, degrees",
            values=list(range(0, 181, 45)),
            labelColor=INK,
            titleColor=INK,
            gridColor="#e2d9c6",
        ),
    )
    tip = [*map(alt.Tooltip, ("angle", "colour", "code")), alt.Tooltip("lightness", format=".1f")]
    base = alt.Chart(data).encode(x=x, tooltip=tip)

    def line(field: str, title: str, ink: str) -> alt.LayerChart:
        y = alt.Y(f"{field}:Q", scale=alt.Scale(zero=False, padding=12), axis=_axis(title))
        dots = base.mark_point(filled=True, size=110, stroke=INK, strokeWidth=1, opacity=1).encode(
            y=y, color=alt.Color("code:N", scale=None)
        )
        return (base.mark_line(color=ink).encode(y=y) + dots + rule).properties(height=170)

    for name, title, ink in (
        ("lightness", "Lightness L*", TEAL),
        ("hue", "Hue, degrees", RUST),
    ):
        st.altair_chart(
            line(name, title, ink).configure(background="transparent"), key=f"turn-{name}"
        )
    light, dark = int(np.argmax(turn.Lab[:, 0])), int(np.argmin(turn.Lab[:, 0]))
    lightest, darkest = turn.ends
    st.caption(
        f"Lightest at {turn.angle[light]}° (L* {turn.Lab[light, 0]:.0f}, {lightest}), "
        f"darkest at {turn.angle[dark]}° (L* {turn.Lab[dark, 0]:.0f}, {darkest}). "
        f"The colour travels {turn.travel:.1f} give or take {turn.doubt:.1f} CIEDE2000 in a half "
        "turn: the larger, the more it shoots. Worked out every 15°; dots have the colour they "
        "stand for."
    )


def trade_off(points: list[tuple[str, float, object]]) -> None:
    """Opacity against lightness, one labelled dot a pin."""
    data = pd.DataFrame(
        {
            "pin": [name for name, _, _ in points],
            "opacity": [opacity for _, opacity, _ in points],
            "lightness": [float(reading.Lab[0]) for _, _, reading in points],  # type: ignore
            "colour": [reading.words for _, _, reading in points],  # type: ignore[attr-defined]
            "code": [reading.hex for _, _, reading in points],  # type: ignore[attr-defined]
        }
    )
    base = alt.Chart(data).encode(
        x=alt.X("opacity:Q", scale=alt.Scale(zero=False, padding=20), axis=_axis("Opacity, %")),
        y=alt.Y("lightness:Q", scale=alt.Scale(zero=False, padding=20), axis=_axis("Lightness L*")),
        tooltip=[
            "pin",
            "colour",
            "code",
            alt.Tooltip("opacity", format=".0f"),
            alt.Tooltip("lightness", format=".1f"),
        ],
    )
    dots = base.mark_point(filled=True, size=260, stroke=INK, strokeWidth=1, opacity=1).encode(
        color=alt.Color("code:N", scale=None)
    )
    names = base.mark_text(dx=15, dy=-10, fontSize=14, fontWeight="bold", color=INK).encode(
        text="pin"
    )
    st.altair_chart(
        (dots + names).properties(height=280).configure(background="transparent"),
        key="trade-off",
    )


def cloud(found: SearchResult) -> None:
    """Every screened stack as a faint dot, the options named."""
    titles = tuple(MEASURES)
    x, y = (found.cloud.values[:, titles.index(name)] for name in ("opacity", "lightness"))
    best = edge(x, y)
    data = pd.DataFrame(
        {"opacity": x, "lightness": y, "kind": np.where(best, "nobody beats it", "screened")}
    )
    named = pd.DataFrame(
        {
            "opacity": [100 * one.opacity for one in found.options],
            "lightness": [float(one.Lab[0]) for one in found.options],
            "option": [str(k) for k in range(1, len(found.options) + 1)],
            "what": [one.words for one in found.options],
        }
    )
    across = alt.X("opacity:Q", scale=alt.Scale(zero=False), axis=_axis("Opacity, %"))
    up = alt.Y("lightness:Q", scale=alt.Scale(zero=False), axis=_axis("Lightness L*"))
    dots = (
        alt.Chart(data)
        .mark_point(size=22, opacity=0.55)
        .encode(
            x=across,
            y=up,
            shape=alt.Shape(
                "kind:N",
                scale=alt.Scale(
                    domain=["screened", "nobody beats it"], range=["circle", "triangle"]
                ),
            ),
            color=alt.Color(
                "kind:N",
                scale=alt.Scale(domain=["screened", "nobody beats it"], range=["#a39a88", TEAL]),
                legend=alt.Legend(title=None, orient="top", labelColor=INK),
            ),
        )
    )
    names = (
        alt.Chart(named)
        .mark_text(fontSize=16, fontWeight="bold", color=RUST, dy=-10)
        .encode(x=across, y=up, text="option", tooltip=["option", "what"])
    )
    st.altair_chart(
        (dots + names).properties(height=300).configure(background="transparent"), key="cloud"
    )
