"""How the page looks, on the screen and on A4 or letter; nothing depends on colour, and nothing is fetched."""

from __future__ import annotations

from gaugelight.papers.markup import css_text

SHEET = """
:root { --ink: #111; --soft: #555; --hair: #999; --paper: #fff; --tint: #f1f1ee; }
* { box-sizing: border-box; }
html { background: var(--tint); }
body { margin: 0 auto; max-width: 190mm; padding: 12mm 12mm 20mm; background: var(--paper); color: var(--ink);
  font: 10.5pt/1.42 Georgia, "Times New Roman", serif; text-rendering: optimizeLegibility; counter-reset: part; }
h1, h2, h3, table, .block, .open, nav, .mono, figcaption { font-family: "Helvetica Neue", Arial, "Liberation Sans", sans-serif; }
h1 { font-size: 25pt; line-height: 1.1; font-weight: 700; letter-spacing: -0.01em; margin: 1mm 0 1mm; }
h2 { font-size: 13pt; margin: 11mm 0 2.5mm; padding-top: 1.6mm; border-top: 1.6pt solid var(--ink); break-after: avoid; }
main h2 { counter-increment: part; }
main h2::before { content: counter(part); display: inline-block; min-width: 9mm; font-weight: 400; }
h3 { font-size: 10.5pt; margin: 5.5mm 0 1.5mm; break-after: avoid; }
p { margin: 0 0 2.2mm; orphans: 3; widows: 3; max-width: 165mm; }
ul { margin: 0 0 2.5mm; padding-left: 5mm; }
li { margin: 0 0 0.8mm; break-inside: avoid; }
.kind { font: 9pt "Helvetica Neue", Arial, "Liberation Sans", sans-serif; text-transform: uppercase; letter-spacing: 0.09em; color: var(--soft); margin: 0; }
.of { font-size: 12pt; margin: 0 0 4mm; }
.block { display: grid; grid-template-columns: repeat(4, 1fr); border: 1.2pt solid var(--ink); margin: 0 0 4mm; break-inside: avoid; }
.block div { padding: 1.4mm 2.2mm 1.6mm; border: 0.4pt solid var(--hair); }
.block .wide { grid-column: span 2; }
.block dt { font-size: 7.2pt; color: var(--soft); letter-spacing: 0.03em; }
.block dd { margin: 0; font-size: 10pt; font-weight: 600; overflow-wrap: anywhere; }
.block dd.crc { font: 700 17pt/1.15 "DejaVu Sans Mono", Menlo, Consolas, monospace; }
.open { border: 0.8pt solid var(--ink); padding: 2.4mm 3.4mm 1.4mm; margin: 0 0 3.5mm; font-size: 8.8pt; line-height: 1.4; }
.open h2 { border: 0; padding: 0; font-size: 9.4pt; margin: 0 0 1.2mm; }
.wrong { border-width: 3pt; border-style: double; }
.wrong li { font-weight: 700; }
nav { font-size: 8.8pt; columns: 3; column-gap: 6mm; margin: 0 0 3mm; }
nav ol { margin: 0; padding-left: 5.5mm; }
a { color: inherit; text-decoration-thickness: 0.4pt; text-underline-offset: 2pt; }
table { border-collapse: collapse; width: 100%; font-size: 8.4pt; line-height: 1.32; margin: 0 0 3.5mm; font-variant-numeric: tabular-nums; }
caption { text-align: left; font-weight: 700; font-size: 8.8pt; padding: 0 0 1.2mm; break-after: avoid; }
thead { display: table-header-group; }
thead th { border-bottom: 0.9pt solid var(--ink); font-size: 7.4pt; font-weight: 400; color: var(--soft); vertical-align: bottom; }
th, td { text-align: left; vertical-align: top; padding: 0.75mm 2.6mm 0.85mm 0; }
th:last-child, td:last-child { padding-right: 0; }
tbody th { font-weight: 600; }
tbody tr { border-bottom: 0.35pt solid #bbb; break-inside: avoid; }
tbody.group { break-inside: avoid; border-bottom: 0.8pt solid var(--soft); }
tbody.group tr { border-bottom-style: dotted; }
.places td, .places th { padding-right: 1.6mm; }
.places th:first-child[rowspan] { width: 42mm; }
small { font-size: 7pt; font-weight: 400; color: var(--soft); }
.number { text-align: right; white-space: nowrap; padding-right: 4mm; }
td strong { white-space: nowrap; }
.sums tbody tr:last-child > * { border-top: 0.9pt solid var(--ink); font-weight: 700; }
.none { font-weight: 700; font-style: italic; }
.tick { width: 12mm; text-align: center; }
.write { width: 34mm; }
.card td, .card th { padding-top: 1.3mm; padding-bottom: 1.5mm; }
.note { font-size: 9pt; color: #333; }
.notes { font-size: 9pt; }
svg.bar { display: block; width: 100%; max-width: 150mm; height: auto; font: 9px Arial, "Liberation Sans", sans-serif; margin: 0 0 1mm; }
.readout, .check table { break-inside: avoid; }
.limits > .note { break-after: avoid; }
.faces { display: grid; grid-template-columns: repeat(2, 1fr); gap: 3mm 5mm; }
figure { margin: 0 0 2mm; break-inside: avoid; }
figure img { display: block; width: 100%; height: auto; }
.faces img { border: 0.6pt solid var(--ink); image-rendering: pixelated; }
.plot img { max-width: 165mm; }
figcaption { font-size: 8pt; color: var(--soft); margin-top: 0.8mm; }
.placard { border: 1.4pt solid var(--ink); padding: 2.5mm 4mm; margin: 0 0 1mm; text-align: center; font: 700 11pt/1.3 "Helvetica Neue", Arial, "Liberation Sans", sans-serif; white-space: pre-line; break-inside: avoid; max-width: 100mm; }
.wording { white-space: pre-line; border-left: 1.6pt solid var(--ink); padding-left: 4mm; }
.sign { break-inside: avoid; margin: 0 0 5mm; }
.sign dl { display: grid; grid-template-columns: repeat(2, 1fr); gap: 8mm 8mm; margin: 7mm 0 0; }
.sign dl div { border-top: 0.7pt solid var(--ink); padding-top: 0.7mm; }
.sign dt { font: 7.6pt "Helvetica Neue", Arial, "Liberation Sans", sans-serif; color: var(--soft); }
.sign dd { margin: 0; }
pre { columns: 2; column-gap: 6mm; font: 6.7pt/1.3 "DejaVu Sans Mono", Menlo, Consolas, monospace; white-space: pre-wrap; overflow-wrap: anywhere; margin: 0 0 4mm; }
.mono { font-family: "DejaVu Sans Mono", Menlo, Consolas, monospace; font-size: 8pt; overflow-wrap: anywhere; }
footer { margin-top: 9mm; border-top: 0.5pt solid var(--hair); padding-top: 1.5mm; font: 8pt "Helvetica Neue", Arial, "Liberation Sans", sans-serif; color: var(--soft); }
@media screen and (max-width: 700px) { .block { grid-template-columns: repeat(2, 1fr); } nav { columns: 1; } table { display: block; overflow-x: auto; } }
@media print {
  html { background: none; }
  body { max-width: none; padding: 0; font-size: 10pt; }
  nav { break-inside: avoid; }
  .appendix { break-before: page; }
  .card, .signatures { break-before: page; }
  footer { display: none; }
}
"""

PAGES = """
@page { margin: 15mm 14mm 18mm 18mm;
  @bottom-left { content: "%s"; font: 7.6pt Arial, "Liberation Sans", sans-serif; color: #444; border-top: 0.4pt solid #888; padding-top: 1.5mm; width: 80%%; }
  @bottom-right { content: counter(page) " / " counter(pages); font: 7.6pt Arial, "Liberation Sans", sans-serif; color: #444; border-top: 0.4pt solid #888; padding-top: 1.5mm; width: 20%%; }
}
"""


def sheet(running: str) -> str:
    """running: what stands at the foot of every printed page."""
    return SHEET + PAGES % css_text(running)
