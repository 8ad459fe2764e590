"""The page's look beyond the theme: paper, rules and room; narrow screens; print-like figures.

Knows CSS only.
"""

from __future__ import annotations

CSS = """
<style>
.stMainBlockContainer { max-width: 1340px; padding: 1.2rem 2rem 4rem; }
h1.wc-title, h3.wc-pin { font-family: Georgia, 'Liberation Serif', 'DejaVu Serif', serif; }
h1.wc-title { font-size: 1.7rem; margin: 0; padding: 0; letter-spacing: .01em; }
.wc-sub { margin: .1rem 0 .4rem; color: #4c463b; }
.wc-intro { margin: 0 0 .4rem; color: #3b362d; font-size: 1.05rem; }
.st-key-wc-bench { background: #fffdf8; border: 1px solid #b9ae99; border-radius: 6px;
  padding: .9rem; gap: .5rem; }
.st-key-wc-pictures { flex-wrap: nowrap !important; align-items: flex-start; }
.st-key-wc-pictures { --gap: .8rem; gap: var(--gap) !important; }
.st-key-wc-pictures .wc-row { gap: var(--gap); }
.st-key-wc-pictures > :first-child { min-width: 0 !important;
  flex: 0 0 calc((100% - 2 * var(--gap)) / 3 * 2 + var(--gap)) !important; }
.st-key-wc-pictures > :last-child { min-width: 0 !important;
  flex: 0 0 calc((100% - 2 * var(--gap)) / 3) !important; }
.wc-wait { background: repeating-linear-gradient(135deg, #f1eadb 0 10px, #fbf8f1 10px 20px); }
.wc-row { display: flex; gap: .8rem; align-items: stretch; }
.wc-fig { flex: 1 1 0; min-width: 0; margin: 0; }
.wc-fig figcaption { font-size: .85rem; color: #4c463b; margin-top: .3rem; line-height: 1.25; }
.wc-fig figcaption b { color: #221f1a; display: block; }
.wc-patch, .wc-pic { width: 100%; aspect-ratio: 1; border: 1px solid #6f6553;
  border-radius: 3px; display: block; object-fit: cover; }
.wc-patch { position: relative; }
.wc-small { width: 3rem; height: 3rem; }
.wc-off { position: absolute; right: 0; top: 0; background: #fffdf8; color: #221f1a;
  padding: 0 .3rem; border-bottom-left-radius: 4px; font-size: .9rem; }
.wc-told { margin: .7rem 0 .1rem; color: #4c463b; font-size: .92rem; }
.wc-words { font-family: Georgia, 'Liberation Serif', 'DejaVu Serif', serif; font-size: 1.45rem;
  margin: .1rem 0; color: #221f1a; }
.wc-words::first-letter { text-transform: uppercase; }
.wc-code { margin: 0; color: #3b362d; font-size: .95rem; }
.wc-code code { background: #f1eadb; padding: .05rem .35rem; border-radius: 3px; color: #221f1a; }
.wc-warn { margin: .3rem 0 0; color: #7a3b00; font-size: .92rem; }
.wc-facts { display: grid; grid-template-columns: repeat(auto-fill, minmax(12.5rem, 1fr));
  gap: .6rem 1.1rem; margin: .6rem 0 0 !important; padding: 0 !important; }
.wc-fact { border-top: 1px solid #cfc5b0; padding-top: .35rem; }
.wc-fact dt { font-size: .88rem; color: #4c463b; margin: 0; }
.wc-fact dd { margin: 0 !important; font-size: 1.25rem; color: #221f1a;
  font-variant-numeric: tabular-nums; }
.wc-fact p { margin: .1rem 0 0; font-size: .8rem; line-height: 1.3; color: #5a5346; }
h3.wc-pin { margin: 0 0 .5rem; padding: 0; font-size: 1.05rem; line-height: 1.3;
  min-height: 2.6em; }
.wc-pinned figcaption { display: none; }
.wc-pinned + p { margin: .5rem 0 .2rem; }
.wc-pintold { font-size: .9rem; line-height: 1.4; margin: .2rem 0 0; min-height: 5.6em; }
.wc-page { width: 100%; max-width: 720px; border: 1px solid #b9ae99; display: block; }
.wc-yarns { display: flex; gap: .9rem; flex-wrap: wrap; margin: .5rem 0; }
.wc-yarn { display: flex; gap: .5rem; align-items: center; }
.wc-yarn p { margin: 0; font-size: .9rem; line-height: 1.3; }
.wc-caution { border-left: 4px solid #9a5b00; background: #fdf1da; padding: .5rem .8rem;
  margin: .5rem 0; border-radius: 0 4px 4px 0; font-size: .92rem; }
.wc-caution b { display: block; }
.wc-caution ul { margin: .2rem 0 0; padding-left: 1.1rem; }
.wc-remarks { font-size: .88rem; color: #4c463b; margin: .4rem 0; padding-left: 1.1rem; }
:focus-visible { outline: 3px solid #1d5566 !important; outline-offset: 2px; }
.wc-lights { display: grid; gap: .8rem; margin: .4rem 0;
  grid-template-columns: repeat(auto-fill, minmax(10.5rem, 1fr)); }
.wc-lights .wc-patch { aspect-ratio: 16 / 9; }
.wc-found { width: 100%; max-width: 560px; border: 1px solid #6f6553; border-radius: 3px;
  display: block; }
.st-key-step button[kind$="Active"] { font-weight: 700; }
@media (min-width: 641px) {
  .wc-narrow { display: none; }
  [data-testid="stColumn"]:has(> div .st-key-wc-bench) { position: sticky; top: 1rem;
    align-self: flex-start; }
}
[data-testid="stCaptionContainer"], [data-testid="stCaptionContainer"] * {
  color: #4c463b !important; opacity: 1 !important; }
@media (max-width: 640px) {
  [class*="st-key-wc-pin-"] { width: 100% !important; }
  .st-key-wc-board > :has(> [class*="st-key-wc-pin-"]) { flex-basis: 100% !important;
    width: 100% !important; }
  .stMainBlockContainer { padding-left: .8rem; padding-right: .8rem; padding-top: .8rem; }
  .st-key-wc-bench { padding: .5rem; gap: .2rem; }
  .st-key-wc-pictures { --gap: .4rem; }
  .wc-fig figcaption { font-size: .75rem; }
  .wc-told { display: none; }
  .wc-words { font-size: 1.15rem; margin-top: .3rem; }
  .wc-code { font-size: .82rem; }
  .wc-facts { grid-template-columns: 1fr 1fr; }
  h3.wc-pin, .wc-pintold { min-height: 0; }
  .wc-wide { display: none; }
  .wc-sub { display: none; }
  [data-testid="stColumn"]:has(> div .st-key-wc-bench) { position: sticky; top: 0; z-index: 40;
    background: #fbf8f1; padding-bottom: .3rem; }
  .wc-fig figcaption { font-size: .72rem; }
}
</style>
"""
