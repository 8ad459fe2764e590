"""Grain in the trade's words: straight, cross, bias, or degrees off the straight.

Knows how a laid cloth is turned; knows nothing of optics. Grain angles are azimuths of the warp
in the garment, as ``stack.Layer.grain_deg``: 0 straight grain, 90 cross grain, 45 bias.
"""

from __future__ import annotations

import math

from weavecolor.errors import InputError

GRAINS = {"straight": 0.0, "cross": 90.0, "bias": 45.0}
#: Other words for them. "On the cross" is not here: of a cut it means the bias.
_ALSO = {
    "lengthwise": "straight", "straight of": "straight", "crosswise": "cross",
    "on the straight": "straight", "on": "straight", "warp down": "straight",
    **dict.fromkeys(("warp across", "railroaded", *(f"selvedge {at} hem" for at in
                     ("as", "as the", "at", "at the", "along the"))), "cross"),
    "true bias": "bias", "on the bias": "bias", "the other bias": "other bias",
}  # fmt: skip
#: What to say of words that mean the one of a cut, the other of the cloth.
ON_THE_CROSS = 'of a cut "on the cross" means the bias: write bias, or cross grain'
#: As answers tell them; of the two biases the one not meant by the word alone.
_TOLD = {**GRAINS, "other bias": -45.0}
_TURNED = "upside down"


def grain_deg(text: str | float) -> float:
    """Degrees, -180 to 180, of "straight", "cross", "bias", another word for one of them, a
    number such as "30" or "30 deg", or what :func:`grain_words` makes of one.

    Raises InputError for anything else.

    Examples
    --------
    >>> grain_deg("bias"), grain_deg("30"), grain_deg(grain_words(-90.0))
    (45.0, 30.0, -90.0)
    """
    word = " ".join(str(text).replace(",", " ").split()).casefold()
    if word.endswith("on the cross"):
        raise InputError(ON_THE_CROSS, field="grain")
    turned = word.endswith(_TURNED)
    word = word.removesuffix(_TURNED).strip().removesuffix("grain").strip()
    word = _ALSO.get(word, word) or ("straight" if turned else "")
    word = word.removeprefix("warp").removesuffix("off straight").strip()
    for unit in ("°", "degrees", "deg"):
        word = word.removesuffix(unit).strip()
    try:
        angle = _TOLD[word] if word in _TOLD else float(word)
    except ValueError:
        angle = math.nan
    if turned:
        angle += 180.0 if angle <= 0.0 else -180.0
    if not -180.0 <= angle <= 180.0:
        raise InputError(
            f"{str(text)[:40]!r} is no grain: use straight, cross, bias, or degrees off straight "
            "from -180 to 180",
            field="grain",
        )
    return angle


def angle_deg(angle: float, field: str | None = None) -> float:
    """``angle``, degrees, where it is a number; raises InputError at ``field`` where not.

    Examples
    --------
    >>> angle_deg(30)
    30.0
    """
    if isinstance(angle, bool) or not math.isfinite(angle):
        raise InputError("a grain angle is a number of degrees", field=field)
    return float(angle)


def grain_words(degrees: float) -> str:
    """ "straight grain", "cross grain", "bias" (45), "other bias" (-45), "warp 30° off straight".

    Examples
    --------
    >>> grain_words(90.0), grain_words(-45.0), grain_words(30.0)
    ('cross grain', 'other bias', 'warp 30° off straight')
    """
    for name, known in _TOLD.items():
        if abs((degrees - known + 90.0) % 180.0 - 90.0) < 1e-9:
            turned = "" if abs((degrees - known + 180.0) % 360.0 - 180.0) < 1e-9 else f", {_TURNED}"
            return (name if name.endswith("bias") else f"{name} grain") + turned
    shown = (degrees + 180.0) % 360.0 - 180.0
    return f"warp {shown:.4g}° off straight"
