"use strict";

/* Draws each map from the data beside it. Texts are set as text, never as markup. */
const evenacre = (() => {
  const CLEAR_PIXELS = 28;
  const maps = {};
  const waiting = new Map();

  function make(tag, text, parent) {
    const element = document.createElement(tag);
    if (text) element.textContent = text;
    if (parent) parent.append(element);
    return element;
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

  function popup(item) {
    const box = make("div");
    box.className = "popup";
    make("h4", item.t, box);
    const rows = make("dl", "", box);
    for (const [label, value] of item.r || []) {
      make("dt", label, rows);
      make("dd", value, rows);
    }
    if (item.p) make("p", item.p, box);
    if (item.geo) make("a", "Open this place in a map app", box).href = item.geo;
    return box;
  }

  function label(item, key) {
    const text = make("span", item.n);
    text.className = `label label-${key} ${item.c || ""}`;
    const icon = L.divIcon({ className: "label-anchor", html: text, iconSize: null });
    return L.marker(item.at, { icon, title: item.t, alt: item.t, pane: "labels" });
  }

  function draw(map, group, layer, origin, stops) {
    const pane = map.createPane(layer.key);
    pane.style.zIndex = 400 + Object.keys(map.getPanes()).length;
    for (const item of layer.items) {
      const talks = Boolean(item.t) && !["zone", "setback"].includes(layer.key);
      const style = {
        className: `shape ${layer.key} ${item.c || ""}`,
        pane: layer.key,
        interactive: talks,
        smoothFactor: 0.5,
      };
      const shape = layer.line
        ? L.polyline(item.g.map((part) => chain(part, origin)), style)
        : L.polygon(item.g.map((part) => part.map((ring) => chain(ring, origin))), style);
      group.addLayer(shape);
      const handles = talks ? [shape] : [];
      if (layer.line && talks) {
        const wide = { ...style, className: "touch", weight: 16 };
        handles.push(L.polyline(shape.getLatLngs(), wide).addTo(group));
      }
      if (item.at) handles.push(label(item, layer.key).addTo(group));
      for (const handle of handles) {
        handle.bindPopup(() => popup(item), {
          maxWidth: Math.min(300, map.getSize().x - 70),
          autoPanPadding: [12, 12],
        });
      }
      if (layer.key === "skip") stops[item.n] = handles[handles.length - 1];
    }
  }

  /* Of labels that would lie on one another only the first shows, the one of the larger. */
  function declutter(map, markers) {
    const taken = [];
    for (const marker of markers) {
      const at = map.latLngToLayerPoint(marker.getLatLng());
      const free = taken.every((other) => other.distanceTo(at) > CLEAR_PIXELS);
      if (free) taken.push(at);
      if (marker.getElement()) marker.getElement().style.display = free ? "" : "none";
    }
  }

  function fill(map, key, groups) {
    const data = JSON.parse(document.getElementById(`${key}-data`).textContent);
    map.attributionControl.setPrefix('<a href="https://leafletjs.com">Leaflet</a>');
    map.createPane("labels").style.zIndex = 640;
    const stops = {};
    for (const layer of data.layers) {
      draw(map, groups[layer.key], layer, data.origin, stops);
    }
    const box = L.latLngBounds(data.bounds);
    // Clear of the scale below and the zoom buttons at the right.
    const fit = { paddingTopLeft: [16, 34], paddingBottomRight: [60, 40], animate: false };
    const clear = () => declutter(map, Object.values(stops));
    map.on("zoomend", clear);
    map.fitBounds(box, fit);
    map.setMaxBounds(box.pad(2));
    const frame = map.getContainer();
    map.on("popupopen", () => frame.classList.add("reading"));
    map.on("popupclose", () => frame.classList.remove("reading"));
    frame.addEventListener("keydown", (event) => {
      if (event.key === "Escape") map.closePopup();
    });
    map.on("focus click", () => map.scrollWheelZoom.enable());
    map.on("blur", () => map.scrollWheelZoom.disable());
    const section = document.getElementById(key);
    for (const tick of section.querySelectorAll("input[data-layer]")) {
      const group = groups[tick.dataset.layer];
      const set = () => {
        if (tick.checked) map.addLayer(group);
        else map.removeLayer(group);
        clear();
      };
      tick.addEventListener("change", set);
      set();
    }
    const whole = section.querySelector("button[data-whole]");
    whole.addEventListener("click", () => {
      map.closePopup();
      frame.scrollIntoView({ block: "center" });
      map.fitBounds(box, fit);
    });
    maps[key] = { map, stops, box };
  }

  function start(key) {
    const run = waiting.get(key);
    waiting.delete(key);
    if (run) run();
  }

  /* A map is drawn when it comes near the screen: a season holds many. */
  function later(key, run) {
    waiting.set(key, run);
    const place = document.querySelector(`#${key} .folium-map`);
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

  function show(key, stop) {
    start(key);
    const { map, stops } = maps[key];
    const handle = stops[stop];
    const tick = document.querySelector(`#${key} input[data-layer="skip"]`);
    if (tick && !tick.checked) tick.click();
    map.getContainer().scrollIntoView({ block: "center" });
    map.setView(handle.getLatLng(), Math.max(map.getZoom(), 18), { animate: false });
    handle.openPopup();
  }

  document.addEventListener("click", (event) => {
    const button = event.target.closest("button[data-stop]");
    if (button) show(button.dataset.job, button.dataset.stop);
  });

  /* On paper a map has a size of its own; it is laid out before the page is. */
  let screen = [];

  window.addEventListener("beforeprint", () => {
    for (const key of [...waiting.keys()]) start(key);
    const views = Object.values(maps).map(({ map }) => [map, map.getCenter(), map.getZoom()]);
    const folds = [...document.querySelectorAll("details:not([open])")];
    for (const fold of folds) fold.open = true;
    screen = [views, folds];
    document.documentElement.classList.add("printing");
    for (const { map, box } of Object.values(maps)) {
      map.invalidateSize({ animate: false });
      map.fitBounds(box, { padding: [4, 4], animate: false });
    }
  });

  window.addEventListener("afterprint", () => {
    document.documentElement.classList.remove("printing");
    const [views, folds] = screen;
    for (const fold of folds) fold.open = false;
    for (const [map, centre, zoom] of views) {
      map.invalidateSize({ animate: false });
      map.setView(centre, zoom, { animate: false });
    }
  });

  return { fill, later };
})();
