// A map drawn anew in a page comes back where it was: same place, same view, same layers. Its frame is as high as it.
"use strict";
(() => {
  const fit = () => { if (frameElement) frameElement.style.height = `${document.body.scrollHeight}px`; };
  new ResizeObserver(fit).observe(document.body);
  const map = window.map_field;
  const bounds = window.geo_json_outline.getBounds();
  const key = "fieldmap " + bounds.toBBoxString();
  const boxes = () => [...document.querySelectorAll(".leaflet-control-layers-overlays input")];
  const name = (box) => box.parentElement.textContent.trim();
  const keep = () => {
    const centre = map.getCenter();
    const view = document.querySelector('input[name="view"]:checked').value;
    const hidden = boxes().filter((box) => !box.checked).map(name);
    const shown = boxes().filter((box) => box.checked).map(name);
    sessionStorage.setItem(key, JSON.stringify({ width: innerWidth, at: [centre.lat, centre.lng], zoom: map.getZoom(), view, hidden, shown }));
  };
  const kept = JSON.parse(sessionStorage.getItem(key) || "null");
  if (kept) {
    if (kept.width === innerWidth) map.setView(kept.at, kept.zoom, { animate: false });
    const choice = document.querySelector(`input[name="view"][value="${CSS.escape(kept.view)}"]`);
    if (choice && !choice.checked) choice.click();
    for (const box of boxes()) {
      if ((box.checked && kept.hidden.includes(name(box))) || (!box.checked && kept.shown.includes(name(box)))) box.click();
    }
  }
  map.on("moveend layeradd layerremove", keep);
  for (const choice of document.querySelectorAll('input[name="view"]')) choice.addEventListener("change", keep);
})();
