"""How a report looks: one style sheet for a screen and for A4 paper."""

from __future__ import annotations

STYLE = """
:root { color-scheme: light; }
* { box-sizing: border-box; }
html { font-size: 15px; }
body { margin: 0; background: #fff; color: #1a1a1a; font: 1rem/1.45 system-ui, "DejaVu Sans", sans-serif; }
main { max-width: 60rem; margin: 0 auto; padding: 1.2rem 1rem 3rem; }
h1 { font-size: 1.6rem; line-height: 1.2; margin: .2rem 0; }
h2 { font-size: 1.15rem; margin: 1.8rem 0 .5rem; border-bottom: 2px solid #1a1a1a; break-after: avoid; }
h3 { font-size: 1rem; margin: 1rem 0 .3rem; break-after: avoid; }
p { margin: .4rem 0; }
.sub, .small, .none { color: #4a473d; }
.small { font-size: .86rem; }
.caution { border-left: 4px solid #b37400; padding-left: .6rem; font-size: .86rem; }
.invented { border: 2px dashed #b34700; padding: .2rem .6rem; font-weight: 700; letter-spacing: .03em; }
.glance { display: grid; grid-template-columns: repeat(auto-fit, minmax(12rem, 1fr)); gap: .6rem; margin: 1rem 0; }
.glance > div { border: 1px solid #8c8777; padding: .5rem .7rem; break-inside: avoid; }
.glance span { display: block; color: #4a473d; font-size: .82rem; }
.glance b { font-size: 1.05rem; font-weight: 650; }
table { width: 100%; border-collapse: collapse; margin: .4rem 0; font-variant-numeric: tabular-nums; }
th, td { text-align: left; vertical-align: top; padding: .22rem .8rem .22rem 0; border-bottom: 1px solid #ddd8c8; }
td, .pairs th { overflow-wrap: anywhere; }
thead { display: table-header-group; }
thead th { font-size: .82rem; font-weight: 600; color: #4a473d; border-bottom: 1px solid #8c8777; }
.pairs th { width: 15rem; font-weight: 400; color: #4a473d; }
.lines { font-size: .88rem; }
.whole { white-space: nowrap; }
.lines td:first-child { width: 4.5rem; }
.lines td:nth-child(2) { width: 7rem; }
tr, figure { break-inside: avoid; }
.bar { display: block; width: 10rem; max-width: 100%; height: .7rem; margin-top: .35rem; border: 1px solid #8c8777; }
.bar span { display: block; height: 100%; background: #0072b2; print-color-adjust: exact; }
figure { margin: .6rem 0; }
svg { width: 100%; height: auto; display: block; print-color-adjust: exact; }
svg text { font: 11px system-ui, "DejaVu Sans", sans-serif; fill: #1a1a1a; }
svg text { paint-order: stroke; stroke: #fff; stroke-width: 2.5px; }
svg text.t { font-weight: 600; font-size: 12px; }
pre { white-space: pre-wrap; overflow-wrap: anywhere; font-size: .78rem; border: 1px solid #ddd8c8; padding: .6rem; }
code { overflow-wrap: anywhere; }
@media screen { section { overflow-x: auto; } }
@media screen and (max-width: 640px) {
  figure { overflow-x: auto; }
  svg { min-width: 36rem; }
  table:not(.lines):not(.pairs) thead { display: none; }
  table:not(.lines):not(.pairs) :is(tbody, tr, td) { display: block; border: 0; padding: 0; }
  table:not(.lines):not(.pairs) tr { border-bottom: 1px solid #8c8777; padding: .3rem 0; }
  table:not(.lines):not(.pairs) td:empty { display: none; }
  table:not(.lines):not(.pairs) td:not([data-name=""])::before { content: attr(data-name) ": "; color: #4a473d; }
}
@page { size: A4; margin: 14mm 13mm; }
@media print {
  html { font-size: 9pt; }
  main { max-width: none; padding: 0; }
  .glance { grid-template-columns: repeat(4, 1fr); gap: 2mm; }
  .glance b { font-size: 1rem; }
}
"""
