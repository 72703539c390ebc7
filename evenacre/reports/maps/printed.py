"""Maps to print: what was covered, and each product's rate, as PNG and SVG."""

from __future__ import annotations

from itertools import product as product_of
from typing import Any

import numpy as np
import shapely

from evenacre.arrays import FloatArray
from evenacre.geo.overlay import along
from evenacre.io.writers.file_names import unique_slugs
from evenacre.language import mark, tr, trn
from evenacre.model.audit_result import AuditResult, ProductResult
from evenacre.reports.figure_text import told_rate
from evenacre.reports.maps import sheet
from evenacre.reports.maps.marks import FLAG, MARKS, STAFF, marks_told
from evenacre.reports.maps.rates import RATE_CLASSES, rate_words
from evenacre.reports.printed_ground import PrintedGround
from evenacre.reports.sentences.fix_list import stops
from evenacre.units.display import UnitSystem

_GROUNDS = {
    mark("not to be worked"): {**sheet.UNWORKABLE, "edgecolor": "#77716a"},
    mark("covered once"): sheet.ground(sheet.ONCE),
    mark("covered twice"): sheet.ground(sheet.TWICE, "#7a4a00", hatch="////"),
    mark("three times or more"): sheet.ground(sheet.MORE, "white", hatch="xxxx"),
    mark("worked outside"): sheet.ground("none", sheet.OUTSIDE, 0.6, hatch="oo"),
    mark("missed (numbered)"): sheet.ground(sheet.SKIP, sheet.SKIP, 0.8),
    mark("gap in the log: look first"): sheet.ground(
        "white", sheet.SKIP, 0.8, hatch="----", linestyle="dashed"
    ),
}
_POINTS = 0.55  # a pixel of a mark on a whole page
_CLEAR = 2.0  # pixels between marks
_STAFFS = (STAFF, 30.0, 52.0)
_ALWAYS = 3  # the largest places are marked whatever lies below their staffs


def static_maps(result: AuditResult, units: UnitSystem) -> dict[str, bytes]:
    """Draw the cover map and one rate map a product, each as PNG and as SVG, by file name.

    Where gaps between passes cannot be told, the cover map shows the passes as lines, and there
    are no maps of rates.
    """
    if not result.tells_places:
        return _files("cover", _passes_map(result, units))
    maps = _files("cover", cover_map(result, units))
    names = unique_slugs(p.product for p in result.products)
    for product, name in zip(result.products, names, strict=True):
        maps |= _files(f"rate_{name}", rate_map(result, product, units))
    return maps


def _files(stem: str, drawn: sheet.Drawn) -> dict[str, bytes]:
    return {f"{stem}.png": drawn.png, f"{stem}.svg": drawn.svg}


def map_beside_figures(result: AuditResult, units: UnitSystem) -> sheet.Drawn:
    """Draw the cover map, or that of passes, without a title and for part of a page."""
    draw = cover_map if result.tells_places else _passes_map
    return draw(result, units, sheet.BESIDE_FIGURES)


def cover_map(
    result: AuditResult, units: UnitSystem, format: sheet.Format = sheet.WHOLE_PAGE
) -> sheet.Drawn:
    """Draw ground covered once, twice, three times and more, missed and outside."""
    made = sheet.blank(result, f"{result.field}: {result.operation}", units, format)
    cover, skips, outside = (result.layers[name] for name in ("cover", "skips", "outside"))
    unlogged = skips["kind"] == "no log"
    frames = (
        result.layers["unworkable"],
        *(cover[cover["cover"] == times] for times in (1, 2, 3)),
        outside if result.boundary_given else outside.iloc[:0],
        skips[~unlogged],
        skips[unlogged],
    )
    for (label, style), frame in zip(_GROUNDS.items(), frames, strict=True):
        made.fill(frame.geometry, tr(label), **style)
    parts = shapely.get_parts(result.layers["headland"].geometry.to_numpy())
    inner = [ring for part in parts for ring in part.interiors]
    dashed: Any = {"color": sheet.HEADLAND, "linestyle": "dashed", "linewidth": 1.0}
    made.draw(inner, tr("headland line"), 2, **dashed)
    _setbacks(made, result)
    _mark(made, result)
    return made.drawn(_described(result, units))


def _passes_map(
    result: AuditResult, units: UnitSystem, format: sheet.Format = sheet.WHOLE_PAGE
) -> sheet.Drawn:
    """Draw where the machine drove, and what is bare for sure."""
    made = sheet.blank(result, f"{result.field}: {result.operation}", units, format)
    skips, passes = result.layers["skips"], result.layers["passes"]
    for label, ground in (
        (mark("not to be worked"), result.layers["unworkable"]),
        (mark("missed (numbered)"), skips),
    ):
        made.fill(ground.geometry, tr(label), **_GROUNDS[label])
    style: Any = {"linestyle": "solid", "color": "#1f4e3d", "linewidth": 0.9}
    made.draw(passes.geometry, tr("passes"), 4, **style)
    _setbacks(made, result)
    _mark(made, result)
    return made.drawn(_described(result, units))


def _setbacks(made: sheet.Sheet, result: AuditResult) -> None:
    """Draw how far setbacks reach, as far as the map does."""
    lines = result.layers["setbacks"].geometry.boundary.to_numpy()
    field = shapely.box(*result.layers["field"].total_bounds)
    within = shapely.get_parts(shapely.line_merge(along(lines, field)))
    style: Any = {"color": sheet.SETBACK, "linestyle": "dashdot", "linewidth": 1.2}
    made.draw(within[~shapely.is_empty(within)], tr("setbacks"), 4.5, **style)


def rate_map(
    result: AuditResult,
    product: ProductResult,
    units: UnitSystem,
    format: sheet.Format = sheet.WHOLE_PAGE,
) -> sheet.Drawn:
    """Draw a product's rate in classes about its target, or about its mean without one."""
    middle = product.middle_kg_per_m2
    word = tr("target") if product.target_kg_per_m2 else tr("mean")
    rate = told_rate(middle, units) if product.target_kg_per_m2 else units.rate.text(middle)
    title = f"{result.field}: {product.product}, {word} {rate}"
    made = sheet.blank(result, title, units, format)
    nothing: dict[str, Any] = {"facecolor": sheet.NOTHING, "edgecolor": sheet.NOTHING}
    for layer, order, width in (("field", 0, 0.0), ("skips", 3, 1.2)):
        made.fill(result.layers[layer].geometry, order=order, linewidth=width, **nothing)
    made.legend.append(made.patch(tr("nothing applied"), **nothing))
    ground = product.rate_ground
    words = rate_words(product, units) if len(ground) else []
    for kind, (style, name) in enumerate(zip(RATE_CLASSES, words, strict=bool(words))):
        drawn: dict[str, Any] = {"facecolor": style.colour, "hatch": style.hatch}
        drawn["edgecolor"] = style.ink
        made.fill(ground.geometry[ground["kind"] == kind], order=1 + kind / 10, **drawn)
        made.legend.append(made.patch(name, linewidth=0.4, **drawn))
    about = tr(
        "Map, north up: rate of {product} in classes about its {word}.",
        product=product.product,
        word=word,
    )
    return made.drawn(about, min(2, format.columns))


def _described(result: AuditResult, units: UnitSystem) -> str:
    """What a map of the ground says to who cannot see it."""
    if not result.tells_places:
        return tr("Map, north up: where the machine drove, and what was missed for sure.")
    printed = PrintedGround(result, units)
    return tr(
        "Map, north up: {covered} covered, {missed} missed, {twice} covered twice or more.",
        covered=printed.text("covered_area_m2"),
        missed=printed.text("skip_area_m2"),
        twice=printed.text("overlap_area_m2"),
    )


def _mark(made: sheet.Sheet, result: AuditResult) -> None:
    """Set the marks of places, the largest first, where they are clear of one another."""
    frame = stops(result)
    frame = frame.sort_values("area_m2", ascending=False, kind="stable")
    scale = _POINTS * made.format.points / sheet.WHOLE_PAGE.points
    # Marks are set with heights counted upward, from the upper edge of the sheet.
    places = made.in_points(frame[["x_m", "y_m"]].to_numpy(float)) * (1, -1) / scale
    left, top, right, bottom = made.room
    room = np.array([left, -bottom, right, -top]) / scale
    taken, staffs = np.empty((0, 4)), np.empty((0, 4))
    left_out = 0
    for rank, (stop, place) in enumerate(zip(frame.itertuples(), places, strict=True)):
        m, text = MARKS[stop.standing], str(stop.skip)
        way = _free(m.width(text), place, room, taken, staffs)
        if way is None and rank < _ALWAYS:
            way = _free(m.width(text), place, room, taken)
        if way is None:
            left_out += 1
            continue
        side, up, staff = way
        box, foot = _boxes(m.width(text), place, way)
        taken, staffs = np.vstack([taken, box]), np.vstack([staffs, foot])
        corners = [(x * side, (y - STAFF + staff) * up) for x, y in m.corners(text)]
        made.flag(
            place * scale * (1, -1), corners, m, scale, m.writing(text), m.across(text) * side
        )
    told = set(frame["standing"])
    for standing, words in marks_told(told):
        made.legend.append(sheet.mark_entry(MARKS[standing], words, made.points))
    if left_out:
        label = trn(
            "{count} smaller place not marked", "{count} smaller places not marked", left_out
        )
        made.legend.append(sheet.Entry(label))


_Way = tuple[int, int, float]
"""To the right (1) or left (-1) of the staff, up or down, and how long the staff is."""


def _boxes(wide: float, place: FloatArray, way: _Way) -> tuple[FloatArray, FloatArray]:
    """Left, bottom, right and top of a flag and of its staff."""
    right, up, staff = way
    x, y = np.sort([0.0, wide * right]), np.sort([staff * up, (staff + FLAG) * up])
    foot = np.sort([0.0, staff * up])
    flag = np.array([x[0], y[0], x[1], y[1]]) + np.tile(place, 2)
    return flag, np.array([-1.0, foot[0], 1.0, foot[1]]) + np.tile(place, 2)


def _free(
    wide: float,
    place: FloatArray,
    room: FloatArray,
    taken: FloatArray,
    staffs: FloatArray | None = None,
) -> _Way | None:
    """First way to set a flag in which it lies on no other and, where given, no staff, or None."""

    def clear(box: FloatArray, others: FloatArray) -> bool:
        low = box[:2] - _CLEAR < others[:, 2:]
        return not (low & (others[:, :2] - _CLEAR < box[2:])).all(axis=1).any()

    for staff, up, right in product_of(_STAFFS, (1, -1), (1, -1)):
        flag, foot = _boxes(wide, place, (right, up, staff))
        inside = (flag[:2] >= room[:2]).all() and (flag[2:] <= room[2:]).all()
        free = inside and clear(flag, taken)
        if free and (staffs is None or (clear(flag, staffs) and clear(foot, taken))):
            return right, up, staff
    return None
