/* The ground on a map: outlines, what is drawn in them, and drives; a grid stands for a background. */

const FOOT_M = 0.3048;
const STEPS = {
  us: [10, 20, 50, 100, 200, 500, 1000, 2640, 5280, 10560].map((feet) => [feet * FOOT_M, feet < 2640 ? `${feet} ft` : `${feet / 5280} mi`]),
  metric: [2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000].map((metres) => [metres, metres < 1000 ? `${metres} m` : `${metres / 1000} km`]),
};
const CALLED = {
  gate: "gate", unworkable: "not worked", cross: "waterway", keep_out: "too wet", setbacks: "keep away", line: "passes",
};
const LEAST_PX = 70;

/* Nothing that is to be pulled may lie under the controls on the left. */
export const FIT = { paddingTopLeft: [70, 32], paddingBottomRight: [32, 32], maxZoom: 19 };

/* How much of a degree of latitude and of longitude a metre is, here. */
export const metre = (lat) => [1 / 111320, 1 / (111320 * Math.max(0.01, Math.cos((lat * Math.PI) / 180)))];

export function label(text, className = "label") {
  const element = document.createElement("span");
  element.className = className;
  element.textContent = text;
  return L.divIcon({ className: "label-anchor", html: element, iconSize: null });
}

function grid(map, units) {
  const lines = L.layerGroup().addTo(map);
  const told = L.control({ position: "bottomleft" });
  told.onAdd = () => L.DomUtil.create("div", "grid-told leaflet-control-scale-line");
  told.addTo(map);
  const draw = () => {
    lines.clearLayers();
    const view = map.getBounds();
    const [north, east] = metre(Math.round(map.getCenter().lat));
    const width = (view.getEast() - view.getWest()) / east / map.getSize().x;
    const step = STEPS[units].find(([metres]) => metres / width >= LEAST_PX);
    told.getContainer().textContent = step ? `Grid ${step[1]}` : "";
    told.getContainer().hidden = !step;
    if (!step) return;
    const style = { className: "shape grid-line", interactive: false };
    const [up, along] = [step[0] * north, step[0] * east];
    for (let lat = Math.ceil(view.getSouth() / up) * up; lat < view.getNorth(); lat += up) {
      L.polyline([[lat, view.getWest()], [lat, view.getEast()]], style).addTo(lines).bringToBack();
    }
    for (let lng = Math.ceil(view.getWest() / along) * along; lng < view.getEast(); lng += along) {
      L.polyline([[view.getSouth(), lng], [view.getNorth(), lng]], style).addTo(lines).bringToBack();
    }
  };
  map.on("moveend", draw);
  draw();
}

function part(one) {
  const style = { className: `shape part ${one.key} as-${one.form}`, interactive: false };
  if (one.form === "point") return L.circleMarker(one.rings[0][0], { ...style, radius: 6 });
  return one.form === "line" ? L.polyline(one.rings, style) : L.polygon(one.rings, style);
}

export const ready = (async () => {
  const place = document.getElementById("ground-map");
  const ground = await desk.answered("/ground/shapes");
  if (!ground) {
    desk.silentIn(place);
    return new Promise(() => {}); // nothing can be drawn on it
  }
  const map = L.map(place, { zoomSnap: 0.25, maxZoom: 23, scrollWheelZoom: Boolean(place.dataset.drawing) });
  map.attributionControl.setPrefix('<a href="https://leafletjs.com">Leaflet</a>');
  const { kind, name, drawing } = place.dataset;
  const isThis = (plot) => plot.kind === kind && plot.name === name;
  const all = L.featureGroup();
  const mine = L.featureGroup();
  const labels = [];
  const called = (text, className, at, bounds) => {
    const marker = L.marker(at, { icon: label(text, className), interactive: false, keyboard: false });
    labels.push({ marker: marker.addTo(map), bounds, share: className === "label" ? 0.5 : 2 });
  };
  for (const line of ground.drives) all.addLayer(L.polyline(line, { className: "shape pass", interactive: false }));
  for (const plot of ground.plots) {
    if (!plot.rings.length) continue;
    const className = `shape ${plot.kind === "field" ? "plot" : "paddock"}${isThis(plot) ? " this" : ""}`;
    const outline = L.polygon(plot.rings, { className, interactive: !drawing });
    all.addLayer(outline);
    if (isThis(plot)) mine.addLayer(outline);
    if (!drawing) outline.on("click", () => { location.href = plot.address; });
    for (const one of plot.parts) {
      const shape = part(one);
      all.addLayer(shape);
      const at = shape.getBounds ? shape.getBounds().getCenter() : shape.getLatLng();
      called(CALLED[one.key], "label small", at, outline.getBounds());
    }
    // What is drawn is not to be hidden by its name.
    if (plot.own && !(drawing && isThis(plot))) called(plot.name, "label", outline.getBounds().getCenter(), outline.getBounds());
  }
  const bounds = [mine, all].map((group) => group.getBounds()).find((found) => found.isValid());
  if (bounds) map.fitBounds(bounds, FIT);
  else map.setView([20, 0], 2);
  all.addTo(map);
  L.control.scale().addTo(map);
  grid(map, ground.units);
  // Names that are far wider than their ground would lie on each other.
  const unclutter = () => {
    for (const { marker, bounds, share } of labels) {
      const element = marker.getElement().firstChild;
      element.hidden = false;
      const ends = [bounds.getNorthWest(), bounds.getNorthEast()].map((one) => map.latLngToContainerPoint(one));
      element.hidden = element.offsetWidth * share > ends[0].distanceTo(ends[1]);
    }
  };
  map.on("zoomend", unclutter);
  unclutter();
  place.dataset.ready = "yes";
  return { map, ground, isThis };
})();
