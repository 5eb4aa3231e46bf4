// The switch between views, the way back to the whole field, and one bubble at a time.
"use strict";
(() => {
  const map = window.map_field;
  map.attributionControl.setPrefix(false);

  const choices = [...document.querySelectorAll('input[name="view"]')];
  const show = () => {
    for (const choice of choices) {
      const layer = window["feature_group_" + choice.value];
      if (choice.checked) layer.addTo(map);
      else layer.remove();
      for (const part of document.querySelectorAll(`[data-view="${choice.value}"]`)) part.hidden = !choice.checked;
    }
  };
  for (const choice of choices) choice.addEventListener("change", show);
  show(); // a browser may keep the choice when the page is loaded again

  document.getElementById("whole-field").addEventListener("click", () => {
    map.closePopup();
    map.fitBounds(window.geo_json_outline.getBounds(), { padding: [16, 16] });
  });

  // Under the map there is room for the choice of layers; on a phone it waits behind a button in the map.
  const layers = document.querySelector(".leaflet-control-layers-expanded");
  if (layers) document.getElementById("layers").append(layers);

  // A label keeps its zone number where the zone is wide enough for it, and gives way where it is not at all.
  const fit = () => {
    const pixelMetres = (156543.034 * Math.cos((map.getCenter().lat * Math.PI) / 180)) / 2 ** map.getZoom();
    for (const label of document.querySelectorAll(".zone-label:not(.keep)")) {
      const room = label.dataset.roomM / pixelMetres;
      label.classList.toggle("short", room < 24);
      label.classList.toggle("gone", room < 13);
    }
  };
  map.on("zoomend layeradd", fit);
  fit();

  let tip = null;
  map.on("tooltipopen", (event) => {
    tip = event.tooltip;
    if (map._popup && map._popup.isOpen()) map.closeTooltip(tip);
  });
  map.on("popupopen popupclose", (event) => {
    map.getContainer().parentElement.classList.toggle("telling", event.type === "popupopen");
    if (tip) map.closeTooltip(tip);
  });
})();
