"""The shot sheet's look: calm, black on white, two A4 pages; one column on a phone, dark on a dark phone."""

from __future__ import annotations

STYLE = """
:root {
  --ink: #14161a; --quiet: #545a64; --rule: #c3c7ce; --paper: #ffffff; --plate: #ffffff;
  --sun: #a65a00; --moon: #35587f; --alert: #9a2415;
  --phase0: #ffffff; --phase1: #eff1f5; --phase2: #e0e4eb; --phase3: #d1d7e1; --phase4: #c0c8d5;
  --subject: #3c424c; --foreground: #878e99; --background: #d0d4db; --ridge: #dde1e7;
  --water: #e4edf3; --ground: #f1efea;
}
@media screen and (prefers-color-scheme: dark) {
  :root {
    --ink: #ece8e1; --quiet: #a9adb5; --rule: #41464f; --paper: #101215; --plate: #101215;
    --sun: #f2ac50; --moon: #93b5de; --alert: #f39482;
    --phase0: #2a2f37; --phase1: #23272f; --phase2: #1c2027; --phase3: #16191f; --phase4: #0c0e12;
    --subject: #d9d6cf; --foreground: #8b929d; --background: #424954; --ridge: #2f353e;
    --water: #1a2630; --ground: #1a1b1d;
  }
}
@page { size: A4; margin: 10mm 11mm; }
* { box-sizing: border-box; }
html { -webkit-text-size-adjust: 100%; background: var(--paper); }
body {
  margin: 0 auto; padding: 10mm 11mm; max-width: 210mm; color: var(--ink); background: var(--paper);
  font: 8.2pt/1.31 system-ui, sans-serif; font-variant-numeric: tabular-nums;
}
h1 { font-size: 19pt; line-height: 1.12; margin: 0; font-weight: 700; letter-spacing: -0.01em; }
h2 { font-size: 10pt; line-height: 1.2; margin: 0 0 1.2mm; font-weight: 700; }
p, ul, ol, dl, dd, figure { margin: 0; padding: 0; }
ul, ol { list-style: none; }
small, .quiet { color: var(--quiet); font-size: inherit; }
section { break-inside: avoid; }
.page + .page { margin-top: 12mm; }
.head { display: flex; justify-content: space-between; gap: 6mm; align-items: baseline; }
.head .day { text-align: right; white-space: nowrap; font-size: 11pt; font-weight: 700; }
.head .day small { display: block; font-weight: 400; font-size: 8.2pt; }
.reason { font-size: 10pt; margin-top: 1.2mm; }
.facts { margin-top: 1mm; color: var(--quiet); }
.notes { margin-top: 0.8mm; }
.folio {
  display: flex; justify-content: space-between; gap: 6mm; color: var(--quiet);
  border-bottom: 0.25mm solid var(--ink); padding-bottom: 1mm; margin-bottom: 3mm;
}

.times { display: grid; grid-auto-flow: column; grid-auto-columns: 1fr; margin-top: 3mm;
  border-top: 0.5mm solid var(--ink); border-bottom: 0.25mm solid var(--rule); }
.times li { padding: 1.6mm 2mm 1.6mm 0; }
.times li + li { border-left: 0.25mm solid var(--rule); padding-left: 2mm; }
.times .what { font-weight: 700; font-size: 9pt; line-height: 1.2; }
.times time { display: block; font-size: 19pt; font-weight: 700; line-height: 1.15;
  letter-spacing: -0.02em; }
.times time small { font-size: 9pt; letter-spacing: 0; font-weight: 400; }
.times .note { color: var(--quiet); font-size: 7.5pt; line-height: 1.25; }
.times .event .what, .times .event time { color: var(--sun); }
.later { margin: 1mm 0 0; }
.later b { font-weight: 600; }

.strip { display: grid; grid-template-columns: repeat(4, 1fr); gap: 2.5mm; margin-top: 3mm; }
.strip figure { min-width: 0; }
.strip img, .strip svg { display: block; width: 100%; height: auto; max-height: 26.5mm; object-fit: contain; }
.strip img { object-position: left; }
.strip figcaption { margin-top: 0.6mm; font-size: 7.5pt; line-height: 1.25; }
.chart { margin-top: 2.5mm; }
.chart svg, .map svg { display: block; width: 100%; height: auto; }
.narrow { display: none; }
.columns { display: grid; gap: 6mm; margin-top: 3mm; align-items: start; }
.two { grid-template-columns: 1fr 1fr; }
.poses { grid-template-columns: 2fr 3fr; gap: 5mm; }
.pose-table .seconds { display: none; }
.maps { grid-template-columns: 112fr 70fr; gap: 5mm; margin-top: 0; }
.stack > * + * { margin-top: 3mm; }

table { border-collapse: collapse; width: 100%; }
.under { color: var(--quiet); padding-top: 0.8mm; font-size: 7.5pt; line-height: 1.25; }
th { font-weight: 400; color: var(--quiet); text-align: right; vertical-align: bottom; line-height: 1.15;
  padding: 0 0 0.5mm 2mm; border-bottom: 0.25mm solid var(--ink); }
td { text-align: right; padding: 0.38mm 0 0.38mm 2mm; border-bottom: 0.18mm solid var(--rule);
  white-space: nowrap; }
th:first-child, td:first-child { text-align: left; padding-left: 0; }
td.words, th.words { text-align: left; white-space: normal; }
tr.check td { color: var(--quiet); }
tr.main td { font-weight: 700; }
.split { display: grid; grid-template-columns: 1fr 1fr; gap: 4mm; }
.exposure-table td, .exposure-table th { padding-left: 1.3mm; }
.pose-table td, .pose-table th { padding-left: 1.5mm; }
.exposure-table td:first-child, .exposure-table th:first-child { padding-left: 0; }
.pose-table td:first-child, .pose-table th:first-child { padding-left: 0; }
.split table { align-self: start; }

.findings li { padding: 0.6mm 0 0.6mm 11mm; position: relative; line-height: 1.28; }
.findings b { position: absolute; left: 0; }
.findings .stop b { color: var(--alert); }
.findings .fix { color: var(--quiet); }
.items li { padding: 0.55mm 0 0.55mm 5mm; position: relative; line-height: 1.26; }
.items li::before { content: ""; position: absolute; left: 0; top: 1.05mm; width: 2.7mm; height: 2.7mm;
  border: 0.25mm solid var(--ink); border-radius: 0.4mm; }
.plain li { padding: 0.4mm 0 0.4mm 3.2mm; position: relative; line-height: 1.28; }
.plain li::before { content: "–"; position: absolute; left: 0; }
.care { border-top: 0.5mm solid var(--alert); padding-top: 1.2mm; }
.care h2 { color: var(--alert); }

svg text { fill: var(--ink); font-family: inherit; }
svg .tb { font-weight: 700; } svg .tq { fill: var(--quiet); } svg .ts { fill: var(--sun); }
svg .tm { fill: var(--moon); }
svg .halo { paint-order: stroke; stroke: var(--plate); stroke-width: 1; stroke-linejoin: round; }
.chart svg .halo { stroke: none; }
.phase0 { fill: var(--phase0); } .phase1 { fill: var(--phase1); } .phase2 { fill: var(--phase2); }
.phase3 { fill: var(--phase3); } .phase4 { fill: var(--phase4); }
.edge { fill: none; stroke: var(--quiet); stroke-width: 0.25; }
.grid, .minor, .horizon, .event, .stroke, .dashed, .dotted, .sun, .moon, .ray, .scale, .travel, .rail,
.field-edge {
  fill: none; stroke-linejoin: round; stroke-linecap: butt; }
.grid { stroke: var(--rule); stroke-width: 0.15; }
.minor { stroke: var(--quiet); stroke-width: 0.2; stroke-dasharray: 0.8 0.8; }
.horizon { stroke: var(--ink); stroke-width: 0.22; }
.event { stroke: var(--sun); stroke-width: 0.4; }
.stroke { stroke: var(--ink); stroke-width: 0.5; }
.dashed { stroke: var(--ink); stroke-width: 0.32; stroke-dasharray: 1.4 0.9; }
.dotted { stroke: var(--ink); stroke-width: 0.55; stroke-dasharray: 0.15 1.1; stroke-linecap: round; }
.sun { stroke: var(--sun); stroke-width: 0.75; } .moon { stroke: var(--moon); stroke-width: 0.6; }
.ray { stroke-width: 0.3; stroke-dasharray: 1.6 0.8; }
.sun-mark { fill: var(--sun); stroke: none; } .moon-mark { fill: var(--moon); stroke: none; }
.sun-mark.below, .moon-mark.below { fill: var(--plate); stroke-width: 0.35; }
.sun-mark.below { stroke: var(--sun); } .moon-mark.below { stroke: var(--moon); }
.sheet-ground { fill: var(--plate); } .plate { fill: var(--plate); opacity: 0.85; }
.block { stroke: var(--plate); stroke-width: 0.15; stroke-linejoin: round; }
.face { stroke-width: 0.12; stroke-linejoin: round; } .shade { fill: #000000; opacity: 0.16; }
.face.subject { stroke: var(--subject); } .face.foreground { stroke: var(--foreground); }
.face.background { stroke: var(--background); } .face.ridge { stroke: var(--ridge); }
.face.water { stroke: var(--water); } .face.ground { stroke: var(--ground); }
.subject { fill: var(--subject); } .foreground { fill: var(--foreground); }
.background { fill: var(--background); }
.ridge { fill: var(--ridge); } .water { fill: var(--water); } .ground { fill: var(--ground); }
.field { fill: var(--ink); opacity: 0.045; }
.field-edge { stroke: var(--ink); stroke-width: 0.28; } .field-edge.end { stroke-dasharray: 1.6 1; }
.rail { stroke: var(--quiet); stroke-width: 1.5; } .travel { stroke: var(--ink); stroke-width: 1.5; }
.camera { fill: var(--plate); stroke: var(--ink); stroke-width: 0.5; } .camera.start { fill: var(--ink); }
.scale { stroke: var(--ink); stroke-width: 0.35; } .arrow { fill: var(--ink); }

.paper-only { display: none; }
@media print {
  html, body { background: #ffffff; }
  body { padding: 0; max-width: none; -webkit-print-color-adjust: exact; print-color-adjust: exact; }
  .page + .page { margin-top: 0; break-before: page; }
  .screen-only { display: none !important; }
  .paper-only { display: block; }
  .clamp1, .clamp2, .clamp3 { display: -webkit-box; -webkit-box-orient: vertical; overflow: hidden; }
  .clamp1 { -webkit-line-clamp: 1; } .clamp2 { -webkit-line-clamp: 2; } .clamp3 { -webkit-line-clamp: 3; }
}
@media screen and (max-width: 760px) {
  body { padding: 18px 16px 40px; font-size: 16px; line-height: 1.4; }
  h1 { font-size: 26px; } h2 { font-size: 19px; margin-bottom: 6px; }
  .head { display: block; } .head .day { text-align: left; font-size: 18px; margin-top: 4px;
    white-space: normal; }
  .head .day small, .facts, .notes, .later { font-size: 15px; }
  .reason { font-size: 17px; margin-top: 8px; } .facts, .notes { margin-top: 8px; }
  .folio { display: none; }
  .times { grid-auto-flow: row; margin-top: 14px; }
  .times li { display: grid; grid-template-columns: 112px 1fr; column-gap: 14px; padding: 9px 0; }
  .times li + li { border-left: 0; padding-left: 0; border-top: 1px solid var(--rule); }
  .times time { font-size: 36px; grid-row: 1 / 3; line-height: 1.1; align-self: center; }
  .times time small { font-size: 15px; display: block; line-height: 1; margin-top: 2px; }
  .times .what { font-size: 18px; align-self: end; } .times .note { font-size: 14px; }
  .times li > .note:empty { display: none; }
  .later { margin-top: 10px; }
  .strip { grid-template-columns: 1fr; gap: 14px; margin-top: 20px; }
  .strip img, .strip svg { max-height: 80vh; }
  .strip figcaption { font-size: 14px; margin-top: 4px; }
  .wide { display: none; } .narrow { display: block; }
  .columns, .two, .poses, .maps { grid-template-columns: minmax(0, 1fr); gap: 26px; margin-top: 26px; }
  .stack > * + * { margin-top: 26px; } .page + .page { margin-top: 26px; }
  .split { grid-template-columns: 1fr; gap: 0; } .split table + table thead { display: none; }
  table { font-size: 15px; } .under { font-size: 14px; padding-top: 5px; }
  .pose-table, .sky-table { font-size: 13.5px; }
  .pose-table td, .pose-table th, .sky-table td, .sky-table th { padding-left: 4px; }
  .seconds { display: none; }
  td { padding: 5px 0 5px 8px; border-bottom-width: 1px; }
  th { padding: 0 0 3px 8px; border-bottom-width: 1px; }
  .scroll { overflow-x: auto; }
  .findings li { padding: 8px 0 8px 0; } .findings b { position: static; display: block; }
  .items li { padding: 6px 0 6px 28px; }
  .items li::before { width: 16px; height: 16px; top: 9px; border-width: 1px; }
  .plain li { padding: 4px 0 4px 16px; }
  .care { border-top-width: 3px; padding-top: 8px; }
}
"""
