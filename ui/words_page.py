"""The page's standing words: its questions, and one line of help for every number.

Knows wording only. Each help line says what the number means and how sure it is.
"""

from __future__ import annotations

#: The questions in a maker's order: the word in the address, the name, and what is asked.
QUESTIONS = {
    "cloth": ("My cloth", "Which cloth is it?"),
    "facing": ("Facing", "Which way does it run, and which side is out?"),
    "depth": ("Depth", "How many layers?"),
    "beneath": ("Beneath", "What lies behind it?"),
    "worn": ("Where worn", "Where will it be seen?"),
    "reach": ("Will it reach", "How full, and is there cloth enough?"),
    "table": ("To the table", "What goes to the cutting table?"),
}
#: What is opened from the kept pieces, beside the questions.
SIDE_BY_SIDE = "kept"

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
    "opacity": "How well it hides what is behind: over black that sends nothing back "
    "against over white of 89 % (contrast ratio, ISO 2471). 100 % hides all.",
    "straight": "Share of light that goes straight through the openings, seen square on. As sure "
    "as yarn size and sett are; hairs of spun yarn are not counted, which scatter 1 to 3 tenths of "
    "it.",
    "sheer": "Share of all-round light that comes through, both straight and scattered. As sure "
    "as the yarn's translucency is.",
    "ends": "Threads along the cloth, counted side by side: 40 /cm or 100 /inch.",
    "picks": "Threads across the cloth, counted side by side: 38 /cm or 96 /inch.",
    "weight": "4.3 momme, 19 g/m2 or 3 oz/yd2. A yarn size not known is worked out from it.",
    "like": "Choose, or write what the shop calls it: cotton lawn, habotai, rayon lining. What you "
    "do not tell of the yarn is supposed as is usual in such cloth; its range is in every answer.",
    "count": "With its unit: 21 denier, 20 tex, 84 dtex, Ne 40 or Nm 60. Empty: worked out from "
    "the weight, else as is usual.",
    "hand": "Hold a thread upright under a glass: its fibres slope as the middle stroke of S or "
    "of Z. It tells which bias is lighter in light from the side.",
    "dye": "The colour of a thick hank in daylight. Many dyes look so in daylight and differ under "
    "lamps.",
    "sett": "Threads side by side. From the description; count again if it matters.",
    "cover": "Share of the cloth that threads cover (Peirce). Computed from yarn and sett.",
    "open": "Share of clear openings, seen square on. Computed from yarn and sett.",
    "mass": "Weight from yarn, sett and crimp; within about a tenth if those are right.",
    "yarn": "Width of the thread as it lies. Computed from its size, packing and flattening.",
    "thickness": "Thickness at the crossings, pressed by nothing (Peirce); rough.",
}

OFF_SCREEN = (
    "Stronger than this screen can show: the patch is the nearest the screen has, the numbers "
    "are the true ones."
)
OUTSIDE = "outside the screen's range"
