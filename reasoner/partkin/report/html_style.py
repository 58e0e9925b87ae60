"""The report's one style sheet: black on white, thin and thick rules, readable from 360 pixels to paper."""

from partkin.report.svg import FONT, screen_style

_PAGE = """
:root{color-scheme:light}
*{box-sizing:border-box}
html{-webkit-text-size-adjust:100%;text-size-adjust:100%}
body{margin:0;background:#fff;color:#111;font:16px/1.45 @FONT@;overflow-wrap:break-word}
.long{overflow-wrap:anywhere}
main,header,footer{max-width:64rem;margin:0 auto;padding:0 1rem}
header{padding-top:1.6rem}
h1{font-size:1.7rem;line-height:1.2;margin:0 0 .3rem}
h2{font-size:1.3rem;line-height:1.25;margin:0 0 .6rem;padding-top:.7rem;border-top:3px solid #111}
h3{font-size:1rem;margin:1.5rem 0 .4rem}
p{margin:.4rem 0;max-width:44rem}
section{margin-top:2.4rem}
a{color:#111;text-underline-offset:2px}
a:focus-visible{outline:3px solid #0072B2;outline-offset:2px}
ul,ol{margin:.3rem 0;padding-left:1.4rem;max-width:46rem}
li{margin:.25rem 0}
small,.soft{color:#555;font-size:.875rem}
.verdict{font-size:1.25rem;font-weight:bold;display:flex;align-items:center;gap:.5rem;margin:.2rem 0}
.mark{width:1.05em;height:1.05em;flex:none;vertical-align:-.15em}
.said{font-size:1.0625rem}
table{border-collapse:collapse;width:100%;font-size:.9375rem;font-variant-numeric:tabular-nums}
table{margin:1.3rem 0 1rem}
.stack{margin-top:.4rem}
.stack thead th{white-space:normal}
.stack tbody th{min-width:7.5rem}
.stack td{min-width:6.5rem}
.stack td.n{min-width:0}
caption{text-align:left;font-weight:bold;font-size:1rem;padding:0 0 .35rem}
th,td{text-align:left;vertical-align:top;padding:.3rem .6rem .3rem 0;border-bottom:1px solid #999}
thead th{white-space:nowrap;border-bottom:2px solid #111;font-weight:normal;color:#555}
thead th{font-size:.8125rem;vertical-align:bottom}
tbody th{font-weight:bold}
td.n,th.n{text-align:right;padding-right:1rem;white-space:nowrap}
td .why{display:block;color:#555;font-size:.8125rem}
td.sketch{width:128px}
td.sketch svg{display:block;width:120px;height:auto}
figure{margin:.8rem 0 1rem}
figure svg{display:block;width:100%;height:auto;max-width:760px}
figure svg.narrow{display:none}
.hold{border:1px solid #111;border-left-width:6px;padding:.5rem .8rem;margin:.6rem 0;max-width:46rem}
.hold b{display:block}
.id{font-weight:bold}
.reasons{list-style:none;padding:0}
.nowrap{white-space:nowrap}
.n .long{white-space:normal}
.keys{display:flex;flex-wrap:wrap;gap:.2rem 1.4rem;padding:0;list-style:none;max-width:none}
footer{margin-top:3rem;padding-bottom:2rem}
footer p{border-top:1px solid #111;padding-top:.6rem}
@media (min-width:1240px){
main,header,footer{max-width:82rem}
.donor{display:grid;grid-template-columns:minmax(0,760px) minmax(0,1fr);column-gap:2.4rem;align-items:start}
.donor{grid-template-rows:auto auto 1fr}
.donor h2{grid-column:1/-1}
.donor .whole{grid-column:2;grid-row:2}
.donor .draw{grid-column:1;grid-row:2/span 2}
.donor .beside{grid-column:2;grid-row:3}
.draw figure{margin-top:.2rem}
}
@media (max-width:1000px){
td.sketch{width:92px}
td.sketch svg{width:86px}
.stack td.n{padding-right:.7rem}
.stack td{min-width:5.6rem}
}
@media (max-width:719px){
body{font-size:15px}
main,header,footer{padding:0 .6rem}
h1{font-size:1.4rem}
th,td{padding-right:.35rem}
td.n,th.n{padding-right:.5rem}
.stack,.stack caption,.stack tbody,.stack tr,.stack td,.stack th{display:block;width:auto;min-width:0}
.stack td.none{display:none}
.stack thead{position:absolute;width:1px;height:1px;overflow:hidden;clip-path:inset(50%)}
.stack tr{border-bottom:2px solid #111;padding:.4rem 0}
.stack td,.stack th{border:0;padding:.1rem 0;white-space:normal}
.stack td.n{text-align:left}
.stack td[data-l]::before{content:attr(data-l) ": ";color:#555}
.stack td.sketch{width:auto}
}
@media (max-width:599px){
figure svg.broad{display:none}
figure svg.narrow{display:block;max-width:34rem}
}
@media print{
@page{size:A4;margin:12mm}
body{font-size:9.5pt}
main,header,footer{max-width:none;padding:0}
.donor{display:block;break-before:page}
figure,tr,.hold,li{break-inside:avoid}
h2,h3,caption,thead{break-after:avoid}
figure svg.broad{display:block;max-width:none;max-height:230mm}
figure svg.narrow{display:none}
a{text-decoration:none}
th,td{padding-top:.12rem;padding-bottom:.12rem}
}
"""


def report_style() -> str:
    """Return the style sheet of the report with that of its drawings; free of `<` and `&`."""
    lines = [line.strip() for line in _PAGE.replace("@FONT@", FONT).splitlines()]
    return "".join(line for line in lines if line) + screen_style()
