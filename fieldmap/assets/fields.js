// All fields on one map: dots from afar, outlines from near; a bubble shows text as text.
"use strict";
(() => {
  const fields = JSON.parse(document.getElementById("fields").textContent);
  const place = document.getElementById("map");
  const map = L.map(place, { zoomSnap: 0.25, preferCanvas: true, maxZoom: 19 });
  map.attributionControl.setPrefix(false);

  const ink = "#14202b";
  const looks = {
    vary: { fillColor: "#00224e", fillOpacity: 0.85 },
    "one rate": { fillColor: "#c9d0d6", fillOpacity: 0.85 },
    "cannot tell": { fillColor: "#fff", fillOpacity: 0.85, dashArray: "4 3" },
  };
  const look = (field) => ({ color: ink, weight: 1.25, ...looks[field.properties.look] });

  const bubble = ({ name, lines, page }) => {
    const box = document.createElement("div");
    const head = box.appendChild(document.createElement("strong"));
    head.textContent = name;
    const table = box.appendChild(document.createElement("table"));
    for (const [title, text] of lines) {
      const row = table.insertRow();
      row.appendChild(document.createElement("th")).textContent = title;
      row.insertCell().textContent = text;
    }
    if (page) {
      const link = box.appendChild(document.createElement("a"));
      link.href = page.split("/").map(encodeURIComponent).join("/");
      link.textContent = "Open this field's map";
    }
    return box;
  };
  const tell = (field, layer) =>
    layer
      .bindPopup(() => bubble(field.properties), { className: "pop", maxWidth: 320 })
      .bindTooltip(() => document.createTextNode(field.properties.name), { className: "tip" });

  const outlines = L.geoJSON(fields, { style: look, onEachFeature: tell });
  const dots = L.featureGroup(
    fields.features.map((field) => {
      const dot = L.circleMarker(field.properties.at, { radius: 6, ...look(field) });
      tell(field, dot);
      return dot;
    }),
  );
  const near = 12.5; // from here on a field of some hectares is larger than its dot
  const fit = () => {
    const wanted = map.getZoom() >= near ? [outlines, dots] : [dots, outlines];
    wanted[0].addTo(map);
    wanted[1].remove();
  };
  const all = () => {
    map.closePopup();
    if (fields.features.length) map.fitBounds(outlines.getBounds(), { padding: [16, 16] });
    else map.setView([0, 0], 1);
  };
  map.on("zoomend", fit);
  all();
  fit();
  const imperial = place.dataset.imperial === "yes";
  L.control.scale({ imperial, metric: !imperial, maxWidth: 140 }).addTo(map);
  document.getElementById("whole-field").addEventListener("click", all);
})();
