"""How the report looks: one palette for page and figures, one style sheet.

Figures name their colours by role, `var(--ink)`; the page's script puts the values in,
so that one figure serves light, dark and paper. There is a single accent: it means
"look here", and always comes with a symbol, a width and a word.
"""

from typing import Any, Final

LIGHT: Final = {
    "--paper": "#fbfaf7",
    "--card": "#ffffff",
    "--ink": "#1d2126",
    "--soft": "#5a626b",
    "--line": "#d8d6cf",
    "--faint": "#8d949b",
    "--accent": "#a8430c",
    "--wash": "#f4e3d6",
}
DARK: Final = {
    "--paper": "#14171a",
    "--card": "#1b1f23",
    "--ink": "#eceae4",
    "--soft": "#aab2ba",
    "--line": "#363c42",
    "--faint": "#7d868e",
    "--accent": "#ff8f43",
    "--wash": "#3a2a1d",
}
PRINT: Final = LIGHT | {"--paper": "#ffffff", "--ink": "#000000", "--soft": "#333333"}

INK, SOFT, LINE, FAINT, ACCENT, WASH, CARD = (
    f"var(--{role})" for role in ("ink", "soft", "line", "faint", "accent", "wash", "card")
)

FONT: Final = "system-ui, 'Segoe UI', Roboto, 'Noto Sans', 'DejaVu Sans', sans-serif"


BARE: Final = {"layout": {"hovermode": "closest"}}
"""Our template. An empty one, or none, would bring plotly's own: 7 kB a figure."""

AXIS: Final[dict[str, Any]] = {
    "showgrid": False,
    "gridcolor": LINE,
    "zeroline": False,
    "linecolor": LINE,
    "tickcolor": LINE,
    "ticks": "outside",
    "ticklen": 4,
    "fixedrange": True,
}
"""Ground of every axis: drags on a phone scroll the page, they do not zoom."""


def layout(**more: Any) -> dict[str, Any]:
    """Ground of every figure: no frame, no legend, nothing that the page does not say."""
    ground = {
        "template": BARE,
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"family": FONT, "size": 12, "color": SOFT},
        "hoverlabel": {"bgcolor": CARD, "bordercolor": INK, "font": {"color": INK, "size": 14}},
        "showlegend": False,
        "dragmode": False,
    }
    return {**ground, **more}


def variables(palette: dict[str, str]) -> str:
    """Write a palette as CSS custom properties."""
    return "".join(f"{name}:{colour};" for name, colour in palette.items())


STYLE: Final = (
    ":root{color-scheme:light dark;" + variables(LIGHT) + "}"
    "@media (prefers-color-scheme:dark){:root{"
    + variables(DARK)
    + "}}"
    + """
*{box-sizing:border-box}
html{-webkit-text-size-adjust:100%;overflow-wrap:anywhere}
body{margin:0;background:var(--paper);color:var(--ink);line-height:1.5;
 font:400 1.0625rem/1.5 """
    + FONT
    + """;font-variant-numeric:tabular-nums}
.wrap{max-width:76rem;margin:0 auto;padding:1.5rem clamp(.75rem,3vw,2.5rem) 4rem}
.eyebrow{margin:0;color:var(--soft);font-size:.95rem}
h1{font-size:clamp(1.55rem,1.1rem + 2.2vw,2.6rem);line-height:1.2;font-weight:650;
 letter-spacing:-.012em;margin:.4rem 0 .9rem;max-width:34ch;text-wrap:balance}
h2{font-size:1.35rem;font-weight:650;line-height:1.25;margin:3.2rem 0 .3rem;
 padding-top:1rem;border-top:2px solid var(--ink)}
h3{font-size:1.05rem;font-weight:650;margin:1.6rem 0 .3rem}
p{margin:.4rem 0;max-width:68ch}
.note{color:var(--soft);font-size:.95rem}
.caution{border-left:5px solid var(--accent);padding:.15rem 0 .15rem .8rem;max-width:68ch}
.claim{font-size:1.125rem;max-width:60ch}
dl.facts{display:grid;grid-template-columns:repeat(auto-fill,minmax(min(11rem,42%),1fr));
 gap:.8rem 1.6rem;margin:1.4rem 0}
dl.facts div{min-width:0}
dt{color:var(--soft);font-size:.875rem}
dd{margin:0;font-weight:550}
ul.look{list-style:none;padding:0;margin:.8rem 0}
ul.look li{display:grid;grid-template-columns:4.2rem 1fr;gap:0 .8rem;padding:.6rem 0;
 border-bottom:1px solid var(--line)}
ul.look b{font-size:1.35rem;line-height:1.2;color:var(--accent)}
ul.look b::before{content:"\\25C6\\00a0";font-size:.7em}
.split{display:grid;gap:1rem 2.5rem}
figure{margin:0;min-width:0}
.plot{width:100%;min-height:4rem}
.legend{list-style:none;padding:0;margin:.6rem 0;display:grid;gap:.55rem}
.legend li{display:grid;grid-template-columns:3.4rem 1fr;gap:.8rem;align-items:center}
.legend svg{width:3.4rem;height:1.4rem;display:block}
.grid{display:grid;grid-template-columns:repeat(auto-fill,minmax(10.2rem,1fr));
 gap:.6rem;margin:1rem 0;grid-auto-flow:dense}
.cell{background:var(--card);border:1px solid var(--line);border-radius:6px;
 padding:.35rem .4rem .2rem;position:relative}
.cell figcaption{display:flex;gap:.5rem;align-items:baseline;justify-content:space-between;
 font-size:.875rem;color:var(--soft)}
.cell figcaption b{color:var(--ink);font-size:1.05rem;white-space:nowrap}
.cell button{all:unset;position:absolute;inset:0;cursor:zoom-in;border-radius:6px}
.cell button:focus-visible{outline:3px solid var(--accent)}
.cell .said{display:none}
.cell.large{grid-column:1/-1}
.cell.large button{inset:auto .4rem auto auto;top:2rem;cursor:zoom-out;padding:.2rem .7rem;
 border:1px solid var(--soft);background:var(--card);z-index:2;font-size:.9rem}
.cell.large button::after{content:"smaller"}
.cell.large .said{display:block}
.cell.look{border:2px solid var(--accent)}
.cell.void{border-style:dashed}
.cell.void figcaption b{text-decoration:line-through}
.scroll{overflow-x:auto;max-width:100%;margin:1rem 0;border:1px solid var(--line);
 border-radius:6px;background:var(--card)}
table{border-collapse:collapse;width:100%;font-size:.86rem;overflow-wrap:normal}
th,td{padding:.4rem .42rem;text-align:right;vertical-align:top;white-space:nowrap;
 border-bottom:1px solid var(--line)}
thead th{color:var(--soft);font-weight:550;vertical-align:bottom;white-space:normal;
 font-size:.8125rem}
th:first-child,td:first-child,.text,thead th:last-child{text-align:left}
.plain thead th:last-child{text-align:right}
.text{white-space:normal;min-width:9rem}
.long{min-width:10rem;width:24%}
tbody th{position:sticky;left:0;background:var(--card);font-weight:650}
tr.look th,tr.look td{background:var(--wash)}
tr.void td,tr.superseded td{color:var(--soft)}
tr:last-child th,tr:last-child td{border-bottom:0}
.plain table{width:auto;min-width:min(100%,34rem)}
footer{margin-top:3rem;padding-top:1rem;border-top:1px solid var(--line);color:var(--soft);
 font-size:.9rem}
@media (min-width:60rem){.split{grid-template-columns:minmax(0,38rem) minmax(0,1fr)}}
@page{margin:13mm}
@media print{
 :root{color-scheme:light;"""
    + variables(PRINT)
    + """}
 html{font-size:9.5pt} body{font-size:1rem;background:#fff;color:#000}
 .wrap{max-width:none;padding:0}
 h1{font-size:19pt;max-width:none} h2{font-size:13pt;margin-top:7mm}
 h2,h3,h2+p,h2+p+p{break-after:avoid}
 .claim{font-size:11pt}
 dl.facts{grid-template-columns:repeat(4,1fr);gap:2mm 5mm;margin:4mm 0}
 .split{grid-template-columns:370px 1fr;gap:0 5mm} .split p{font-size:.95rem}
 .grid{grid-template-columns:repeat(4,1fr);gap:2mm}
 .cell,.cell.large{grid-column:auto;padding:1px 2px;font-size:9pt}
 .cell.large .said{display:none}
 .cell button,.screen{display:none}
 .cell,figure,li,tr,dl.facts div,.keep{break-inside:avoid}
 .scroll{overflow:visible;border:0;margin:2mm 0}
 table{font-size:7.2pt} thead{display:table-header-group}
 th,td{padding:.6mm .8mm} thead th{font-size:6.6pt}
 tbody th{position:static;background:none}
 .text{min-width:0} .long{min-width:8rem;width:26%}
 tr.look th,tr.look td{background:none;font-weight:700}
}
"""
)
