"""The report as everybody meets it: text stands out, names change nothing but themselves."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from synthetic_result import make_result
from synthetic_season import make_ledger

from evenacre.io.common.versions import versions
from evenacre.language import spoken
from evenacre.model import InputFile
from evenacre.model.finding import reader_findings
from evenacre.reports.column import Table
from evenacre.reports.pages.audit import document, render_operation, render_season
from evenacre.reports.pages.frame import templates
from evenacre.reports.pages.method import method_page
from evenacre.reports.quantities import Display
from evenacre.reports.tables.loads import BALANCES, LOADS
from evenacre.reports.tables.method import Method, Version, findings_told, meanings
from evenacre.reports.writers.as_html import PageTable
from evenacre.units.display import US

pytestmark = pytest.mark.browser

# WCAG 2.2, 1.4.3 (AA): relative luminance and ratio as defined there; large is 24 px, or 18.66 px
# and bold.
FAINT = """() => {
  const channel = (c) => (c /= 255) <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4;
  const luminance = ([r, g, b]) => 0.2126 * channel(r) + 0.7152 * channel(g) + 0.0722 * channel(b);
  const parts = (colour) => {
    const [r, g, b, a = 1] = colour.match(/[\\d.]+/g).map(Number);
    return [r, g, b, a];
  };
  const over = (top, below) => [0, 1, 2].map((i) => top[i] * top[3] + below[i] * (1 - top[3]));
  const behind = (element) => {
    const layers = [];
    for (let at = element; at; at = at.parentElement) {
      const colour = parts(getComputedStyle(at).backgroundColor);
      layers.push(colour);
      if (colour[3] === 1) break;
    }
    return layers.reverse().reduce((below, top) => over(top, below), [255, 255, 255]);
  };
  const found = {};
  let looked = 0;
  const look = (element, style, text) => {
    looked += 1;
    const below = behind(element);
    const [one, other] = [over(parts(style.color), below), below].map(luminance);
    const ratio = (Math.max(one, other) + 0.05) / (Math.min(one, other) + 0.05);
    const size = parseFloat(style.fontSize);
    const large = size >= 24 || (size >= 18.66 && Number(style.fontWeight) >= 700);
    if (ratio >= (large ? 3 : 4.5)) return;
    const name = `${element.tagName}.${element.className?.baseVal ?? element.className}`;
    found[`${name} ${style.color} on ${below.map(Math.round)}`] = [text.slice(0, 40), ratio];
  };
  for (const fold of document.querySelectorAll("details")) fold.open = true;
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const element = walker.currentNode.parentElement;
    const text = walker.currentNode.textContent.trim();
    if (text && element.checkVisibility({ visibilityProperty: true }))
      look(element, getComputedStyle(element), text);
  }
  for (const element of document.body.querySelectorAll("*"))
    for (const side of ["::before", "::after"]) {
      const style = getComputedStyle(element, side);
      if (/[^\\s"]/.test(style.content.replace(/^(none|normal)$/, "")) && element.checkVisibility())
        look(element, style, style.content);
    }
  return { looked, found };
}"""

NAMES = {
    "odd": "<script>hacked = 1</script><img src=x onerror='hacked=1'> \u202eback\u202c "
    "\u05d0\u05d1\u05d2 \u0627\u0644\u062d\u0642\u0644 \U0001f33d\U0001f468\u200d\U0001f33e",
    "long": "Field " + "x" * 294,
}
PLAIN = "Creek Forty"


def report(name: str = PLAIN) -> str:
    """The page of two jobs and a season, with one name for all that people name."""
    rendered = []
    for number, operation in enumerate((name, f"{name} 2"), 1):
        result = make_result(field=name, operation=operation)
        layers = dict(result.layers)
        layers["zones"] = layers["zones"].assign(zone=name)
        layers["setbacks"] = layers["setbacks"].assign(name=name)
        (product,) = result.products
        zones = tuple(replace(zone, zone=name) for zone in product.zones)
        setbacks = tuple(replace(setback, name=name) for setback in product.setbacks)
        spoiled = replace(
            result,
            layers=layers,
            products=(replace(product, product=name, zones=zones, setbacks=setbacks),),
            sources=(name,),
            findings=tuple(reader_findings([name], [name])),
        )
        rendered.append(render_operation(spoiled, US, key=f"op{number}"))
    inputs = [InputFile(f"{name}.csv", "ab" * 32)]
    return document(
        rendered,
        farm=name,
        inputs=inputs,
        warnings=[name],
        costs=["$413"] * 2,
        season=render_season(make_ledger(), US),
    )


def method(name: str = PLAIN) -> str:
    result = make_result(field=name, operation=name)
    told = Method(
        command=("audit", f"{name}.toml"),
        inputs=[InputFile(f"{name}.csv", "ab" * 32, 1234)],
        settings=[],
        findings=findings_told([result], reader_findings([name], [name])),
        versions=[Version(*one) for one in versions().items()],
        figures=meanings(Display(US)),
    )
    return method_page(told, Display(US), farm=name)


@pytest.fixture(scope="module")
def plain() -> str:
    return report()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_text_stands_out(open_page: Any, plain: str, scheme: str) -> None:
    for text, least in ((plain, 500), (method(), 200)):
        tab = open_page(text, scheme=scheme)
        seen = tab.evaluate(FAINT)
        assert seen["looked"] > least
        assert seen["found"] == {}


def test_a_faint_text_is_found(open_page: Any) -> None:
    """#777 on white has 4.48 (WCAG 2.2, understanding 1.4.3), #767676 4.54."""
    tab = open_page(
        "<!DOCTYPE html><p style='color: #777; background: #fff'>a</p>"
        "<p style='color: #767676; background: #fff'>b</p>"
        "<p style='color: #777; background: #fff; font-size: 24px'>c</p>"
    )
    (found,) = tab.evaluate(FAINT)["found"].values()
    assert found[0] == "a"
    assert found[1] == pytest.approx(4.48, abs=0.005)


BUILT = """() => {
  for (const fold of document.querySelectorAll("details")) fold.open = true;
  const left = (e) => Math.round(e.getBoundingClientRect().left);
  return {
    tags: [...document.querySelectorAll("body *")].map((e) => e.tagName).join(" "),
    wide: document.documentElement.scrollWidth,
    heads: [...document.querySelectorAll("h1, h3, .card, .map-frame, .legend")].map(left),
    figures: [...document.querySelectorAll(".figure, .headline")].map((e) => e.textContent),
    hacked: window.hacked ?? null,
  };
}"""


def test_a_name_changes_nothing_but_the_text(open_page: Any, plain: str) -> None:
    def built(text: str) -> list[dict[str, Any]]:
        """As it is opened on a phone, and then has the room of a table and of paper."""
        tab, found = open_page(text, width=360), []
        for width, media in ((360, "screen"), (1280, "screen"), (718, "print")):
            tab.set_viewport_size({"width": width, "height": 900})
            tab.emulate_media(media=media)
            found.append(tab.evaluate(BUILT))
        tab.close()
        return found

    for page, usual in ((report, plain), (method, method())):
        expected = built(usual)
        assert [one["wide"] for one in expected[:2]] == [360, 1280]
        for name in NAMES.values():
            found = built(page(name))
            assert {one["hacked"] for one in found} == {None}
            assert found == expected


@pytest.mark.parametrize("language", ["en", "es"])
def test_tables_fit_a_desktop(open_page: Any, language: str) -> None:
    with spoken(language):
        tab = open_page(report(), width=1280)
    found = tab.evaluate(
        """() => {
          for (const fold of document.querySelectorAll("details")) fold.open = true;
          return [...document.querySelectorAll(".table")].map(
            (e) => [e.getAttribute("aria-label"), e.scrollWidth - e.clientWidth]);
        }"""
    )
    assert len(found) > 10
    assert [one for one in found if one[1] > 0] == []


BROKEN = """() => {
  for (const fold of document.querySelectorAll("details")) fold.open = true;
  const broken = [], range = document.createRange();
  let looked = 0;
  for (const part of document.querySelectorAll(".table :is(th, td), .legend label:not([hidden])")) {
    const walker = document.createTreeWalker(part, NodeFilter.SHOW_TEXT);
    while (walker.nextNode())
      for (const { 0: word, index } of walker.currentNode.textContent.matchAll(/[^\\s/-]{2,20}/g)) {
        range.setStart(walker.currentNode, index);
        range.setEnd(walker.currentNode, index + word.length);
        const lines = new Set([...range.getClientRects()].map((line) => Math.round(line.top)));
        looked += 1;
        if (lines.size > 1) broken.push(`${word} in ${part.textContent.trim().slice(0, 60)}`);
      }
  }
  const wide = [...document.querySelectorAll("table")].map(
    (e) => [e.parentElement.getAttribute("aria-label"), e.scrollWidth - document.body.clientWidth]);
  return { broken, looked, wide: wide.filter(([, over]) => over > 0) };
}"""


@pytest.mark.parametrize("language", ["en", "es"])
def test_no_word_is_broken_on_paper(open_page: Any, language: str) -> None:
    """At the width that the margins leave of A4, and the little more of Letter."""
    with spoken(language):
        tab = open_page(report(), width=703)
    tab.emulate_media(media="print")
    found = tab.evaluate(BROKEN)
    assert found["looked"] > 300
    assert (found["broken"], found["wide"]) == ([], [])


@pytest.mark.parametrize("table", [LOADS, BALANCES], ids=["loads", "balance"])
def test_loads_fit_a_phone(open_page: Any, plain: str, table: Table) -> None:
    head = tuple(column.heading(Display(US)) for column in table.of("page"))
    row = ("together", "-12.3 %, disagree", *["12,345 to 12,456 lb"] * (len(head) - 2))
    shown = PageTable("Loads", head, [row], stacked=table.stacked)
    show = '{% from "table.html.j2" import show %}{{ show(table) }}'
    html = templates().from_string(show).render(table=shown)
    tab = open_page(plain.replace("</main>", f"<div id='loads'>{html}</div></main>"), width=360)
    wide, room = tab.evaluate(
        "(({scrollWidth, clientWidth}) => [scrollWidth, clientWidth])"
        "(document.querySelector('#loads .table'))"
    )
    assert wide <= room
    cells = tab.locator("#loads td")
    assert cells.count() == len(head) - 1
    named = cells.evaluate_all("all => all.map((td) => getComputedStyle(td, '::before').content)")
    assert named == [f'"{name}"' for name in head[1:]]
