"""The sheet's style and fonts: one page of A4 or letter, black on white, nothing fetched from anywhere."""

from __future__ import annotations

import base64
from functools import cache
from importlib.resources import files

WEIGHTS = (400, 600, 800)

# The page is laid out for the narrower of the two papers (A4, 210 mm) and the shorter (letter, 279.4 mm).
WIDTH_PX = 711
HEIGHT_PX = 986  # 279.4 mm less two margins of 9 mm, at 96 px an inch


def font_bytes(weight: int) -> bytes:
    return (files("dashboard.assets") / "fonts" / f"atkinson-hyperlegible-next-{weight}.woff2").read_bytes()


@cache
def font_faces() -> str:
    """The bundled face as data, so that the sheet is one file."""
    out = []
    for weight in WEIGHTS:
        data = base64.b64encode(font_bytes(weight)).decode("ascii")
        out.append(
            "@font-face{font-family:'Atkinson Hyperlegible Next';font-style:normal;"
            f"font-weight:{weight};src:url(data:font/woff2;base64,{data}) format('woff2')}}"
        )
    return "".join(out)


STYLE = """
@page{margin:9mm 11mm}
*{box-sizing:border-box}
:root{color-scheme:light}
html{background:#fff;color:#000;-webkit-print-color-adjust:exact;print-color-adjust:exact}
body{margin:0 auto;width:711px;font:400 12.5px/17px 'Atkinson Hyperlegible Next',system-ui,sans-serif;
font-variant-numeric:tabular-nums}
p,h1,h2,dl,dd,ul,table{margin:0;padding:0}
svg{display:block;max-width:100%;height:auto}
.top{display:flex;justify-content:space-between;align-items:baseline;border-bottom:3px solid #000;padding-bottom:5px}
.top b{font-size:14px;font-weight:800}
.who{display:flex;border-bottom:1px solid #000;margin:0}
.who div{padding:4px 10px 5px;border-left:1px solid #b8b8b8;min-width:0;flex:none}
.who div.cut{flex:0 1 auto}
.who div:first-child{padding-left:0;border-left:0}
.who div:last-child{flex:1 0 auto}
.who dt{font-size:11.5px;line-height:15px;color:#333}
.who dd{font-weight:600;white-space:nowrap;overflow:hidden;text-overflow:ellipsis}
.verdict{display:flex;gap:18px;padding:6px 0;border-bottom:1px solid #000;align-items:center}
.word{width:128px;flex:none}
.word h1{font-size:40px;line-height:40px;font-weight:800;white-space:nowrap}
.word.long h1{font-size:28px;line-height:32px}
.word .rests-on{font-size:13px;font-weight:600}
.say{flex:1;font-size:17px;line-height:22px;min-width:0}
.say.small-say{font-size:13px;line-height:16.5px}
.say p{padding:1px 12px}
.say .what{font-weight:600}
.say .do{font-weight:600;padding:5px 12px;margin-top:4px;background:#000;color:#fff;border:2px solid #000}
.say .do.calm{background:#fff;color:#000}
.chain{display:flex;gap:10px;padding:4px 0 5px;border-bottom:1px solid #000;list-style:none;margin:0}
.chain li{flex:1;min-width:0}
.chain .t{display:flex;gap:6px;align-items:center}
.chain span{display:block;font-size:12px;line-height:15px}
.chain .t,.chain .w{font-weight:600}
h2{font-size:14px;line-height:18px;font-weight:800;margin:7px 0 3px}
.two{display:flex;gap:26px}
.two>div{flex:1;min-width:0}
.two>div.fig{flex:none;width:310px}
table{border-collapse:collapse;width:100%}
th{font-weight:400;font-size:11.5px;line-height:15px;text-align:left;border-bottom:1px solid #000;
padding:1px 4px 2px 0}
td{padding:2px 4px 2px 0;border-bottom:1px solid #b8b8b8;vertical-align:middle}
.r{text-align:right;white-space:nowrap}
.margins td{height:20px;padding-top:0;padding-bottom:0;line-height:16px;white-space:nowrap;overflow:hidden;
text-overflow:ellipsis}
.margins{table-layout:fixed;width:711px}
.margins td.bar{padding:0;overflow:visible}
.margins .at{padding-left:82px}
.margins .word{width:auto;padding-left:8px}
.margins .v{display:flex;gap:5px;align-items:center;font-weight:600}
.b{font-weight:600}
.small{font-size:11.5px;line-height:15px}
.list{list-style:none;padding:0}
.list li{padding-left:22px;position:relative;line-height:15px;margin:2px 0}
.list svg{position:absolute;left:0;top:0}
.foot{display:flex;gap:26px;border-top:3px solid #000;margin-top:7px;padding-top:5px}
.foot p:first-child{flex-grow:1.5}
.foot p{flex:1 1 0;font-size:11.5px;line-height:14.5px;min-width:0;overflow-wrap:anywhere}
"""
