"""The page's look beyond the theme: neutral greys, so that colour is judged on the cloth alone.

Knows CSS only.
"""

from __future__ import annotations

CSS = """
<style>
.stMainBlockContainer { max-width: none; padding: 0 0 5rem; }
[data-testid="stHeader"] { display: none; }
[data-testid="stMain"] { scroll-padding: 1rem 0 5rem; }
.stMainBlockContainer > .stVerticalBlock, .st-key-wc-page { gap: 0 !important; }
.stApp p, .stApp li { line-height: 1.4; }
/* words of the drawing before stay legible until the next; the picture alone is dimmed */
[data-stale="true"] { opacity: 1 !important; }
.st-key-wc-cloth { gap: 0 !important; position: relative; }
.st-key-wc-words { gap: 0 !important; }
/* the way on stands where it can be pressed, however long the question is */
@media (min-width: 901px) {
  .st-key-next { position: fixed; right: .8rem; bottom: .5rem; z-index: 61; }
  .st-key-wc-kept { border-right: 13rem solid #f7f7f7; }
  .st-key-wc-words { position: absolute; left: 0; right: 0; bottom: -3.4rem; }
}
[data-testid="stColumn"]:has(> div .st-key-wc-cloth) { position: sticky; top: 0;
  align-self: flex-start; z-index: 5; }
[class*="st-key-hung-places"] { position: absolute !important; width: 1px !important;
  height: 1px !important; overflow: hidden; }
.st-key-wc-under { min-height: 3.4rem; padding: .2rem .8rem; background: #f2f2f2;
  flex-wrap: nowrap !important; }
.st-key-wc-under > :first-child { flex: 1 1 0 !important; min-width: 0 !important; }
.wc-drawn { margin: 0; font-size: .92rem; color: #1b1b1b; line-height: 1.3 !important; }
.wc-pressed { margin: 0; padding: .3rem .8rem; background: #fff; font-size: .9rem; color: #1b1b1b; }
.wc-dot { display: inline-block; width: 1.1em; height: 1.1em; border: 1px solid #555;
  vertical-align: -.2em; margin-right: .4em; }
.st-key-wc-side { padding: .5rem 1rem 0 .3rem; gap: .5rem !important; }
.st-key-wc-head { flex-wrap: nowrap !important; }
h1.wc-title { font-size: 1.25rem; margin: 0; padding: 0; font-weight: 600; }
.st-key-way [role="radiogroup"], .st-key-way [data-testid="stButtonGroup"] > div {
  flex-wrap: wrap; }
h2.wc-question { font-size: 1.08rem; margin: .1rem 0 0; padding: 0; font-weight: 600; }
.st-key-way button[aria-checked="true"] { background: #2f2f2f !important; }
.st-key-way button[aria-checked="true"] p { color: #fff !important; font-weight: 600; }
.st-key-way button { min-height: 2.1rem; padding: .1rem .55rem; }
.st-key-way button p { font-size: .9rem; }
.st-key-wc-panel { gap: .6rem !important; }
[class*="st-key-wc-strip-"]:not([class*="tools"]) { flex-wrap: nowrap !important;
  overflow-x: auto; gap: .5rem !important; align-items: stretch; padding-bottom: .3rem; }
[class*="st-key-wc-card-"] { flex: 1 0 7.2rem !important; min-width: 7.2rem !important;
  width: auto !important; max-width: 13rem; position: relative; gap: .3rem !important;
  padding: .3rem; border: 2px solid transparent; border-radius: 4px; }
:has(> [class*="st-key-wc-card-"]) { flex: 1 0 7.2rem !important; min-width: 7.2rem !important;
  max-width: 13rem; }
[class*="st-key-wc-card-"]:has(.wc-on) { border-color: #1b1b1b; background: #f7f7f7; }
[class*="st-key-wc-card-"] .stElementContainer, [class*="st-key-wc-card-"] .stButton {
  position: static !important; width: 100% !important; }
[class*="st-key-wc-card-"] button { position: static; min-height: 2.2rem; padding: .2rem .3rem; }
[class*="st-key-wc-card-"] button p { font-size: .86rem; line-height: 1.2; white-space: normal; }
[class*="st-key-wc-card-"] button::after { content: ""; position: absolute; inset: 0; }
@media (min-width: 901px) {
  [class*="st-key-wc-strip-"][class*="-rows"] { flex-wrap: wrap !important; overflow: visible; }
  [class*="-rows"] > :has(> [class*="st-key-wc-card-"]) { flex: 1 0 30% !important;
    max-width: 32%; }
  [class*="-rows"] .wc-pic, [class*="-rows"] .wc-patch { aspect-ratio: 1; object-fit: cover; }
}
[class*="st-key-wc-strip-"][class*="-edge"] { gap: 0 !important; }
[class*="-edge"] [class*="st-key-wc-card-"] { padding-left: 0; padding-right: 0;
  border-left-width: 0; border-right-width: 0; }
[class*="-edge"] .wc-patch { border: 0; border-radius: 0; }
.st-key-wc-shelf { max-height: 26rem; overflow-y: auto; gap: .4rem !important; }
.st-key-wc-shelf [class*="st-key-wc-card-"], .st-key-wc-shelf > :has(> [class*="st-key-wc-card"]) {
  flex: 0 0 8.1rem !important; min-width: 8.1rem !important; }
.st-key-wc-shelf .wc-patch, .st-key-wc-shelf .wc-pic { aspect-ratio: 4 / 3; }
.wc-line { margin: 0; font-size: .84rem; line-height: 1.3 !important; color: #1b1b1b; }
.wc-sure { display: block; color: #333; }
.wc-enough-yes { color: #0a5a21; } .wc-enough-no { color: #a00f0f; }
.wc-enough-perhaps { color: #3d3d3d; }
.wc-answer { margin: .1rem 0; font-size: 1.06rem; color: #111; border-left: 4px solid #1b1b1b;
  padding-left: .6rem; }
.wc-error { margin: 0; color: #a00f0f; font-weight: 600; font-size: .92rem; }
.wc-preview { display: flex; gap: .6rem; align-items: center; }
.wc-preview p { margin: 0; }
.wc-row { display: flex; gap: .8rem; align-items: stretch; }
.wc-fig { flex: 1 1 0; min-width: 0; margin: 0; }
.wc-fig figcaption { font-size: .85rem; color: #2c2c2c; margin-top: .3rem; line-height: 1.25; }
.wc-fig figcaption b { color: #111; display: block; }
.wc-patch, .wc-pic { width: 100%; aspect-ratio: 4 / 5; border: 1px solid #6a6a6a;
  border-radius: 2px; display: block; object-fit: cover; }
.wc-patch { position: relative; }
.wc-small { width: 3rem; height: 3rem; flex: none; }
.wc-off { position: absolute; right: 0; top: 0; background: #fff; color: #111; padding: 0 .3rem;
  font-size: .9rem; }
.wc-told { margin: .2rem 0; color: #2c2c2c; font-size: .92rem; }
.wc-facts { display: grid; grid-template-columns: repeat(auto-fill, minmax(11rem, 1fr));
  gap: .6rem 1.1rem; margin: .4rem 0 0 !important; padding: 0 !important; }
.wc-fact { border-top: 1px solid #8a8a8a; padding-top: .3rem; }
.wc-fact dt { font-size: .88rem; color: #2c2c2c; margin: 0; }
.wc-fact dd { margin: 0 !important; font-size: 1.15rem; color: #111;
  font-variant-numeric: tabular-nums; }
.wc-fact dd.wc-means { font-size: .8rem; line-height: 1.3; color: #3a3a3a; }
.wc-table { font-size: .88rem; border-collapse: collapse; width: 100%; }
.wc-table th, .wc-table td { text-align: left; padding: .2rem .5rem .2rem 0;
  border-bottom: 1px solid #b5b5b5; color: #111; }
.wc-page { width: 100%; max-width: 720px; border: 1px solid #767676; display: block; }
.wc-yarns { display: flex; gap: .9rem; flex-wrap: wrap; margin: .5rem 0; }
.wc-yarn { display: flex; gap: .5rem; align-items: center; }
.wc-yarn p { margin: 0; font-size: .9rem; line-height: 1.3; }
.wc-caution { border-left: 4px solid #7a4300; background: #fbf3e4; padding: .4rem .8rem;
  margin: .3rem 0; font-size: .9rem; color: #2b1a00; }
.wc-caution b { display: block; }
.wc-caution ul { margin: .2rem 0 0; padding-left: 1.1rem; }
.wc-remarks { font-size: .88rem; color: #2c2c2c; margin: .4rem 0; padding-left: 1.1rem; }
.wc-lights { display: grid; gap: .8rem; margin: .4rem 0;
  grid-template-columns: repeat(auto-fill, minmax(8.5rem, 1fr)); }
.wc-lights .wc-patch { aspect-ratio: 16 / 9; }
.wc-found { width: 100%; max-width: 560px; border: 1px solid #6f6f6f; display: block; }
.wc-square svg { width: 11rem; height: 11rem; }
.st-key-wc-kept { position: fixed; left: 0; right: 0; bottom: 0; z-index: 60; background: #f7f7f7;
  box-shadow: 0 -1px #767676; padding: .5rem .8rem; flex-wrap: nowrap !important;
  overflow-x: auto; gap: .5rem !important; }
.st-key-wc-kept button { min-height: 2.3rem; white-space: nowrap; }
.wc-none { margin: 0; color: #3a3a3a; font-size: .9rem; line-height: 1.2; }
.st-key-wc-ways { gap: .4rem !important; }
.st-key-wc-ways button { min-height: 2.1rem; padding: .1rem .55rem; }
.st-key-wc-ways button p { font-size: .9rem; }
.wc-drawing { display: block; width: 100%; max-width: 22rem; height: auto; }
.st-key-wc-panel .stColumn .stVerticalBlock { gap: .5rem !important; }
[data-testid="stTooltipIcon"] button { min-width: 24px; min-height: 24px; }
:focus-visible { outline: 3px solid #0b3d91 !important; outline-offset: 2px; }
[data-testid="stCaptionContainer"], [data-testid="stCaptionContainer"] * {
  color: #2c2c2c !important; opacity: 1 !important; }
@media (max-width: 900px) {
  .st-key-wc-panel { position: relative; }
  .st-key-next { position: absolute !important; right: 0; top: 0; width: auto !important; }
  .st-key-wc-panel:has(.st-key-next) h2 { min-height: 2.4rem; padding-right: 10rem; }
  [data-testid="stHorizontalBlock"]:has(> [data-testid="stColumn"] > div .st-key-wc-cloth) {
    flex-direction: column !important; }
  [data-testid="stHorizontalBlock"]:has(> [data-testid="stColumn"] > div .st-key-wc-cloth)
    > [data-testid="stColumn"] { width: 100% !important; flex: none !important; min-width: 0; }
  [data-testid="stMain"] { scroll-padding-top: calc(50vh + 4rem); }
  .st-key-wc-under { min-height: 2.6rem; padding: .1rem .6rem; }
  .wc-drawn { font-size: .82rem; }
  .st-key-wc-side { padding: .3rem .7rem 0; gap: .3rem !important; }
  .st-key-wc-ways { gap: .25rem !important; flex-wrap: nowrap !important; }
  .st-key-wc-ways > * { min-width: 0; flex: 0 1 auto !important; }
  .st-key-wc-ways button { padding: .1rem .3rem; }
  .st-key-wc-ways button p { font-size: .8rem; white-space: normal; line-height: 1.15; }
  [class*="st-key-wc-card-"], :has(> [class*="st-key-wc-card-"]) { flex: 1 0 6.4rem !important;
    min-width: 6.4rem !important; }
}
@media (max-width: 480px) {
  [class*="st-key-wc-strip-"]:not([class*="tools"]) { flex-wrap: wrap !important;
    overflow: visible; gap: .25rem !important; }
  [class*="st-key-wc-card-"], :has(> [class*="st-key-wc-card-"]) { flex: 1 0 5rem !important;
    min-width: 5rem !important; padding: .15rem; }
  [class*="-rows"] > :has(> [class*="st-key-wc-card-"]) { flex: 0 0 32% !important; }
  [class*="st-key-wc-card-"] button { padding: .1rem; }
  [class*="st-key-wc-card-"] button p { font-size: .78rem; hyphens: auto; }
}
[data-testid="stToast"] { max-width: calc(100vw - 2rem); }
@media (max-width: 360px) {  /* what is kept leaves room for the question */
  .st-key-wc-kept { padding: .3rem .5rem; gap: .3rem !important; }
  .st-key-wc-kept button { padding: .1rem .45rem; }
  .wc-none { font-size: .8rem; line-height: 1.1; }
}
@media (prefers-reduced-motion: reduce) {
  *, *::before, *::after { animation: none !important; transition: none !important; }
}
</style>
"""
