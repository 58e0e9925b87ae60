"""What only the plans of taking apart need of the style sheet: lists to tick, labels to cut out."""

PLAN_STYLE = """
.ticks{list-style:none;padding:0;max-width:none}
.ticks li{margin:0;padding:.32rem 0;border-bottom:1px solid #bbb;break-inside:avoid}
.ticks label{display:grid;grid-template-columns:1.3rem 2rem minmax(0,1fr);gap:.2rem .5rem;align-items:start}
.ticks.bare label{grid-template-columns:1.3rem minmax(0,1fr)}
.ticks .no{text-align:right;font-weight:bold;font-variant-numeric:tabular-nums}
ul.ticks input[type=checkbox]{appearance:none;margin:.12rem 0 0;padding:0;width:1.15rem;height:1.15rem;background:#fff}
ul.ticks input[type=checkbox]{border:1.5px solid #111;border-radius:0;print-color-adjust:exact}
ul.ticks input:checked{background:linear-gradient(45deg,transparent 44%,#111 44%,#111 56%,transparent 56%),
linear-gradient(-45deg,transparent 44%,#111 44%,#111 56%,transparent 56%)}
ul.ticks input:focus-visible{outline:3px solid #0072B2;outline-offset:2px}
.ticks input:checked~.what{color:#555;text-decoration:line-through}
.ticks .also{display:block;margin:.15rem 0 0 4.3rem;font-size:.875rem;color:#333}
.ticks.bare .also{margin-left:1.8rem}
.ticks .take-care{border-left:4px solid #111;padding-left:.5rem;color:#111}
.plan h4{font-size:.9375rem;margin:1rem 0 .1rem;border-bottom:2px solid #111}
.labels{list-style:none;padding:0;max-width:none;display:grid;gap:0;grid-template-columns:repeat(auto-fill,minmax(15rem,1fr))}
.labels li{margin:-1px 0 0 -1px;border:1px dashed #111;padding:.5rem .7rem;font-size:.875rem;break-inside:avoid}
.labels b{display:block;font-size:1.125rem}
.labels li{display:flex;flex-direction:column}
.left-of-it{font-weight:bold}
.plan pre{white-space:pre-wrap;overflow-wrap:anywhere;font-size:.8125rem;line-height:1.4;margin:.6rem 0}
.scripted #keep{display:none}
@media (min-width:1000px){
.sides{display:grid;grid-template-columns:minmax(0,1fr) minmax(0,1fr);column-gap:2.4rem}
}
@media print{
.plan{break-before:page}
h4{break-after:avoid}
.ticks li{padding:.2rem 0}
#ticks{display:block}
#ticks button{display:none}
.labels{grid-template-columns:repeat(3,1fr)}
}
"""
