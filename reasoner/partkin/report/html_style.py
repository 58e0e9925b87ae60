"""The report's one style sheet: black on white, thin and thick rules, readable from 360 pixels to paper."""

from partkin.report.html_plan_style import PLAN_STYLE
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
.shared{position:absolute}
figure{margin:.8rem 0 1rem}
figure>svg{display:block;width:100%;height:auto}
figure .narrow{display:none}
.sheet{border:2px solid #111;max-width:760px}
.cells{border-top:1px solid #111;padding:.5rem .9rem .6rem;font-size:11px;line-height:1.3}
.cells p{margin:0 0 .5rem;color:#555;max-width:none}
.cells p b{display:block;color:#111;font-size:12px}
.cells ul{list-style:none;margin:0;padding:0;max-width:none;display:grid;gap:.5rem .3rem}
.cells ul{grid-template-columns:repeat(auto-fill,minmax(84px,1fr))}
.cells li{margin:0;text-align:center;min-width:0}
.cells li>*{display:block}
.cells li>b{font-size:11.5px;overflow-wrap:anywhere}
.cells .dw{width:80px;height:80px;margin:0 auto .2rem;border:1px solid #111}
.cells .off .dw{border-width:2px;margin-bottom:calc(.2rem - 1px)}
.cells .off span:last-child{font-weight:bold}
.cells .mark{display:inline;width:10px;height:10px;vertical-align:-1px}
.foot{border-top:1px solid #111;display:flex;align-items:flex-end}
.key{flex:1;padding:.5rem .9rem;font-size:11.5px;line-height:1.35;align-self:flex-start;min-width:0}
.key ul{list-style:none;margin:0 0 .3rem;padding:0;display:flex;flex-wrap:wrap;gap:.1rem 1rem}
.key li{margin:0;display:flex;align-items:center;gap:.4rem}
.key .dw{width:28px;height:18px;flex:none}
.key p{margin:.15rem 0}
.block{flex:none;width:330px;margin:0;display:grid;grid-template-columns:28fr 10fr 24fr 10fr 28fr;overflow:hidden}
.block{border:solid #111;border-width:2px 0 0 2px}
.block div{border:solid #111;border-width:1px 0 0 1px;margin:-1px 0 0 -1px;padding:.1rem .3rem .15rem;min-width:0}
.w100{grid-column:span 5}
.w62,.w44{grid-column:span 3}
.w38{grid-column:span 2}
.block dt{font-size:9px;color:#555;line-height:1.2}
.block dd{margin:0;font-size:12px;line-height:1.25;overflow-wrap:anywhere}
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
.donor::after{content:"";display:block;clear:both}
.donor .whole,.donor .beside{float:right;clear:right;width:calc(100% - 760px - 2.4rem)}
.donor .draw,.donor .measured{float:left;clear:left;width:760px}
.plain .whole,.plain .draw,.plain .beside,.plain .measured{float:none;width:auto}
.hosts{display:grid;grid-template-columns:repeat(2,minmax(0,1fr));column-gap:2.4rem}
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
figure .broad{display:none}
figure svg.narrow{display:block}
figure span.narrow{display:inline}
figure p.narrow{display:block}
.sheet{max-width:34rem}
.foot{display:block}
.block{width:auto;border-left:0}
}
@media print{
@page{size:A4;margin:12mm}
html{font-size:9.5pt}
body{font-size:1rem}
main,header,footer{max-width:none;padding:0}
header{padding-top:0}
section{margin-top:1.6rem}
.donor{break-before:page;margin-top:0}
figure,tr,.hold,li{break-inside:avoid}
h2,h3,caption,thead{break-after:avoid}
.sheet{max-width:none}
.sheet>svg{max-height:125mm}
.cells ul{grid-template-columns:repeat(auto-fill,minmax(74px,1fr))}
.cells .dw{width:70px;height:70px}
.hosts{columns:2;column-gap:2.4rem}
.hosts>div{break-inside:avoid}
.stack td,.stack tbody th{min-width:0}
.stack tbody th{width:17%}
.stack td.sketch{width:20mm}
td.sketch svg{width:18mm}
.stack td[data-l="To do"]{width:34%}
a{text-decoration:none}
th,td{padding-top:.12rem;padding-bottom:.12rem}
}
"""


def report_style() -> str:
    """Return the style sheet of the report with that of its drawings; free of `<` and `&`."""
    lines = [line.strip() for line in (_PAGE.replace("@FONT@", FONT) + PLAN_STYLE).splitlines()]
    return "".join(line for line in lines if line) + screen_style()
