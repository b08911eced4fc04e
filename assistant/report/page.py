"""A report page: one HTML file that needs nothing else, read by a customer, printed on one sheet of paper, or read out by a screen reader.

Everything that people said or typed is escaped, nothing on the page can run, and nothing is fetched.
"""

import html
import re
from collections.abc import Sequence
from urllib.parse import quote

from assistant.language import check_wording, verdict_wording
from assistant.language import page_wording as words
from assistant.measure.coil import Tap
from assistant.measure.parts import Judgement
from assistant.report.chart import NARROW, WIDE, Shape, chart
from assistant.report.lanes import Panel, check_panels, panels
from assistant.report.sheet import Sheet

PAPERS = ("A4", "letter")

_STYLE = """
:root{color-scheme:light}
body{font:1rem/1.45 "DejaVu Sans","Liberation Sans",Arial,sans-serif;color:#000;background:#fff;
max-width:64rem;margin:1.5rem auto;padding:0 1rem}
h1{font-size:1.5rem;margin:0}h2{font-size:1.05rem;margin:1.1rem 0 .3rem;border-bottom:1px solid #000}
h3{font-size:1rem;margin:.7rem 0 .2rem}
p,ul,ol,dl,figure{margin:.3rem 0}ul,ol{padding-left:1.4rem}
.say{font-size:1.15rem;font-weight:bold;border:2px solid #000;padding:.5rem .7rem}
.note{border-left:4px solid #000;padding-left:.6rem}
table{border-collapse:collapse;width:100%}caption{text-align:left;font-size:.9rem}
th,td{border:1px solid #555;padding:.2rem .45rem;text-align:left;vertical-align:top}thead th{background:#eee}
dl{display:grid;grid-template-columns:max-content 1fr;gap:.1rem .8rem}dt{font-weight:bold}dd{margin:0}
svg{width:100%;height:auto;font:12.5px "DejaVu Sans","Liberation Sans",Arial,sans-serif}
figcaption,footer,.small{font-size:.85rem}footer{border-top:1px solid #000;margin-top:1rem}
.wide{overflow-x:auto}.check svg{max-width:36rem}
@media(min-width:50rem),print{.columns{columns:2;column-gap:1.6rem}}
.columns{margin-top:.8rem}.columns>:first-child h2{margin-top:0}h2{break-after:avoid}li{break-inside:avoid}
@media print{
@page{margin:8mm 10mm}
body{font-size:7.4pt;line-height:1.2;max-width:none;margin:0;padding:0}
h1{font-size:12.5pt}h2{font-size:8.6pt;margin:3.5pt 0 1pt}h3{font-size:7.8pt;margin:2.5pt 0 1pt}p,ul,ol,dl,figure{margin:1pt 0}
.say{font-size:9.5pt;padding:3pt 5pt}th,td{padding:1pt 3pt}thead th{background:none}caption{font-size:7pt}
dl{display:block}dt,dd{display:inline}dt::after{content:": "}dd::after{content:". "}
footer,.small{font-size:7pt}footer,.columns{margin-top:3pt}svg{max-height:72mm;max-width:160mm}.check svg{max-width:84mm}
.screen,#verdict-title{display:none}.wide{overflow:visible}figure,tr{break-inside:avoid}
.checks{columns:2;column-gap:1.2rem;break-inside:avoid;font-size:6.5pt;line-height:1.15;margin-top:3pt}
.check:first-child h2{margin-top:0}.check h2{font-size:7.8pt}.check h3{font-size:6.8pt;margin:1.5pt 0 0}
.check .say{font-size:7.4pt;padding:1.5pt 4pt}.check caption{font-size:6.3pt}.check :is(th,td){padding:.3pt 2pt}
.check p,.check figure{margin:.5pt 0}.check .named{display:none}
.part{margin:1pt 0}.part :is(h3,ul,li){display:inline;margin:0;padding:0}.part h3::after{content:": "}
.part li+li::before{content:" • "}
}
"""

_POLICY = "default-src 'none'; style-src 'unsafe-inline'"


def page(sheet: Sheet, paper: str = "") -> str:
    """The whole page. `paper`, one of PAPERS, fixes the size of the sheet; without it whoever prints chooses."""
    title = words.heading(sheet.label, coil=sheet.coil)
    parts = (*(_main(sheet) if sheet.coil else ()), *_checks(sheet), _recordings(sheet))
    size = f"@page{{size:{paper}}}" if paper else ""
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{_text(title)}</title>\n<style>{_STYLE}{size}</style>\n</head>\n<body>\n"
        f"{_head(sheet, title)}\n<main>\n{''.join(parts)}</main>\n{_foot()}\n</body>\n</html>\n"
    )


_UNIT = re.compile(r"(?<=[0-9±]) (?=[kM]?Ω|[0-9]|°C|%)")


def _text(text: str) -> str:
    """Text as HTML; a number and its unit stay on one line."""
    return html.escape(_UNIT.sub("\u00a0", text))


def _head(sheet: Sheet, title: str) -> str:
    notes = "".join(f'<p class="note">{_text(note)}</p>' for note in sheet.notes)
    made_of = _text(words.recorded(sheet.started_at, sheet.folder))
    return f'<header>\n<h1>{_text(title)}</h1>\n<p class="small">{made_of}</p>{notes}\n</header>'


def _main(sheet: Sheet) -> tuple[str, ...]:
    verdict = sheet.verdict
    said = f'<p class="say">{_text(verdict_wording.say(verdict))}</p>'
    why = _section("why", words.WHY, _items("ul", verdict_wording.because(verdict)))
    not_proven = _section("not-proven", words.NOT_PROVEN, _items("ul", verdict_wording.unproven(verdict)))
    next_steps = _section("next", words.NEXT, _items("ol", verdict_wording.next_steps(verdict)))
    cautions = _section("cautions", words.CAUTIONS, _items("ul", verdict_wording.cautions(verdict)))
    facts = "".join(
        f"<dt>{_text(name)}</dt><dd>{_text(value)}</dd>" for name, value in words.test_facts(sheet.case, sheet.symptoms)
    )
    test = _section("test", words.TEST, f"<dl>{facts}</dl>")
    return (
        _section("verdict", words.VERDICT, said),
        _section("readings", words.READINGS, _readings(sheet)),
        _figure(sheet),
        _before(sheet),
        f'<div class="columns">{why}{not_proven}{next_steps}{cautions}</div>{test}\n',
        _doubt(sheet),
    )


def _foot() -> str:
    return f"<footer><p>{_text(words.FOOT)}</p></footer>"


def _section(name: str, title: str, body: str, kind: str = "") -> str:
    if not body:
        return ""
    classes = f' class="{kind}"' if kind else ""
    return f'<section aria-labelledby="{name}-title"{classes}><h2 id="{name}-title">{_text(title)}</h2>\n{body}</section>\n'


def _items(kind: str, texts: tuple[str, ...]) -> str:
    items = "".join(f"<li>{_text(text)}</li>" for text in texts)
    return f"<{kind}>{items}</{kind}>\n" if items else ""


def _table(caption: str, heads: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> str:
    """A table whose first column names its rows."""
    head = "".join(f'<th scope="col">{_text(text)}</th>' for text in heads)
    body = "".join(
        f'<tr><th scope="row">{_text(first)}</th>{"".join(f"<td>{_text(cell)}</td>" for cell in rest)}</tr>'
        for first, *rest in rows
    )
    # a wide table scrolls inside its own box on a narrow screen; the box takes the keyboard's focus for that
    return (
        f'<div class="wide" tabindex="0" role="group" aria-label="{_text(caption)}"><table>'
        f"<caption>{_text(caption)}</caption><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>\n"
    )


def _readings(sheet: Sheet) -> str:
    case = sheet.case
    rows = [(words.LEADS, words.showed(case.leads), "–", "–", words.NONE)]
    for tap in Tap:
        result = sheet.verdict.result(tap)
        before = words.attempts(case.attempts(tap))
        rows.append((words.NAMES[tap], words.showed(result.reading), words.value(result), result.kind.value, before))
    for tap, name in words.WARM.items():
        if hot := case.hot(tap):
            rows.append((name, words.showed(hot[-1]), words.warm_at(case), "–", words.attempts(hot)))
    return _table(words.READINGS_CAPTION, words.READING_HEADS, rows)


def _figure(sheet: Sheet) -> str:
    figure = _drawn(panels(sheet), "chart")
    return f'<section aria-labelledby="chart-title"><h2 id="chart-title">{words.CHART}</h2>\n{figure}</section>\n'


def _drawn(drawn: tuple[Panel, ...], name: str, shape: Shape = WIDE) -> str:
    """A chart and the same in words."""
    in_words = "".join(
        f"<p><strong>{_text(panel.title)}.</strong> {_text(' '.join(panel.in_words))}</p>" for panel in drawn
    )
    return (
        f"<figure>\n{chart(drawn, name, shape)}\n"
        f'<figcaption id="{name}-words" class="screen">{in_words}</figcaption>\n</figure>\n'
    )


def _before(sheet: Sheet) -> str:
    if not sheet.earlier and not sheet.earlier_left_out:
        return ""
    told = (words.earlier_rule(sheet.earlier), words.earlier_at(sheet.earlier)) if sheet.earlier else ()
    caption = " ".join(filter(None, (*told, sheet.earlier_left_out)))
    rows = [
        (
            words.NAMES[found.tap],
            words.earlier_count(found),
            words.about(found.median_ohm),
            words.earlier_span(found),
            words.earlier_now(found),
        )
        for found in sheet.earlier
    ]
    return _section("before", words.BEFORE, _table(caption, words.BEFORE_HEADS, rows))


def _doubt(sheet: Sheet) -> str:
    """The error budget: on the screen only, so that the sheet stays one."""
    rows = [
        (words.SHORT[tap], part.name, f"{part.u_ohm:.3g}")
        for tap in Tap
        if (measured := sheet.verdict.result(tap).measured) is not None
        for part in measured.parts
    ]
    table = _table(words.DOUBT_CAPTION, words.DOUBT_HEADS, rows) if rows else ""
    return _section("doubt", words.DOUBT, table, "screen")


def _checks(sheet: Sheet) -> tuple[str, ...]:
    """The checks beside the coil test, one after the other; printed in two columns, below the coil test or on the back."""
    made = "".join(
        _section(
            f"check-{judgement.check}",
            words.check_heading(judgement.title),
            f'<p class="say">{_text(check_wording.say(judgement))}</p>'
            + _check_readings(judgement)
            + _part(words.WHY, check_wording.because(judgement))
            + _part(words.NOT_PROVEN, check_wording.unproven(judgement))
            + _part(words.NEXT, check_wording.next_steps(judgement))
            + _part(words.CAUTIONS, check_wording.cautions(judgement)),
            "check",
        )
        for judgement in sheet.checks
    )
    return (f'<div class="checks">{made}</div>\n',) if made else ()


def _check_readings(judgement: Judgement) -> str:
    """What was read, as a table and a chart; sparks, which are no readings, as a list."""
    if not judgement.results:
        return _part(words.READINGS, check_wording.readings(judgement))
    name = f"chart-{judgement.check}"
    rows = [words.part_row(result) for result in judgement.results]
    table = _table(words.check_caption(judgement.title), words.CHECK_HEADS, rows)
    drawn = _drawn(check_panels(judgement), name, NARROW)
    # in print the caption and the names in the chart do for these two headings
    return (
        f'<h3 class="named">{_text(words.READINGS)}</h3>\n{table}'
        f'<h3 id="{name}-title" class="named">{_text(words.check_chart(judgement.title))}</h3>\n{drawn}'
    )


def _part(title: str, texts: tuple[str, ...]) -> str:
    return f'<div class="part"><h3>{_text(title)}</h3>\n{_items("ul", texts)}</div>\n' if texts else ""


def _recordings(sheet: Sheet) -> str:
    links = "".join(f'<li><a href="{_text(quote(name))}">{_text(name)}</a></li>' for name in sheet.recordings)
    return _section("recordings", words.RECORDINGS, f"<ul>{links}</ul>" if links else "", "screen")
