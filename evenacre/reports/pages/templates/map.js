"use strict";

/* Draws each map from the data beside it. Texts are set as text, never as markup. */
const evenacre = (() => {
  const LARGEST = 5; // places that no label of another lies over
  const ALWAYS = 3; // that are marked whatever lies below their staffs
  const LONG_STAFFS = [30, 52];
  const GAP = 3; // pixels between labels
  const SVG = "http://www.w3.org/2000/svg";
  const still = matchMedia("(prefers-reduced-motion: reduce)").matches;
  const maps = {};
  const waiting = new Map();

  function make(tag, text, parent) {
    const element = document.createElement(tag);
    if (text) element.textContent = text;
    if (parent) parent.append(element);
    return element;
  }

  function drawn(tag, attributes, parent) {
    const element = document.createElementNS(SVG, tag);
    for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
    parent.append(element);
    return element;
  }

  /* The scale counts in feet and miles in English whatever the page speaks. */
  function scaleOf(map) {
    const { feet, miles } = document.body.dataset;
    const scale = L.control.scale().addTo(map);
    const rename = () => {
      for (const line of scale.getContainer().children)
        line.textContent = line.textContent.replace(/ ft$/, ` ${feet}`).replace(/ mi$/, ` ${miles}`);
    };
    map.whenReady(rename);
    map.on("move", rename);
  }

  /* A chain holds its first point and then steps, in 1e-7 degree from the origin. */
  function chain(flat, origin) {
    const points = [];
    let x = 0;
    let y = 0;
    for (let i = 0; i < flat.length; i += 2) {
      x += flat[i];
      y += flat[i + 1];
      points.push([origin[1] + y / 1e7, origin[0] + x / 1e7]);
    }
    return points;
  }

  function apart(box, others) {
    return others.every((other) => box[2] + GAP < other[0] || other[2] + GAP < box[0]
      || box[3] + GAP < other[1] || other[3] + GAP < box[1]);
  }

  /* A flag on a staff; `way` turns it to either side of the place, up or down, and lengthens it. */
  class Flag {
    constructor(marks, item) {
      const [height, staff, letter, room] = marks.size;
      this.mark = marks[item.m];
      this.height = height;
      this.staff = staff;
      this.writing = this.mark.asks ? `${item.n}?` : item.n;
      this.across = letter * this.writing.length + room;
      this.wide = Math.max(...this.mark.outline.map(([share, reach]) => this.x(share, reach)));
      this.ways = [staff, ...LONG_STAFFS].flatMap((long) =>
        [[1, 1], [-1, 1], [1, -1], [-1, -1]].map(([right, up]) => ({ right, up, long })));
    }

    x(share, reach) {
      return share * this.across + reach;
    }

    box(way) {
      const near = way.long * way.up;
      const far = (way.long + this.height) * way.up;
      const aside = this.wide * way.right;
      return [Math.min(0, aside), Math.min(-near, -far), Math.max(0, aside), Math.max(-near, -far)];
    }

    foot(way) {
      return [-1, Math.min(0, -way.long * way.up), 1, Math.max(0, -way.long * way.up)];
    }

    set(way, element) {
      const [left, top, right, bottom] = this.box(way);
      const edge = 2;
      const frame = [left - edge, Math.min(top, 0) - edge, right + edge, Math.max(bottom, 0) + edge];
      const svg = document.createElementNS(SVG, "svg");
      svg.setAttribute("viewBox", `${frame[0]} ${frame[1]} ${frame[2] - frame[0]} ${frame[3] - frame[1]}`);
      svg.style.cssText = `left:${frame[0]}px;top:${frame[1]}px;`
        + `width:${frame[2] - frame[0]}px;height:${frame[3] - frame[1]}px`;
      const { mark } = this;
      const y = (high) => -(way.long + high * this.height) * way.up;
      const corners = mark.outline.map(([share, reach, high]) =>
        `${this.x(share, reach) * way.right} ${y(high)}`);
      const staff = `M0 0V${y(1)}`;
      const flag = `M${corners.join("L")}Z`;
      drawn("path", { d: staff + flag, class: "halo" }, svg);
      drawn("path", { d: staff, stroke: mark.edge, "stroke-width": 2 }, svg);
      drawn("path", {
        d: flag,
        fill: mark.fill,
        stroke: mark.edge,
        "stroke-width": 1.5,
        ...(mark.dashed ? { "stroke-dasharray": "4 2.5" } : {}),
      }, svg);
      drawn("text", {
        x: this.across / 2 * way.right,
        y: y(0.5) + 5,
        fill: mark.ink,
        "text-anchor": "middle",
      }, svg).textContent = this.writing;
      element.replaceChildren(svg);
    }
  }

  /* A name at a place: in the middle of it, or a little off. */
  class Name {
    constructor(element) {
      this.element = element;
      this.ways = [[0, 0], [0, -0.8], [0, 0.8], [-0.6, 0], [0.6, 0]];
    }

    box([x, y]) {
      const wide = this.element.offsetWidth;
      const tall = this.element.offsetHeight;
      return [(x - 0.5) * wide, (y - 0.5) * tall, (x + 0.5) * wide, (y + 0.5) * tall];
    }

    foot() {
      return [Infinity, Infinity, -Infinity, -Infinity]; // none
    }

    set([x, y]) {
      this.element.style.transform = `translate(${(x - 0.5) * 100}%, ${(y - 0.5) * 100}%)`;
    }
  }

  class PageMap {
    constructor(key, section = document.getElementById(key)) {
      this.section = section;
      section.querySelector(".details").replaceChildren(section.querySelector(".details .hint"));
      this.data = JSON.parse(document.getElementById(`${key}-data`).textContent);
      this.details = this.section.querySelector(".details");
      this.hint = this.details.querySelector(".hint");
      this.hint.hidden = false;
      this.stops = {};
      this.labels = [];
      this.groups = {};
      this.undrawn = {};
      this.box = L.latLngBounds(this.data.bounds);
      this.map = L.map(this.section.querySelector(".map"), {
        zoomControl: false,
        maxZoom: 24, // about a centimetre a pixel
        zoomSnap: 0.25,
        scrollWheelZoom: false,
        fadeAnimation: false,
        zoomAnimation: !still,
      });
      scaleOf(this.map);
      L.control.zoom({
        position: "bottomright",
        zoomInTitle: document.body.dataset.zoomIn,
        zoomOutTitle: document.body.dataset.zoomOut,
      }).addTo(this.map);
      this.map.attributionControl.setPrefix('<a href="https://leafletjs.com">Leaflet</a>');
      this.map.createPane("labels").style.zIndex = 640;
      for (const layer of this.data.layers) {
        this.groups[layer.key] = L.featureGroup();
        this.undrawn[layer.key] = layer;
        const pane = this.map.createPane(layer.key);
        pane.style.zIndex = 400 + Object.keys(this.map.getPanes()).length;
      }
      this.hidden = make("p", "", this.map.getContainer());
      this.hidden.className = "hidden-places";
      this.hidden.setAttribute("aria-live", "polite");
      this.whole();
      this.map.setMaxBounds(this.box.pad(2));
      this.listen();
      evenacre.replay?.(this);
    }

    /* Clear of the scale below and the zoom buttons at the right. */
    whole(fit = { paddingTopLeft: [16, 34], paddingBottomRight: [60, 40] }) {
      this.map.fitBounds(this.box, { ...fit, animate: false });
    }

    listen() {
      const { map, section } = this;
      const frame = map.getContainer();
      map.on("moveend zoomend resize", () => this.arrange());
      map.on("focus click", () => map.scrollWheelZoom.enable());
      map.on("blur", () => map.scrollWheelZoom.disable());
      frame.addEventListener("keydown", (event) => {
        if (event.key === "Escape") this.tell(null);
      });
      section.querySelector(".legend").addEventListener("change", () => this.choose());
      this.choose();
      section.querySelector("button[data-whole]").addEventListener("click", () => {
        this.tell(null);
        frame.scrollIntoView({ block: "center" });
        this.whole();
      });
    }

    /* Shows what is ticked and of the view that is chosen. */
    choose() {
      const view = this.section.querySelector("input[data-view]:checked")?.dataset.view;
      for (const tick of this.section.querySelectorAll("input[data-layer]")) {
        const key = tick.dataset.layer;
        const there = !view || !tick.dataset.of || tick.dataset.of === view;
        tick.parentNode.hidden = !there;
        if (there && tick.checked) {
          if (this.undrawn[key]) this.draw(this.undrawn[key]);
          delete this.undrawn[key];
          this.map.addLayer(this.groups[key]);
        } else this.map.removeLayer(this.groups[key]);
      }
      this.arrange();
    }

    draw(layer) {
      const { data } = this;
      const group = this.groups[layer.key];
      for (const item of layer.items) {
        const talks = Boolean(item.t) && !["zone", "setback"].includes(layer.key);
        const style = {
          className: `shape ${layer.style} ${item.c || ""}`,
          pane: layer.key,
          interactive: talks,
          smoothFactor: 0.5,
        };
        const shape = layer.line
          ? L.polyline(item.g.map((part) => chain(part, data.origin)), style)
          : L.polygon(item.g.map((part) => part.map((ring) => chain(ring, data.origin))), style);
        group.addLayer(shape);
        const handles = talks ? [shape] : [];
        if (layer.line && talks) {
          const wide = { ...style, className: "touch", weight: 16 };
          handles.push(L.polyline(shape.getLatLngs(), wide).addTo(group));
        }
        if (item.at) handles.push(this.label(item, layer.key, group));
        for (const handle of handles) {
          handle.on("click keypress", (event) => {
            if (event.type === "keypress" && event.originalEvent.key !== "Enter") return;
            L.DomEvent.stopPropagation(event);
            this.tell(item, item.at && !layer.line ? handle : shape);
          });
        }
        if (layer.key === "skip") this.stops[item.n] = { item, at: L.latLng(item.at), shape };
      }
    }

    label(item, key, group) {
      const flag = item.m === undefined ? null : new Flag(this.data.marks, item);
      const text = make("span", flag ? "" : item.n);
      text.className = flag ? "flag" : `label label-${key} ${item.c || ""}`;
      const icon = L.divIcon({ className: "label-anchor", html: text, iconSize: null });
      const options = { icon, title: item.t, alt: item.t, pane: "labels" };
      const marker = L.marker(item.at, options).addTo(group);
      // Names of paddocks are written by the plan's own script.
      if (key !== "paddock") {
        const placed = flag || new Name(text);
        this.labels.push({ marker, placed, element: text, size: item.w ?? 0, item });
      }
      return marker;
    }

    /* Places the labels that fit, those of larger places first, clear of one another; the others
       are counted. */
    arrange() {
      const { map } = this;
      const frame = map.getContainer().getBoundingClientRect();
      const [wide, tall] = [frame.width, frame.height];
      const taken = [...map.getContainer().querySelectorAll(".leaflet-control")].map((control) => {
        const box = control.getBoundingClientRect();
        return [box.left - frame.left, box.top - frame.top,
          box.right - frame.left, box.bottom - frame.top];
      });
      const rank = (one) => (one.item === this.told ? Infinity : one.size);
      const point = (one) => map.latLngToContainerPoint(one.marker.getLatLng());
      const inFrame = ({ x, y }) => x >= 0 && y >= 0 && x <= wide && y <= tall;
      const labels = this.labels.filter((one) => map.hasLayer(one.marker))
        .sort((a, b) => rank(b) - rank(a));
      const feet = labels.filter((one) => one.size && inFrame(point(one))).slice(0, LARGEST)
        .map((one) => [point(one), one]);
      const staffs = [];
      let hidden = 0;
      for (const one of labels) {
        const anchor = one.marker.getElement();
        anchor.style.display = "";
        const at = point(one);
        const moved = ([left, top, right, bottom]) =>
          [at.x + left, at.y + top, at.x + right, at.y + bottom];
        const others = feet.filter(([, large]) => large !== one).map(([{ x, y }]) => [x, y, x, y]);
        const first = feet.findIndex(([, large]) => large === one);
        const fits = (way, always) => {
          const [box, foot] = [moved(one.placed.box(way)), moved(one.placed.foot(way))];
          const free = box[0] >= 0 && box[1] >= 0 && box[2] <= wide && box[3] <= tall
            && apart(box, taken)
            && (always || (apart(box, staffs) && apart(box, others) && apart(foot, taken)));
          if (free) {
            taken.push(box);
            staffs.push(foot);
          }
          return free;
        };
        const { ways } = one.placed;
        const way = inFrame(at) && (ways.find((tried) => fits(tried, false))
          || (first >= 0 && first < ALWAYS && ways.find((tried) => fits(tried, true))));
        if (way) one.placed.set(way, one.element);
        else anchor.style.display = "none";
        if (inFrame(at) && !way) hidden += 1;
      }
      const text = hidden ? document.body.dataset.hiddenPlaces.replace("{count}", hidden) : "";
      if (this.hidden.textContent !== text) this.hidden.textContent = text;
    }

    /* What is known of a place stands beside the map, below it on a phone: never over it. */
    tell(item, shape) {
      this.chosen?.getElement()?.classList.remove("chosen");
      this.told = item;
      this.chosen = shape;
      this.hint.hidden = Boolean(item);
      this.details.replaceChildren(this.hint, ...(item ? [this.card(item)] : []));
      this.details.classList.toggle("told", Boolean(item));
      shape?.getElement()?.classList.add("chosen");
      this.arrange();
      this.details.querySelector("dl")?.scrollIntoView({ block: "nearest" });
    }

    card(item) {
      const box = make("div");
      make("h4", item.t, box);
      const rows = make("dl", "", box);
      for (const [label, value] of item.r || []) {
        make("dt", label, rows);
        make("dd", value, rows);
      }
      if (item.p) make("p", item.p, box);
      if (item.geo) make("a", document.body.dataset.openPlace, box).href = item.geo;
      return box;
    }

    show(stop) {
      const tick = this.section.querySelector('input[data-layer="skip"]');
      if (tick && !tick.checked) tick.click();
      const { item, at, shape } = this.stops[stop];
      this.map.getContainer().scrollIntoView({ block: "center" });
      this.map.setView(at, Math.max(this.map.getZoom(), 18), { animate: false });
      this.tell(item, shape);
    }
  }

  function start(key) {
    const ready = waiting.get(key);
    if (!ready) return;
    waiting.delete(key);
    maps[key] = new PageMap(key);
    ready(maps[key]);
  }

  /* A map is drawn when it comes near the screen: a season holds many. */
  function later(key, ready = () => {}) {
    waiting.set(key, ready);
    const place = document.querySelector(`#${key} .map`);
    if (!("IntersectionObserver" in window)) {
      start(key);
      return;
    }
    const watch = new IntersectionObserver((seen) => {
      if (seen.some((entry) => entry.isIntersecting)) {
        watch.disconnect();
        start(key);
      }
    }, { rootMargin: "600px" });
    watch.observe(place);
  }

  /* On paper a map has a size of its own; it is laid out before the page is. */
  let views = [];

  function onPaper() {
    for (const key of [...waiting.keys()]) start(key);
    views = Object.values(maps).map(({ map }) => [map, map.getCenter(), map.getZoom()]);
    document.documentElement.classList.add("printing");
    for (const one of Object.values(maps)) {
      one.map.invalidateSize({ animate: false });
      one.whole({ padding: [4, 4] });
    }
  }

  function onScreen() {
    document.documentElement.classList.remove("printing");
    for (const [map, centre, zoom] of views) {
      map.invalidateSize({ animate: false });
      map.setView(centre, zoom, { animate: false });
    }
  }

  function show(key, stop) {
    start(key);
    maps[key].show(stop);
  }

  return { PageMap, later, show, onPaper, onScreen };
})();
