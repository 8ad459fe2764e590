"""What this tool does not model, by the names a maker gives it, and what to do instead.

Knows words only. Where such a word stands for something that cannot be computed, the complaint
says so rather than listing what could be written. The advice is common practice, no source.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import dataclass


@dataclass(frozen=True)
class NotModelled:
    """Something asked for that no answer here takes into account.

    ``words``: a pattern of the words it goes by; ``what``: its name in a sentence (plural);
    ``instead``: what to do; ``done``: it is done to a cloth, so that a cloth's name that has the
    word may tell of the past, or of a colour ("sandwashed", "iron grey").
    """

    words: str
    what: str
    instead: str
    done: bool = False


_SEW = "sew a sample and look at it in the real light"

NOT_MODELLED: tuple[NotModelled, ...] = (
    NotModelled(
        r"wash\w*|launder\w*|shrink\w*|dry clean\w*",
        "washing, cleaning and shrinkage",
        "wash or clean a measured square by its label, then measure and look again",
        done=True,
    ),
    NotModelled(
        r"steam\w*|iron\w*|pressing|pressed",
        "steaming, ironing and the shine of pressed pleats",
        "press a scrap, test for heat first, and look along the crease",
        done=True,
    ),
    NotModelled(
        r"embroider\w*|applique|couching", "embroidery and applied work", f"{_SEW}, worked"
    ),
    NotModelled(
        r"bead\w*|sequin\w*|spangle\w*|rhinestone\w*|crystal(?! organza)\w*",
        "beads, sequins and stones",
        f"{_SEW}, with some sewn on",
    ),
    NotModelled(
        r"velvet\w*|velour|pile|brushed|raised|flannel\w*|napped|nap|fleece|corduroy|chenille",
        "pile and raised or brushed finish",
        "lay a piece with the pile up and with it down, and look",
    ),
    NotModelled(
        r"lace|leno|knit\w*|jersey|tulle|net|netting|mesh|bobbinet|crochet|felt\w*|nonwoven",
        "lace, net, leno, knitted and felted cloth",
        "lay a piece over the backing and look",
    ),
    NotModelled(
        r"jacquard|damask|brocade|lame|metal\w*|lurex|tinsel|wire|alumini?um|foil|printed|print"
        r"|ombre|painted|glitter\w*|sparkl\w*|pearlescent|hologra\w*|flock\w*|dotted|clip ?dots?"
        r"|devore|burn(?:ed|t)? ?outs?|eyelets?|broderie|stripe[ds]?|check(?:s|ed)|gingham|plaid"
        r"|tartan|ikat",
        "figured, metallic, striped and printed cloth",
        "describe the ground alone, or lay a piece and look",
    ),
    NotModelled(
        r"crepe\w*|crepon|georgette|crinkl\w*|crushed|cloque|seersucker|plisse",
        "crinkled and puckered surfaces",
        "describe the cloth as flat, and let a piece of it decide",
    ),
    NotModelled(
        r"coated|coating|waxed|glazed|calender\w*|moire|watered|starch\w*|sizing",
        "coatings, glazes and watered finish",
        f"{_SEW}",
    ),
    NotModelled(
        r"multi ?lob\w*|octa ?lob\w*",
        "filaments of many lobes, which send back more and let less through than round ones,",
        "lay a piece over black and over white, and look",
    ),
    NotModelled(
        r"fluo\w*|neon|day ?glo|optic\w* (?:white|bright\w*)|whitener\w*|uv|ultra ?violet"
        r"|black ?lights?|glow\w*|phosphor\w*",
        "fluorescent dyes, whiteners and ultraviolet light",
        "look at a piece in the light where it will be worn",
    ),
    NotModelled(
        r"gels?|gelatines?|colou?r filters?|(?:red|amber|yellow|green|blue|pink|straw|lavender) "
        r"(?:light|lamp|filter|spot)s?",
        "coloured filters before lamps",
        "hold a piece under the lamp with its filter",
        done=True,
    ),
    NotModelled(
        r"haz(?:e|er|y)|smok(?:e|y)|fog|strobe\w*|gobos?|project(?:ions?|ors?)",
        "haze, projected and flashing light",
        "look from the seats while it runs",
        done=True,
    ),
    NotModelled(r"wet|damp|rain|sweat\w*|water", "wet cloth", "wet a scrap and look", done=True),
    NotModelled(
        r"dye|dyed|dyeing|bleach\w*", "dyeing and bleaching", "dye a scrap by its label", done=True
    ),
)


def not_modelled(text: str) -> NotModelled | None:
    """What of the list ``text`` asks for, or None.

    Examples
    --------
    >>> not_modelled("after washing").what
    'washing, cleaning and shrinkage'
    >>> not_modelled("plain") is None
    True
    """
    return next(_found(text), None)


def _found(text: str) -> Iterator[NotModelled]:
    bare = unicodedata.normalize("NFKD", text.casefold())  # "crêpe", "lamé"
    tidy = " ".join(re.findall(r"[a-z]+", re.sub("[\u0300-\u036f]", "", bare)))
    return (x for x in NOT_MODELLED if re.search(rf"\b(?:{x.words})\b", tidy))


def named_so(name: str) -> str:
    """What a cloth's ``name`` tells of that no answer about it takes into account, in a sentence;
    or nothing.

    Examples
    --------
    >>> named_so("Silk crêpe de chine")[:61]
    'Silk crêpe de chine: crinkled and puckered surfaces are not m'
    >>> named_so("Shot silk organza, iron grey")
    ''
    """
    found = next((x for x in _found(name) if not x.done), None)
    return f"{name}: {found.what} are not modelled: {found.instead}" if found else ""


def remarked_so(remarks: Iterable[str]) -> set[str]:
    """Those of a cloth's ``remarks`` that :func:`named_so` said of what its yarn was likened to.

    Examples
    --------
    >>> remarked_so([named_so("nylon tulle"), "counted twice"]) == {named_so("nylon tulle")}
    True
    """
    ends = tuple(f": {x.what} are not modelled: {x.instead}" for x in NOT_MODELLED)
    return {remark for remark in remarks if remark.endswith(ends)}


def besides_so(remarks: Iterable[str]) -> tuple[str, ...]:
    """The other ``remarks``: what a cloth's name and likeness tell of stands with every answer.

    Examples
    --------
    >>> besides_so([named_so("nylon tulle"), "counted twice"])
    ('counted twice',)
    """
    remarks = tuple(remarks)
    said = remarked_so(remarks)
    return tuple(remark for remark in remarks if remark not in said)


def elsewhere(text: str) -> str:
    """The end of a complaint about ``text``: that it is not modelled, and what to do; or nothing.

    Examples
    --------
    >>> elsewhere("beads")[:44]
    '; beads, sequins and stones are not modelled'
    """
    found = not_modelled(text)
    return f"; {found.what} are not modelled: {found.instead}" if found else ""
