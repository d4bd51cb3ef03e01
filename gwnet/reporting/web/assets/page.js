"use strict";
/* Map of the wells, the record of the chosen well and its hydrograph. Texts enter by textContent alone. */
(function () {
  const record = JSON.parse(document.getElementById("record").textContent);
  const root = document.querySelector("#explore .explorer");
  if (!record.wells.length) { document.getElementById("explore").remove(); return; }
  const SVG = "http://www.w3.org/2000/svg";
  const css = getComputedStyle(document.documentElement);
  const colour = (name) => css.getPropertyValue("--" + name).trim();

  function make(name, text, parent, attributes) {
    const element = document.createElement(name);
    if (text) element.textContent = text;
    for (const key in attributes || {}) element.setAttribute(key, attributes[key]);
    if (parent) parent.append(element);
    return element;
  }
  function draw(name, attributes, parent) {
    const element = document.createElementNS(SVG, name);
    for (const key in attributes) element.setAttribute(key, attributes[key]);
    parent.append(element);
    return element;
  }
  const fixed = (value) => value.toFixed(record.decimals).replace("-", "\u2212");
  const length = (value) => fixed(value) + "\u00a0" + record.unit;
  const zone = (function () {
    try { new Intl.DateTimeFormat("en-GB", { timeZone: record.zone }); return record.zone; } catch (error) { return "UTC"; }
  })();
  const moment = new Intl.DateTimeFormat("en-CA", { timeZone: zone, year: "numeric", month: "2-digit", day: "2-digit",
    hour: "2-digit", minute: "2-digit", hourCycle: "h23" });
  const said = (time) => moment.format(new Date(time)).replace(",", "");

  /* ---- the parts of the page ---- */
  const bar = make("div", "", root, { class: "bar" });
  const mapLabel = make("label", "Map ", bar);
  const mapChoice = make("select", "", mapLabel);
  make("option", "Wells of the network", mapChoice, { value: "" });
  record.maps.forEach((map, place) => make("option", map.title, mapChoice, { value: String(place) }));
  if (record.maps.length) mapChoice.value = "0";
  const wellLabel = make("label", "Well ", bar);
  const wellChoice = make("select", "", wellLabel, { id: "well-choice" });
  record.wells.forEach((well, place) => make("option", well.well, wellChoice, { value: String(place) }));
  const map = draw("svg", { class: "sheet map", role: "group", "aria-label": "Map of the wells" }, root);
  const panel = make("div", "", root, { class: "wellrecord", "aria-live": "polite", tabindex: "0" });
  const wide = make("div", "", root, { class: "wide" });
  const chart = make("canvas", "", wide, { class: "sheet chart", tabindex: "0", role: "img" });
  const tip = make("div", "", wide, { class: "tip", hidden: "" });
  const reset = make("button", "Whole record", bar, { type: "button" });
  make("p", "Hydrograph: turn the wheel or pinch to zoom, drag to move, double click for the whole record; with the keyboard " +
    "+ and \u2212 zoom, the arrows move, 0 shows the whole record. Map: click a well, or move to it with the tab key and press enter. " +
    "Logger lines are thinned to what a screen can show; every extreme is kept.", root, { class: "hint" });
  let chosen = Math.max(0, record.wells.findIndex((well) => well.levels.t.length));

  /* ---- map ---- */
  function drawMap() {
    map.replaceChildren();
    const sheet = mapChoice.value === "" ? null : record.maps[Number(mapChoice.value)];
    const placed = record.wells.map((well, place) => [well, place]).filter(([well]) => well.x !== null && well.y !== null);
    if (!placed.length) { draw("text", { x: 10, y: 20, "font-size": 13 }, map).textContent = "No well has coordinates on record."; return; }
    const points = placed.map(([well]) => [well.x, well.y]).concat(sheet ? sheet.boundary : []);
    const xs = points.map((point) => point[0]), ys = points.map((point) => point[1]);
    const west = Math.min(...xs), east = Math.max(...xs), south = Math.min(...ys), north = Math.max(...ys);
    const width = Math.max(map.clientWidth, 200), height = Math.max(map.clientHeight, 200), margin = 46;
    const scale = Math.min((width - 2 * margin) / Math.max(east - west, 1), (height - 2 * margin) / Math.max(north - south, 1));
    const left = (width - scale * (east - west)) / 2, top = (height - scale * (north - south)) / 2;
    const at = ([x, y]) => [left + scale * (x - west), top + scale * (north - y)];
    const path = (line) => line.map(at).map((point, place) => (place ? "L" : "M") + point[0].toFixed(1) + " " + point[1].toFixed(1)).join("");
    map.setAttribute("viewBox", `0 0 ${width} ${height}`);
    const labels = [], taken = placed.map(([well]) => { const [x, y] = at([well.x, well.y]); return [x - 6, y - 6, x + 6, y + 6]; });
    if (sheet) {
      draw("path", { d: path(sheet.boundary) + "Z", fill: "none", stroke: colour("rule"), "stroke-dasharray": "2 3" }, map);
      sheet.contours.forEach((contour) => {
        draw("path", { d: path(contour.line), fill: "none", stroke: colour("water"), "stroke-width": 1.1,
          "stroke-dasharray": contour.inferred ? "6 4" : "none" }, map);
        if (contour.line.length > 6) labels.push([2, at(contour.line[Math.floor(contour.line.length / 2)]), String(contour.z), colour("water"), map, true]);
      });
      sheet.arrows.forEach((arrow) => {
        const [[x0, y0], [x1, y1]] = arrow.line.map(at), turn = Math.atan2(y1 - y0, x1 - x0);
        const wing = (angle) => `L${(x1 - 6 * Math.cos(turn + angle)).toFixed(1)} ${(y1 - 6 * Math.sin(turn + angle)).toFixed(1)}`;
        draw("path", { d: `M${x0} ${y0}L${x1} ${y1}${wing(0.5)}M${x1} ${y1}${wing(-0.5)}`, fill: "none", stroke: colour("soft"),
          "stroke-dasharray": arrow.inferred ? "3 3" : "none" }, map);
      });
    }
    record.gauges.filter((gauge) => gauge.x !== null && gauge.y !== null).forEach((gauge) => {
      const [x, y] = at([gauge.x, gauge.y]);
      draw("path", { d: `M${x - 5} ${y - 4}h10l-5 8z`, fill: "none", stroke: colour("water"), "stroke-width": 1.4 }, map);
      labels.push([3, [x, y], gauge.gauge, colour("soft"), map, false]);
    });
    placed.forEach(([well, place]) => {
      const [x, y] = at([well.x, well.y]), control = sheet ? sheet.control[well.well] : null;
      const group = draw("g", { class: place === chosen ? "well chosen" : "well", tabindex: 0, role: "button", "data-well": place }, map);
      group.setAttribute("aria-label", "Well " + well.well);
      draw("circle", { cx: x, cy: y, r: 9, fill: "transparent", stroke: "none" }, group);
      draw("circle", { cx: x, cy: y, r: 4.5, fill: sheet && !(control && control[1]) ? "#fff" : colour("ink"), stroke: colour("ink"), "stroke-width": 1.3 }, group);
      const text = well.well + (control && control[1] && control[0] !== null ? " " + fixed(control[0]) : "");
      labels.push([place === chosen ? 0 : control && control[1] ? 1 : 4, [x, y], text, colour("ink"), group, false]);
      if (control && !control[1]) draw("title", {}, group).textContent = "left out: " + control[2];
      group.addEventListener("click", () => choose(place));
      group.addEventListener("keydown", (event) => {
        if (event.key === "Enter" || event.key === " ") { event.preventDefault(); choose(place, true); }
      });
    });
    labels.sort((one, other) => one[0] - other[0]).forEach((label) => write(label, taken, width, height));
  }
  const ruler = document.createElement("canvas").getContext("2d");
  ruler.font = "11px " + getComputedStyle(document.body).fontFamily;
  function write([, [x, y], text, ink, parent, centred], taken, width, height) {
    /* the first place beside its point where a label meets no other; none where every place is taken */
    const wide = ruler.measureText(text).width + 3, tall = 14;
    const places = centred ? [[x - wide / 2, y - tall / 2]] : [[x + 8, y - 6], [x - 8 - wide, y - 6], [x - wide / 2, y - 19], [x - wide / 2, y + 8]];
    const place = places.find(([left, top]) => left > 0 && top > 0 && left + wide < width && top + tall < height &&
      !taken.some((box) => left < box[2] && left + wide > box[0] && top < box[3] && top + tall > box[1]));
    if (!place) return;
    taken.push([place[0], place[1], place[0] + wide, place[1] + tall]);
    draw("text", { x: place[0] + 1, y: place[1] + 11, "font-size": 11, fill: ink, stroke: "#fff", "stroke-width": 3, "paint-order": "stroke" }, parent).textContent = text;
  }

  /* ---- record of the chosen well ---- */
  function table(rows, heads) {
    const box = make("table", "", panel), line = make("tr", "", make("thead", "", box));
    heads.forEach((head) => make("th", head, line, { scope: "col" }));
    const body = make("tbody", "", box);
    rows.forEach((row) => { const tr = make("tr", "", body); row.forEach((cell) => make("td", cell, tr)); });
  }
  function tell() {
    const well = record.wells[chosen];
    panel.replaceChildren();
    make("h3", well.well, panel);
    const list = make("dl", "", panel);
    [["Aquifer", well.aquifer]].concat(well.facts).forEach(([name, value]) => { make("dt", name, list); make("dd", value, list); });
    if (well.newest.length) {
      make("h4", "Newest levels", panel);
      table(well.newest.map((row) => [row[0], row[1], row[2], row[3] + (row[4] ? " (left out: " + row[4] + ")" : "")]),
        ["Measured at", "Status", "Water elevation", "Review"]);
    } else make("p", "No level is on record.", panel);
    if (well.thresholds.length) {
      make("h4", "Thresholds", panel);
      table(well.thresholds.map((one) => [one.name, one.kind, one.level === null ? one.limit : length(one.level), one.state]),
        ["Threshold", "Kind", "Level", "State"]);
    }
    if (well.points.length) {
      make("h4", "Measuring points", panel);
      table(well.points, ["From", "Access", "Elevation", "Change"]);
    }
  }

  /* ---- hydrograph ---- */
  const pen = chart.getContext("2d");
  const view = { from: 0, to: 1, all: [0, 1] };
  const edge = { left: 64, right: 74, top: 14, bottom: 26 };
  function whole() {
    const well = record.wells[chosen];
    const times = well.levels.t.concat(well.line ? well.line.t : [], boundsOf(well).flatMap((bound) => [bound[0], bound[1]]));
    let from = Infinity, to = -Infinity;
    for (const time of times) { if (time < from) from = time; if (time > to) to = time; }
    if (!(to >= from)) { from = Date.now() - 1; to = Date.now(); }
    const room = Math.max((to - from) * 0.02, 86400000);
    view.all = [from - room, to + room];
    [view.from, view.to] = view.all;
  }
  /* from when to when a sensor was out of water, and the elevation at or below which the water was at either end */
  function boundsOf(well) { return (well.line && well.line.bounds) || []; }
  function shown(well) {
    /* values in view, with the samples next to its edges */
    let low = Infinity, high = -Infinity;
    const take = (value) => { if (value !== null && value < low) low = value; if (value !== null && value > high) high = value; };
    const inside = (time) => time >= view.from && time <= view.to;
    well.levels.t.forEach((time, place) => { if (inside(time)) take(well.levels.e[place]); });
    if (well.line) well.line.t.forEach((time, place) => { if (inside(time)) take(well.line.e[place]); });
    boundsOf(well).forEach((bound) => { if (bound[0] <= view.to && bound[1] >= view.from) { take(bound[2]); take(bound[3]); } });
    if (!(high >= low)) { low = 0; high = 1; }
    const least = record.unit === "ft" ? 0.6 : 0.2, middle = (low + high) / 2, half = Math.max((high - low) * 0.56, least / 2);
    return [middle - half, middle + half];
  }
  function steps(low, high, count) {
    const raw = (high - low) / count, power = Math.pow(10, Math.floor(Math.log10(raw)));
    const step = [1, 2, 5, 10].map((one) => one * power).find((one) => one >= raw);
    const found = [];
    for (let value = Math.ceil(low / step) * step; value <= high + step * 1e-9; value += step) found.push(value);
    return [found, Math.max(0, -Math.floor(Math.log10(step) + 1e-9))];
  }
  function dates(count) {
    const day = 86400000, span = view.to - view.from, choices = [[day / 24, "h"], [day / 4, "h"], [day, "d"], [7 * day, "d"], [30.4 * day, "m", 1],
      [91.3 * day, "m", 3], [365.25 * day, "y", 1], [730.5 * day, "y", 2], [1826 * day, "y", 5], [3652 * day, "y", 10], [9131 * day, "y", 25]];
    const choice = choices.find((one) => one[0] >= span / count) || choices[choices.length - 1], found = [];
    const start = new Date(view.from);
    if (choice[1] === "y") {
      for (let year = Math.ceil(start.getUTCFullYear() / choice[2]) * choice[2]; Date.UTC(year, 0, 1) <= view.to; year += choice[2])
        found.push([Date.UTC(year, 0, 1), String(year)]);
    } else if (choice[1] === "m") {
      for (let month = 0; ; month += 1) {
        const time = Date.UTC(start.getUTCFullYear(), month, 1);
        if (time > view.to) break;
        if (month % choice[2] === 0) found.push([time, new Date(time).toISOString().slice(0, 7)]);
      }
    } else {
      for (let time = Math.ceil(view.from / choice[0]) * choice[0]; time <= view.to; time += choice[0])
        found.push([time, choice[1] === "h" ? new Date(time).toISOString().slice(5, 16).replace("T", " ") : new Date(time).toISOString().slice(0, 10)]);
    }
    return found.filter(([time]) => time >= view.from && time <= view.to);
  }
  let scale = null;
  function drawChart() {
    const well = record.wells[chosen], ratio = window.devicePixelRatio || 1, width = chart.clientWidth, height = chart.clientHeight;
    chart.width = Math.round(width * ratio); chart.height = Math.round(height * ratio);
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    pen.clearRect(0, 0, width, height);
    const [low, high] = shown(well);
    const x = (time) => edge.left + (time - view.from) / (view.to - view.from) * (width - edge.left - edge.right);
    const y = (value) => edge.top + (high - value) / (high - low) * (height - edge.top - edge.bottom);
    scale = { x, y, width, height, low, high };
    chart.setAttribute("aria-label", `Hydrograph of ${well.well} from ${said(view.from)} to ${said(view.to)}`);
    chart.dataset.from = Math.round(view.from); chart.dataset.to = Math.round(view.to); chart.dataset.well = well.well;
    pen.font = "11px 'gwnet Sans', 'Noto Sans', sans-serif"; pen.lineWidth = 1; pen.textBaseline = "middle";
    const [ticks, places] = steps(low, high, 6);
    pen.textAlign = "right";
    ticks.forEach((value) => {
      pen.strokeStyle = colour("grid"); pen.beginPath(); pen.moveTo(edge.left, y(value)); pen.lineTo(width - edge.right, y(value)); pen.stroke();
      pen.fillStyle = colour("soft"); pen.fillText(value.toFixed(places).replace("-", "\u2212"), edge.left - 6, y(value));
    });
    pen.textAlign = "center";
    dates(Math.max(2, Math.floor(width / 120))).forEach(([time, text]) => {
      pen.strokeStyle = colour("grid"); pen.beginPath(); pen.moveTo(x(time), edge.top); pen.lineTo(x(time), height - edge.bottom); pen.stroke();
      pen.fillText(text, x(time), height - edge.bottom / 2);
    });
    pen.save(); pen.translate(12, height / 2); pen.rotate(-Math.PI / 2);
    pen.fillText(`Water elevation above ${record.datum} [${record.unit}]`, 0, 0, height - 10); pen.restore();
    pen.save(); pen.beginPath(); pen.rect(edge.left, 0, width - edge.left - edge.right, height - edge.bottom); pen.clip();
    if (well.screen) {
      pen.fillStyle = "rgba(128, 96, 47, 0.12)"; pen.fillRect(edge.left, y(well.screen[0]), width, y(well.screen[1]) - y(well.screen[0]));
    }
    if (well.line) drawLine(well.line, x, y);
    drawBounds(boundsOf(well), x, y);
    drawLevels(well.levels, x, y);
    pen.restore();
    pen.textAlign = "left";
    const beside = (value, text, ink) => {
      if (value < low || value > high) return;
      pen.strokeStyle = ink; pen.setLineDash([5, 3]); pen.beginPath(); pen.moveTo(edge.left, y(value)); pen.lineTo(width - edge.right, y(value)); pen.stroke();
      pen.setLineDash([]); pen.fillStyle = ink; pen.fillText(text, width - edge.right + 4, y(value), edge.right - 6);
    };
    well.thresholds.forEach((one) => { if (one.level !== null) beside(one.level, one.name, colour("limit")); });
    if (well.ground !== null) beside(well.ground, "ground", colour("earth"));
    if (well.screen) beside(well.screen[0], "screen", colour("earth"));
    pen.strokeStyle = colour("rule"); pen.strokeRect(edge.left, edge.top, width - edge.left - edge.right, height - edge.top - edge.bottom);
    if (!well.levels.t.length && !well.line) { pen.fillStyle = colour("soft"); pen.textAlign = "center"; pen.fillText("No level is on record.", width / 2, height / 2); }
  }
  function drawLine(line, x, y) {
    /* first, last, lowest and highest of each pixel column */
    pen.strokeStyle = colour("line"); pen.lineWidth = 1; pen.beginPath();
    let column = null, open = false, first = 0, last = 0, low = 0, high = 0;
    const close = () => {
      if (column === null) return;
      if (open) pen.lineTo(column, y(first)); else pen.moveTo(column, y(first));
      if (low !== high) { pen.lineTo(column, y(low)); pen.lineTo(column, y(high)); }
      pen.lineTo(column, y(last)); open = true; column = null;
    };
    for (let place = 0; place < line.t.length; place += 1) {
      const value = line.e[place];
      if (value === null) { close(); open = false; continue; }
      if (line.t[place + 1] < view.from || line.t[place - 1] > view.to) continue;
      const pixel = Math.round(x(line.t[place]) * 2) / 2;
      if (pixel !== column) { close(); column = pixel; first = low = high = value; }
      last = value; if (value < low) low = value; if (value > high) high = value;
    }
    close(); pen.stroke();
  }
  function drawMark(px, py, down) {
    pen.beginPath(); pen.moveTo(px - 5, py); pen.lineTo(px + 5, py); pen.moveTo(px, py); pen.lineTo(px, py + 8 * down);
    pen.lineTo(px - 3, py + 5 * down); pen.moveTo(px, py + 8 * down); pen.lineTo(px + 3, py + 5 * down); pen.stroke();
  }
  function drawBounds(bounds, x, y) {
    /* a broken rule with a mark of a bound in its middle; marks keep apart */
    pen.strokeStyle = colour("water-light"); pen.lineWidth = 1;
    let before = -Infinity;
    for (const [from, to, first, last] of bounds) {
      if (to < view.from || from > view.to) continue;
      pen.setLineDash([6, 3]); pen.beginPath(); pen.moveTo(x(from), y(first)); pen.lineTo(x(to), y(last)); pen.stroke(); pen.setLineDash([]);
      const middle = (Math.max(x(from), edge.left) + Math.min(x(to), scale.width - edge.right)) / 2;
      if (middle - before >= 14) { drawMark(middle, y((first + last) / 2), 1); before = middle; }
    }
  }
  const joins = (levels, place) => levels.ok[place] && !levels.b[place];
  function drawLevels(levels, x, y) {
    pen.strokeStyle = colour("water"); pen.lineWidth = 1.2; pen.beginPath();
    let open = false;
    const year = 500 * 86400000;
    let before = -Infinity;
    levels.t.forEach((time, place) => {
      if (!joins(levels, place)) return;
      if (open && time - before < year) pen.lineTo(x(time), y(levels.e[place])); else pen.moveTo(x(time), y(levels.e[place]));
      open = true; before = time;
    });
    pen.stroke();
    levels.t.forEach((time, place) => {
      const px = x(time), py = y(levels.e[place]);
      if (px < edge.left - 5 || px > scale.width - edge.right + 5) return;
      const ink = levels.r[place] === "approved" ? colour("water") : colour("water-light");
      pen.strokeStyle = ink; pen.fillStyle = ink;
      if (levels.b[place]) {
        const down = levels.b[place] < 0 ? 1 : -1;
        drawMark(px, py, down);
        return;
      }
      pen.beginPath(); pen.arc(px, py, 3, 0, 2 * Math.PI);
      if (levels.ok[place]) pen.fill(); else { pen.fillStyle = "#fff"; pen.fill(); pen.stroke(); }
    });
  }
  function zoom(factor, at) {
    const span = Math.min(Math.max((view.to - view.from) * factor, 3600000), view.all[1] - view.all[0]);
    const share = (at - view.from) / (view.to - view.from);
    view.from = at - share * span; view.to = view.from + span;
    keep();
  }
  function keep() {
    const span = view.to - view.from;
    if (view.from < view.all[0]) { view.from = view.all[0]; view.to = view.from + span; }
    if (view.to > view.all[1]) { view.to = view.all[1]; view.from = view.to - span; }
    tip.hidden = true;
    drawChart();
  }
  const timeAt = (px) => view.from + (px - edge.left) / (scale.width - edge.left - edge.right) * (view.to - view.from);
  const offset = (event) => event.clientX - chart.getBoundingClientRect().left;
  chart.addEventListener("wheel", (event) => { event.preventDefault(); zoom(Math.exp(event.deltaY * 0.0016), timeAt(offset(event))); }, { passive: false });
  const fingers = new Map();
  chart.addEventListener("pointerdown", (event) => { fingers.set(event.pointerId, offset(event)); chart.setPointerCapture(event.pointerId); });
  const lift = (event) => fingers.delete(event.pointerId);
  chart.addEventListener("pointerup", lift); chart.addEventListener("pointercancel", lift);
  chart.addEventListener("pointermove", (event) => {
    if (!fingers.has(event.pointerId)) { point(event); return; }
    const now = offset(event), was = fingers.get(event.pointerId), each = (view.to - view.from) / (scale.width - edge.left - edge.right);
    if (fingers.size === 1) { view.from -= (now - was) * each; view.to -= (now - was) * each; keep(); }
    else {
      const other = [...fingers].find(([id]) => id !== event.pointerId)[1];
      if (Math.abs(now - other) > 8) zoom(Math.abs(was - other) / Math.abs(now - other), timeAt((now + other) / 2));
    }
    fingers.set(event.pointerId, now);
  });
  chart.addEventListener("pointerleave", () => { tip.hidden = true; });
  function point(event) {
    const box = chart.getBoundingClientRect(), px = event.clientX - box.left, py = event.clientY - box.top, levels = record.wells[chosen].levels;
    let nearest = -1, least = 144;
    levels.t.forEach((time, place) => {
      const far = (scale.x(time) - px) ** 2 + (scale.y(levels.e[place]) - py) ** 2;
      if (far < least) { least = far; nearest = place; }
    });
    tip.hidden = nearest < 0;
    if (nearest < 0) return;
    const sign = { "-1": "\u2264 ", 0: "", 1: "\u2265 " }[levels.b[nearest]];
    const width = levels.u[nearest] === null ? "" : " \u00b1 " + fixed(levels.u[nearest]);
    tip.textContent = `${said(levels.t[nearest])}: ${sign}${fixed(levels.e[nearest])}${width} ${record.unit}, ${levels.s[nearest]}, ${levels.r[nearest]}` +
      (levels.ok[nearest] ? "" : ", left out");
    tip.style.left = Math.min(px + 12, box.width - 220) + "px"; tip.style.top = Math.max(py - 34, 0) + "px";
  }
  chart.addEventListener("dblclick", () => { whole(); drawChart(); });
  chart.addEventListener("keydown", (event) => {
    const middle = (view.from + view.to) / 2, span = view.to - view.from;
    const acts = { "+": () => zoom(0.7, middle), "=": () => zoom(0.7, middle), "-": () => zoom(1.43, middle), 0: () => { whole(); drawChart(); },
      ArrowLeft: () => { view.from -= span / 6; view.to -= span / 6; keep(); }, ArrowRight: () => { view.from += span / 6; view.to += span / 6; keep(); } };
    if (acts[event.key]) { event.preventDefault(); acts[event.key](); }
  });
  reset.addEventListener("click", () => { whole(); drawChart(); });

  function choose(place, focus) {
    chosen = place; wellChoice.value = String(place);
    whole(); tell(); drawMap(); drawChart();
    if (focus) { const group = map.querySelector(`[data-well="${place}"]`); if (group) group.focus(); }
  }
  wellChoice.addEventListener("change", () => choose(Number(wellChoice.value)));
  mapChoice.addEventListener("change", drawMap);
  new ResizeObserver(() => { drawMap(); drawChart(); }).observe(root);
  choose(chosen);
})();
