"""Colours and style sheet of papers. Dark on white: most are printed, many without colour."""

from __future__ import annotations

from acquire.reports.paper import Mark

INK = "#1d4e5f"
"""Of headings, rules and curves: a dark petrol that stays readable in grey."""

COLOUR = {
    Mark.PASS: "#1b5fa8",
    Mark.NEAR_PASS: "#1b5fa8",
    Mark.NEAR_FAIL: "#a63d00",
    Mark.FAIL: "#a63d00",
    Mark.ASKING: "#6b4f00",
}
"""Blue and dark orange, as on the bench: told apart by nearly all colour-blind eyes, and dark enough to read
(contrast with white above 4.5 : 1, WCAG 2.2, 1.4.3)."""

STYLE = """
*{box-sizing:border-box}
html{-webkit-print-color-adjust:exact;print-color-adjust:exact}
body{margin:0 auto;padding:8mm;max-width:196mm;background:#fff;color:#111;
 font:9pt/1.34 "DejaVu Sans","Liberation Sans",Arial,sans-serif;overflow-wrap:anywhere}
.shop{display:flex;gap:5mm;align-items:flex-start;border-bottom:.5mm solid #1d4e5f;padding-bottom:3mm}
.shop .logo{max-height:18mm;max-width:45mm}
.shop .who strong{font-size:12.5pt;color:#1d4e5f}
.shop .who div{font-size:8.6pt;color:#333}
.title{display:flex;flex-wrap:wrap;justify-content:space-between;align-items:baseline;margin:4mm 0 2mm}
h1{font-size:17pt;margin:0;color:#111;font-weight:600}
.title p{margin:0;font-size:9pt;color:#333}
h2{font-size:10.2pt;margin:3.8mm 0 1.4mm;color:#1d4e5f;border-bottom:.2mm solid #9fb6be;padding-bottom:.6mm;
 break-after:avoid}
p{margin:1.2mm 0;orphans:3;widows:3}
p.strong{font-weight:600}
p.small{font-size:8pt;color:#333}
p.caution{border:.3mm solid #111;border-left-width:1.6mm;padding:1.6mm 3mm;font-weight:600}
ul{margin:1mm 0;padding-left:4.5mm}
li{margin:.6mm 0}
.pairs{display:grid;grid-template-columns:1fr 1fr;gap:0 8mm;margin:0}
.pairs>div{display:grid;grid-template-columns:31mm 1fr;padding:.5mm 0;break-inside:avoid}
.pairs dt{color:#444}
.pairs dd{margin:0;min-width:0}
.finding{display:flex;gap:4mm;align-items:center;border:.3mm solid #999;border-left:2.4mm solid #1b5fa8;
 padding:3mm 4mm;margin:3mm 0;break-inside:avoid}
.finding.fail,.finding.near_fail{border-left-color:#a63d00}
.finding.asking{border-left-color:#6b4f00}
.finding strong{font-size:15pt;white-space:nowrap}
.finding .mark{width:8mm;height:8mm;flex:none}
table{width:100%;border-collapse:collapse;table-layout:fixed;margin:1mm 0 1.6mm;font-size:8pt;line-height:1.3}
thead{display:table-header-group}
th{text-align:left;font-weight:600;vertical-align:bottom;border-bottom:.35mm solid #1d4e5f;padding:.8mm 1.2mm}
td{vertical-align:top;border-bottom:.15mm solid #c9d3d7;padding:.7mm 1.1mm}
tr{break-inside:avoid}
.r{text-align:right}
.mark{width:3.1mm;height:3.1mm;vertical-align:-.5mm}
.scale{width:100%;height:4mm;display:block}
.plots{display:grid;grid-template-columns:1fr 1fr 1fr;gap:3mm 5mm}
.plots.four{grid-template-columns:1fr 1fr 1fr 1fr}
figure{margin:0;break-inside:avoid}
figcaption{font-size:7.4pt;line-height:1.25;margin-bottom:.8mm}
figure svg{width:100%;display:block}
.frame{stroke:#777;stroke-width:.8;fill:none}
.trace{stroke:#1d4e5f;stroke-width:1;fill:none;stroke-linejoin:round}
.dots{stroke:#1d4e5f;stroke-width:3;stroke-linecap:round}
.rest{stroke:#a63d00;stroke-width:.8;stroke-dasharray:4 3;fill:none}
.signing{margin:11mm 0 3mm;width:80mm;break-inside:avoid;break-after:avoid}
.signing .line{border-bottom:.3mm solid #111;margin-bottom:1mm}
.code{display:flex;gap:5mm;align-items:flex-start;margin:4mm 0;break-inside:avoid}
.code svg{width:30mm;height:30mm;flex:none}
.beside{font-size:8.2pt;min-width:0}
.beside div{margin-bottom:.8mm}
.end{text-align:center;letter-spacing:.08em;color:#333;margin-top:3mm;break-before:avoid}
@media screen and (max-width:150mm){.pairs,.plots,.plots.four{grid-template-columns:1fr}
 .finding{flex-wrap:wrap}.table{overflow-x:auto}.table table{min-width:165mm}}
@page{margin:15mm 15mm 18mm;@bottom-left{font:7.5pt "DejaVu Sans",Arial,sans-serif;color:#333}
 @bottom-right{font:7.5pt "DejaVu Sans",Arial,sans-serif;color:#333}}
@media print{body{padding:0;max-width:none}}
"""
