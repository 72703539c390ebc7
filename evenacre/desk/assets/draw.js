/* Drawing on the map. The corners stand as text in the form; dots on the map are another way to
   write them, and what is to be said of them comes from the desk. */

import { FIT, metre, ready } from "./ground.js";

const at = (id) => document.getElementById(id);
const form = at("drawing");
const kind = form.dataset.form;
const box = at("corners");
const NEAR_CORNER_PX = 16;
const NEAR_EDGE_PX = 12;
const LEAST_EDGE_PX = 60;
const LEAST_APART_PX = 20;
const NEAREST_ZOOM = 11;

const { map, ground, isThis } = await ready;
const dots = L.layerGroup().addTo(map);
const drawnAs = { className: `shape drawing as-${kind}`, interactive: false };
const shape = (kind === "area" ? L.polygon([], drawnAs) : L.polyline([], drawnAs)).addTo(map);
const told = L.layerGroup().addTo(map);
let rings = [];
let before = [];
let chosen = null;
let adds = false;
let sent = 0;
let isKept = true;
let isPulled = false;

const degrees = (value) => value.toFixed(9).replace(/\.?0+$/, "");
const written = ({ lat, lng }) => `${degrees(lat)}, ${degrees(((((lng + 180) % 360) + 360) % 360) - 180)}`;
const fine = (value) => Math.round(value * 1e8) / 1e8; // a millimetre
const say = (text) => { at("spoken").textContent = text; };
const snapshot = () => JSON.stringify(rings);

// Fences that corners go onto

const isOutline = Boolean(document.querySelector("[name=sticks]"));
const fences = ground.plots
  .filter((plot) => plot.own && !(isOutline && isThis(plot)))
  .flatMap((plot) => plot.rings)
  .map((ring) => ring.map(([lat, lng]) => L.latLng(lat, lng)));

function onFence(place) {
  const sticks = document.querySelector("[name=sticks]");
  if (sticks && !sticks.checked) return place;
  const point = map.latLngToContainerPoint(place);
  let best = null;
  for (const ring of fences) {
    const points = ring.map((one) => map.latLngToContainerPoint(one));
    points.forEach((one, n) => {
      // A corner goes before an edge.
      const away = point.distanceTo(one);
      if (away <= NEAR_CORNER_PX && (!best || best.away > away - NEAR_CORNER_PX)) best = { away: away - NEAR_CORNER_PX, place: ring[n] };
      const on = L.LineUtil.closestPointOnSegment(point, one, points[(n + 1) % points.length]);
      const off = point.distanceTo(on);
      if (off <= NEAR_EDGE_PX && (!best || best.away > off)) best = { away: off, place: map.containerPointToLatLng(on) };
    });
  }
  return best ? best.place : place;
}

const put = (corner, place) => {
  const there = onFence(place);
  const isOnCorner = fences.some((ring) => ring.includes(there));
  corner.lat = isOnCorner ? there.lat : fine(there.lat);
  corner.lng = isOnCorner ? there.lng : fine(there.lng);
};

// Dots

function dot(place, className, title) {
  const marker = L.marker(place, {
    icon: L.divIcon({ className: `dot ${className}`, iconSize: [44, 44] }),
    draggable: true, title, bubblingMouseEvents: false,
    zIndexOffset: className === "corner" ? 2000 : 1000,
  }).addTo(dots);
  marker.getElement().setAttribute("aria-label", title);
  // A dot in hand must not be drawn anew when the map moves meanwhile.
  marker.on("dragstart", () => { isPulled = true; });
  marker.on("dragend", () => { isPulled = false; });
  return marker;
}

function cornerDot(ring, n) {
  const corner = ring[n];
  const title = kind === "point" ? "The place" : `Corner ${n + 1} of ${ring.length}`;
  const marker = dot(corner, "corner", title);
  const element = marker.getElement();
  if (chosen && chosen.corner === corner) element.classList.add("chosen");
  const choose = () => {
    chosen = { corner };
    for (const one of document.querySelectorAll(".dot.chosen")) one.classList.remove("chosen");
    element.classList.add("chosen");
    at("take-corner").disabled = false;
  };
  let was = "";
  marker.on("dragstart", () => { was = snapshot(); choose(); });
  marker.on("drag", () => { put(corner, marker.getLatLng()); marker.setLatLng(corner); follow(); });
  marker.on("dragend", () => changed(was, `${title}: ${written(corner)}`));
  marker.on("click", choose);
  element.addEventListener("focus", choose);
  element.addEventListener("keydown", (event) => {
    const moved = byArrow(event, corner);
    if (moved) {
      const old = snapshot();
      [corner.lat, corner.lng] = moved;
      changed(old, `${title}: ${written(corner)}`, true);
    } else if (event.key === "Delete" || event.key === "Backspace") takeOut();
    else if (event.key === "Enter" && kind !== "point") putIn(ring, n);
    else return;
    event.preventDefault();
    event.stopPropagation();
  });
}

function byArrow(event, { lat, lng }) {
  const way = { ArrowUp: [1, 0], ArrowDown: [-1, 0], ArrowLeft: [0, -1], ArrowRight: [0, 1] }[event.key];
  if (!way) return null;
  const [north, east] = metre(lat).map((one) => one * (event.shiftKey ? 10 : 1));
  return [fine(lat + way[0] * north), fine(lng + way[1] * east)];
}

const middle = (one, other) => {
  const points = [one, other].map((place) => map.project(place, map.getMaxZoom()));
  return map.unproject(points[0].add(points[1]).divideBy(2), map.getMaxZoom());
};

function between(ring, n) {
  const next = (n + 1) % ring.length;
  const place = middle(ring[n], ring[next]);
  return { lat: place.lat, lng: place.lng, from: [place.lat, place.lng] };
}

function putIn(ring, n) {
  const was = snapshot();
  const corner = between(ring, n);
  ring.splice(n + 1, 0, corner);
  chosen = { corner };
  changed(was, `Corner ${n + 2} was put in.`, true);
}

function edgeDot(ring, n) {
  const corner = between(ring, n);
  const marker = dot(corner, "between", `Put a corner in after corner ${n + 1}`);
  marker.getElement().tabIndex = -1; // Enter on the corner before does the same
  let was = "";
  marker.on("dragstart", () => {
    was = snapshot();
    ring.splice(n + 1, 0, corner);
    chosen = { corner };
  });
  marker.on("drag", () => { put(corner, marker.getLatLng()); marker.setLatLng(corner); follow(); });
  marker.on("dragend", () => changed(was, `Corner ${n + 2}: ${written(corner)}`));
  marker.on("click", () => putIn(ring, n));
}

function wholeDot() {
  const start = shape.getBounds().getCenter();
  const marker = dot(start, "whole", "Move all of it");
  let was = "";
  let old = [];
  const move = (place) => {
    const moved = [place.lat - start.lat, place.lng - start.lng];
    rings.flat().forEach((corner, n) => {
      corner.lat = fine(old[n].lat + moved[0]);
      corner.lng = fine(old[n].lng + moved[1]);
    });
    follow();
  };
  const begin = () => { was = snapshot(); old = rings.flat().map(({ lat, lng }) => ({ lat, lng })); };
  marker.on("dragstart", begin);
  marker.on("drag", () => move(marker.getLatLng()));
  marker.on("dragend", () => changed(was, "All of it was moved."));
  marker.getElement().addEventListener("keydown", (event) => {
    const moved = byArrow(event, start);
    if (!moved) return;
    event.preventDefault();
    event.stopPropagation();
    begin();
    move({ lat: moved[0], lng: moved[1] });
    changed(was, "All of it was moved.");
    document.querySelector(".dot.whole")?.focus();
  });
}

function follow() {
  shape.setLatLngs(rings.map((ring) => ring.map(({ lat, lng }) => [lat, lng])));
}

function draw(focus) {
  follow();
  dots.clearLayers();
  const view = map.getBounds().pad(0.1);
  let hidden = 0;
  for (const ring of rings) {
    const points = ring.map((corner) => map.latLngToContainerPoint(corner));
    let last = null;
    ring.forEach((corner, n) => {
      if (!view.contains(corner)) return;
      // Dots that hide each other help nobody: nearer there is room for all.
      if (last && last.distanceTo(points[n]) < LEAST_APART_PX && chosen?.corner !== corner) {
        hidden += 1;
        return;
      }
      last = points[n];
      cornerDot(ring, n);
      if (kind === "point" || ring.length < 2 || (kind === "line" && n === ring.length - 1)) return;
      if (points[n].distanceTo(points[(n + 1) % ring.length]) >= LEAST_EDGE_PX) edgeDot(ring, n);
    });
  }
  at("hidden").textContent = hidden ? `${hidden} corners lie too close together to show. Come nearer to get at them.` : "";
  if (kind !== "point" && rings.flat().length > 1) wholeDot();
  at("take-corner").disabled = !chosen;
  at("step-back").disabled = !before.length;
  if (focus) document.querySelector(".dot.chosen")?.focus({ preventScroll: true });
}

// Changes

function write() {
  box.value = rings.filter((ring) => ring.length).map((ring) => ring.map(written).join("\n")).join("\n\n");
  at("moves").value = rings.flat()
    .filter((corner) => corner.from && !(corner.from[0] === corner.lat && corner.from[1] === corner.lng))
    .map((corner) => `${written({ lat: corner.from[0], lng: corner.from[1] })} > ${written(corner)}`).join("\n");
}

function changed(was, text, focus) {
  if (was !== snapshot()) before.push(was);
  isKept = false;
  write();
  draw(focus);
  say(text);
  ask();
}

function add(place) {
  if (map.getZoom() < NEAREST_ZOOM) {
    say("Come nearer first: type a place above the map, or zoom in.");
    at("to-place-wrong").textContent = "Come nearer first: type a place here, or zoom in.";
    return;
  }
  const was = snapshot();
  const corner = {};
  put(corner, place);
  if (kind === "point") rings = [[corner]];
  else {
    if (!rings.length) rings.push([]);
    rings.at(-1).push(corner);
  }
  chosen = { corner };
  changed(was, `Corner ${rings.at(-1).length}: ${written(corner)}`);
}

function takeOut() {
  if (!chosen) return;
  const was = snapshot();
  const ring = rings.find((one) => one.includes(chosen.corner));
  if (!ring) return;
  const n = ring.indexOf(chosen.corner);
  ring.splice(n, 1);
  chosen = ring.length ? { corner: ring[Math.min(n, ring.length - 1)] } : null;
  rings = rings.filter((one) => one.length);
  changed(was, `Corner ${n + 1} was taken out.`, true);
}

function stepBack() {
  if (!before.length) return;
  rings = JSON.parse(before.pop());
  chosen = null;
  holds(false);
  write();
  draw();
  say("One step back.");
  ask();
}

// What the desk says

let timer = 0;
function ask() {
  form.dataset.asks = "yes";
  sent += 1; // an answer that is on its way is to what stood before
  clearTimeout(timer);
  timer = setTimeout(check, 200);
}

/* What is to be said of it; null where the desk does not answer, nothing where it was asked anew
   meanwhile. */
async function check() {
  clearTimeout(timer);
  const number = (sent += 1);
  const body = new URLSearchParams(new FormData(form));
  const found = await desk.answered(form.dataset.to, { method: "POST", body });
  if (number !== sent) return undefined;
  delete form.dataset.asks;
  if (!found) {
    at("corners-wrong").textContent = desk.SILENT;
    return null;
  }
  at("size").textContent = found.size;
  for (const name of ["corners", "name", "said"]) {
    const line = at(`${name}-wrong`);
    if (!line) continue;
    // A box that nobody has come to yet is not wrong for being empty.
    const isEarly = name !== "corners" && !at(name).value && !at(name).dataset.touched;
    line.textContent = isEarly || (name === "corners" && !box.value) ? "" : found.wrong[name] || "";
    if (line.textContent) at(name).setAttribute("aria-invalid", "true");
    else at(name).removeAttribute("aria-invalid");
  }
  shape.getElement()?.classList.toggle("bad", Boolean(found.wrong.corners));
  at("notes").replaceChildren(...found.notes.map((text) => {
    const line = document.createElement("li");
    line.textContent = text;
    return line;
  }));
  told.clearLayers();
  for (const one of found.moved) L.polygon(one, { className: "shape moved", interactive: false }).addTo(told);
  for (const one of found.pieces) L.polygon(one, { className: "shape piece", interactive: false }).addTo(told);
  if (found.kept.length && kind === "area") L.polygon(found.kept, { className: "shape kept", interactive: false }).addTo(told);
  return found;
}

function take(drawn, isStart) {
  const old = rings;
  rings = drawn.map((ring, r) => ring.map(([lat, lng], n) => {
    // A line of numbers that was changed is a corner that was moved.
    const from = isStart ? [lat, lng] : old[r]?.length === ring.length ? old[r][n].from : undefined;
    return { lat, lng, from };
  }));
}

// What is pressed

at("adds").addEventListener("click", () => setAdds(!adds));
function setAdds(is) {
  adds = is;
  at("adds").setAttribute("aria-pressed", String(is));
  map.getContainer().classList.toggle("adding", is);
  map.doubleClickZoom[is ? "disable" : "enable"]();
}
map.on("click", (event) => { if (adds) add(event.latlng); });
map.on("moveend", () => isPulled || draw(document.activeElement?.classList.contains("chosen")));
at("at-cross").addEventListener("click", () => add(map.getCenter()));
at("take-corner").addEventListener("click", takeOut);
at("step-back").addEventListener("click", stepBack);
at("next-ring")?.addEventListener("click", () => {
  if (rings.length && rings.at(-1).length) rings.push([]);
  chosen = null;
  setAdds(true);
  say("The next corner begins another piece, or a hole.");
});
document.addEventListener("keydown", (event) => {
  const isTyping = event.target.matches("input:not([type=checkbox]), textarea");
  if (event.key !== "z" || !(event.ctrlKey || event.metaKey) || isTyping) return;
  event.preventDefault();
  stepBack();
});
/* The map waits while numbers are typed: what is pressed on it would write over them. */
const holds = (is) => map.getContainer().classList.toggle("waits", is);
box.addEventListener("input", () => holds(true));
box.addEventListener("change", async () => {
  const was = snapshot();
  isKept = false;
  let found;
  do found = await check(); while (found === undefined);
  // What cannot be read is told, and waited for.
  if (!found || (box.value.trim() && !found.drawn.length)) return;
  holds(false);
  take(found.drawn, false);
  if (was !== snapshot()) before.push(was);
  write();
  draw();
  const bounds = shape.getBounds();
  if (bounds.isValid() && !map.getBounds().intersects(bounds)) map.fitBounds(bounds, FIT);
  if (at("moves").value) ask();
});
form.addEventListener("change", (event) => {
  if (event.target !== box) ask();
});
form.addEventListener("focusout", (event) => { event.target.dataset.touched = "yes"; });
form.addEventListener("keydown", (event) => {
  if (event.key !== "Enter" || event.target !== at("to-place")) return;
  event.preventDefault();
  go();
});
form.addEventListener("submit", () => { isKept = true; });
at("leave").addEventListener("click", () => { isKept = true; });
window.addEventListener("beforeunload", (event) => { if (!isKept) event.preventDefault(); });

// Where the map is

async function go() {
  const body = new URLSearchParams({ place: at("to-place").value });
  const answer = await fetch("/ground/place", { method: "POST", body }).catch(() => null);
  const found = await answer?.json().catch(() => null);
  at("to-place-wrong").textContent = found?.told ?? (found ? "" : desk.SILENT);
  if (found?.place) map.setView(found.place, Math.max(map.getZoom(), 16));
}
at("to-go").addEventListener("click", go);
if (navigator.geolocation && window.isSecureContext) {
  at("to-me").hidden = false;
  at("to-me").addEventListener("click", () => {
    navigator.geolocation.getCurrentPosition(
      ({ coords }) => {
        at("to-place-wrong").textContent = "";
        map.setView([coords.latitude, coords.longitude], 17);
      },
      () => { at("to-place-wrong").textContent = "Your browser does not tell where you are. Type a place instead."; },
      { enableHighAccuracy: true, timeout: 20000 },
    );
  });
}

// What stands there already

map.getContainer().append(Object.assign(document.createElement("div"), { className: "cross" }));
const kept = at("moves").value.split("\n").filter(Boolean).map((line) => line.split(" > "));
if (box.value) take((await check())?.drawn ?? [], true);
for (const corner of rings.flat()) {
  const from = kept.find(([, to]) => to === written(corner))?.[0];
  if (from) corner.from = from.split(", ").map(Number);
}
setAdds(!form.dataset.begun);
draw();
document.getElementById("ground-map").dataset.drawing = "ready";
