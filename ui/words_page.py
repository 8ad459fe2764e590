"""The page's standing words: steps, and one line of help for every number.

Knows wording only. Each help line says what the number means and how sure it is.
"""

from __future__ import annotations

STEPS = ("Cloth", "Layers", "Light", "Compare", "Decide", "Making sheet")

STEP_INTRO = {
    "Cloth": "Take a cloth from the shelf, describe your own, or measure it from photographs.",
    "Layers": "Lay it up from the outside in: turn the grain, double it, choose what lies behind.",
    "Light": "Where will it be seen, and from where? Move the light and watch the cloth.",
    "Compare": "What you pinned, side by side in the same light.",
    "Decide": "What do you want of it, and is there cloth enough?",
    "Making sheet": "The choice on paper, for the cutting table. And your project, to keep.",
}

LAY_WORDS = {
    "loose": "loose, as worn",
    "touching": "touching, pressed together",
    "apart": "apart, hung clear",
}

HELP = {
    "colour": "The colour in plain words, from its lightness, strength and hue.",
    "code": "The nearest screen colour. Screens differ; trust the cloth over the screen.",
    "lightness": "L*: 0 is black, 100 is white paper in the same light. ",
    "strength": "C*, chroma: 0 is grey; strong dyes reach 60 and more. As sure as the lightness.",
    "hue": "The turn of the colour circle: 0° red, 90° yellow, 180° green, 270° blue. ",
    "opacity": "How well it hides what is behind: over black against over white "
    "(contrast ratio, ISO 2471). 100 % hides all.",
    "straight": "Share of light that goes straight through the openings, seen square on. As sure "
    "as yarn size and sett are.",
    "sheer": "Share of all-round light that comes through, both straight and scattered. As sure "
    "as the yarn's translucency is.",
    "shot": "How far the colour travels in a half turn, largest CIEDE2000 between any two angles.",
    "difference": "CIEDE2000 from the first pin. About 1 is just noticeable side by side.",
    "sett": "Threads side by side. From the description; count again if it matters.",
    "cover": "Share of the cloth that threads cover (Peirce). Computed from yarn and sett.",
    "open": "Share of clear openings, seen square on. Computed from yarn and sett.",
    "weight": "Weight from yarn, sett and crimp; within about a tenth if those are right.",
    "yarn": "Width of the thread as it lies. Computed from its size, packing and flattening.",
    "thickness": "Thickness at the crossings, pressed by nothing (Peirce); rough.",
}

OFF_SCREEN = (
    "Stronger than this screen can show: the patch is the nearest the screen has, the numbers "
    "are the true ones."
)
OUTSIDE = "outside the screen's range"
