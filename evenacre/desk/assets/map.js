"use strict";

/* Fields and drives; a drive is shown while its job is ticked. */
(async () => {
  const place = document.getElementById("farm-map");
  if (!place) return;
  const overview = await desk.answered("/overview");
  if (!overview) {
    desk.silentIn(place);
    return;
  }
  const map = L.map(place, { zoomSnap: 0.25, attributionControl: true, scrollWheelZoom: false });
  map.attributionControl.setPrefix("Leaflet");
  L.control.scale().addTo(map);
  const all = L.featureGroup().addTo(map);
  const called = (text) => {
    const label = document.createElement("span");
    label.className = "label";
    label.textContent = text;
    return label;
  };
  for (const field of overview.fields) {
    if (!field.rings.length) continue;
    const shape = L.polygon(field.rings, { className: "shape plot", interactive: false }).addTo(all);
    const icon = L.divIcon({ className: "label-anchor", html: called(field.name), iconSize: null });
    L.marker(shape.getBounds().getCenter(), { icon, interactive: false, keyboard: false }).addTo(map);
  }
  const drives = overview.operations.map((one) =>
    L.polyline(one.lines, { className: "shape pass", interactive: false, smoothFactor: 1 }),
  );
  // A page that is about some of the drives shows no other, and is about their ground.
  const about = place.dataset.jobs?.split(" ").map((number) => drives[Number(number)]);
  for (const drive of about || []) drive.addTo(all);
  for (const box of document.querySelectorAll("[data-job]")) {
    const drive = drives[Number(box.dataset.job)];
    const show = () => (box.checked ? drive.addTo(all) : all.removeLayer(drive));
    box.addEventListener("change", show);
    show();
  }
  const bounds = (about ? L.featureGroup(about) : all).getBounds();
  if (bounds.isValid()) map.fitBounds(bounds, { padding: [60, 30] });
  else map.setView([0, 0], 1);
  place.dataset.ready = "yes";
})();
