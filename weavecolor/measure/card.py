"""How to photograph a swatch so that it can be measured: the card to print or read out.

Knows words only.
"""

from __future__ import annotations

#: How thread is wound for a picture.
WOUND = """\
6  Wound thread (if you can spare some). Wind one thread evenly, in one layer with no gaps you can
   see, round a strip of white card and round a strip of black card; photograph them like 1 and 2.
"""
CARD = f"""\
PHOTOGRAPH THE CLOTH

You need: the swatch, a whole sheet of plain white paper, a piece of dull black card (matt, not
shiny; a photographer's grey card will do, less surely), a ruler with millimetres, a telephone.
Paper whose reflectance you know is better still.

Light
- Daylight from one window at the side. Not in the sun, no lamp on, no flash.
- The same light on the whole sheet: if one end of the paper looks greyer, turn the table.
- Wear nothing bright; a red sleeve colours the cloth.

Every picture
- Hold the telephone flat above the table, not leaning, about 40 cm away. No filter, no portrait
  mode, no beauty or night mode. Save as JPEG.
- Tap the white paper to set focus and exposure; the paper must look pale grey, not burnt out.
- Keep the same distance, light and exposure (press and hold to lock it) for pictures 1 and 2.

1  Over white. Swatch flat and single on the white paper, with a broad band of bare paper
   showing on every side.
2  Over black. The same swatch on the black card, a broad band of bare card all round, and a
   strip of the white paper showing beside it.
   (Or one picture for both: paper and card side by side, the swatch laid across the join.)
3  Frayed edges. Pull a few threads so that 5 mm of bare warp stands out at one edge and 5 mm of
   bare weft at the other; lay them on the paper, then on the card.
4  Close-up with a ruler. As near as the telephone still focuses, light from the side, cloth
   smooth but not stretched, the ruler's millimetre edge lying on the cloth and in the picture.
   20 to 60 threads each way; every thread at least 6 pixels wide. Warp upright if you know it.
   For open cloth lay the black card (dark yarn: the paper) underneath.
5  Grain. For shot cloth shoot picture 1 again with the swatch turned a quarter, the telephone
   where it was.

{WOUND}
7  A sewn sample, or a piece laid up (when you have one). Flat beside or on the white paper, as in
   picture 1; it is held against what was foretold, and corrects the cloth.

What each can tell
- 1 alone: the colour of the two yarns together, over white. 1 and 2: depth and cover, and nothing
  of warp against weft. 5: warp against weft. 3: each yarn's own colour. 4: the threads, and how
  open the cloth is. 6: one yarn's own colour and how much light it lets through, for any cloth.
  7: how far to trust all that is foretold of the cloth.

Keep the cloth away from hot lamps and open flame; sheer cloth catches fire easily.
"""


def instructions() -> str:
    """The card as plain text, lines of at most 100 characters.

    Examples
    --------
    >>> len(instructions()) > 200
    True
    """
    return CARD
