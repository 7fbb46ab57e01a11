// The marks over the photo, and the rows beside it. Text goes in as text, never as HTML.

const SVG = "http://www.w3.org/2000/svg";

function shape(name, attributes, parent) {
  const node = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  if (parent) parent.appendChild(node);
  return node;
}

function element(name, { text, cls, title, on, ...rest } = {}, parent) {
  const node = document.createElement(name);
  if (text !== undefined) node.textContent = text;
  if (cls) node.className = cls;
  if (title) node.title = title;
  for (const [key, value] of Object.entries(rest)) node.setAttribute(key, value);
  if (on) node.addEventListener(name === "select" ? "change" : "click", on);
  if (parent) parent.appendChild(node);
  return node;
}

function pathOf(points, closed) {
  const text = points.map((p, i) => `${i ? "L" : "M"}${p[0] + 0.5} ${p[1] + 0.5}`).join("");
  return closed ? text + "Z" : text;
}

function pathsOf(finding) {
  const lines = (finding.lines || []).map((line) => pathOf(line, false));
  if (finding.polygon) lines.push(pathOf(finding.polygon, true));
  return lines.join("");
}

function pointsOf(finding) {
  return [...(finding.polygon || []), ...(finding.lines || []).flat()];
}

function boxOf(finding) {
  const points = pointsOf(finding);
  const xs = points.map((p) => p[0]), ys = points.map((p) => p[1]);
  return [Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)];
}

function strokeOf(style, chosen) {
  const width = (style.width || 2) + (chosen ? 1.2 : 0);
  const attributes = { stroke: style.colour, "stroke-width": width };
  if (style.dash.length) attributes["stroke-dasharray"] = style.dash.join(" ");
  if (style.dash.length) attributes["stroke-linecap"] = "butt";
  return attributes;
}

function drawFinding(finding, { styles, chosen }, parent) {
  const style = finding.state === "rejected" ? styles.rejected : styles[finding.kind];
  const path = pathsOf(finding);
  const group = shape("g", { "data-id": finding.id, class: chosen ? "chosen" : "" }, parent);
  if (!path) return;
  const stroke = strokeOf(style, chosen);
  shape("path", { d: path, class: "halo", "stroke-width": stroke["stroke-width"] + 3 }, group);
  const line = shape("path", { d: path, ...stroke }, group);
  if (style.hatch && finding.polygon) line.setAttribute("fill", "url(#hatch)");
  line.style.fill = style.hatch && finding.polygon ? "url(#hatch)" : "none";
  shape("path", { d: path, class: "hit", "stroke-width": 16 }, group);
  if (finding.polygon) shape("path", { d: path, class: "area-hit", stroke: "none" }, group);
}

function drawHatch(svg, colour, k) {
  svg.querySelector("defs")?.remove();
  const defs = shape("defs", {});
  svg.prepend(defs);
  const step = 9 / k;
  const pattern = shape("pattern", { id: "hatch", width: step, height: step,
    patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" }, defs);
  shape("line", { x1: 0, y1: 0, x2: 0, y2: step, stroke: "#fff", "stroke-width": 2.6 / k,
    "stroke-opacity": 0.6 }, pattern);
  shape("line", { x1: 0, y1: 0, x2: 0, y2: step, stroke: colour, "stroke-width": 1.3 / k },
    pattern);
}

function drawLayers(layers, parent) {
  parent.replaceChildren();
  for (const layer of layers) {
    if (layer.polygon.length < 3) continue;
    shape("path", { d: pathOf(layer.polygon, true), "stroke-width": 0.8 }, parent);
  }
}

function drawLabels(findings, { view, chosen, pick }, parent) {
  parent.replaceChildren();
  const taken = [];
  for (const finding of findings) {
    const points = pointsOf(finding);
    if (!points.length) continue;
    const anchor = points[Math.floor(points.length / 2)];
    let [x, y] = view.toScreen(anchor);
    x += 8;
    y -= 8;
    // Labels that would lie on one another step upwards.
    for (let i = 0; i < 12 && taken.some((t) => Math.abs(t[1] - y) < 14 &&
         Math.abs(t[0] - x) < 70); i++) y -= 14;
    taken.push([x, y]);
    const cls = (finding.state === "rejected" ? "off" : "") + (chosen === finding.id ? " on" : "");
    const label = shape("text", { x, y, class: cls }, parent);
    const sign = { confirmed: " ✓", rejected: " ✕" }[finding.state] || "";
    label.textContent = finding.id + sign;
    label.addEventListener("click", () => pick(finding.id));
  }
}

function swatch(style, parent) {
  const svg = shape("svg", { width: 30, height: 14, "aria-hidden": "true" });
  parent.appendChild(svg);
  shape("line", { x1: 3, y1: 7, x2: 27, y2: 7, ...strokeOf(style, false) }, svg);
}

const STATES = {
  proposed: ["○", "Proposed, not reviewed"],
  confirmed: ["✓", "Confirmed"],
  rejected: ["✕", "Rejected"],
};

function drawRow(finding, { data, chosen, act }, parent) {
  const cls = `row ${finding.state}${chosen ? " chosen" : ""}`;
  const row = element("div", { cls, role: "option", "data-id": finding.id,
    "aria-selected": String(chosen), on: () => act.pick(finding.id) }, parent);
  const line = element("div", { cls: "line" }, row);
  swatch(finding.state === "rejected" ? data.styles.rejected : data.styles[finding.kind], line);
  element("span", { cls: "name", text: finding.id }, line);
  element("span", { cls: "main", text: finding.main }, line);
  const [sign, words] = STATES[finding.state];
  const state = element("div", { cls: "state" }, row);
  element("b", { text: `${sign} ${words}` }, state);
  element("span", { text: finding.place }, state);
  if (chosen) drawDetails(finding, { data, act }, row);
}

function drawDetails(finding, { data, act }, row) {
  const more = element("div", { cls: "more" }, row);
  more.addEventListener("click", (event) => event.stopPropagation());
  const table = element("table", {}, more);
  for (const [name, value] of finding.rows) {
    const line = element("tr", {}, table);
    element("td", { text: name }, line);
    element("td", { text: value }, line);
  }
  if (finding.reason) element("div", { text: `Reason: ${finding.reason}` }, more);
  if (data.locked) return;
  const acts = element("div", { cls: "acts" }, more);
  const confirmed = finding.state === "confirmed", rejected = finding.state === "rejected";
  if (!confirmed) element("button", { text: "Confirm", cls: rejected ? "" : "primary", title: "Key C",
    "data-act": "confirm", on: () => act.review("confirm") }, acts);
  if (!rejected) element("button", { text: "Reject…", title: "Key R", "data-act": "reject",
    on: () => act.askReason() }, acts);
  if (finding.lines && finding.lines.length) element("button", { text: "Retrace",
    title: "Trace it again", "data-act": "retrace", on: () => act.retrace() }, acts);
  if (act.asking()) drawReasons({ data, act }, more);
  drawChoices(finding, { data, act }, more);
}

function drawReasons({ data, act }, more) {
  const acts = element("div", { cls: "acts" }, more);
  for (const reason of data.reasons) element("button", { text: reason, "data-reason": reason,
    on: () => act.review("reject", reason) }, acts);
  const own = element("input", { cls: "why", placeholder: "Another reason", maxlength: 200,
    "aria-label": "Another reason" }, acts);
  own.addEventListener("keydown", (event) => {
    if (event.key === "Enter" && own.value.trim()) act.review("reject", own.value.trim());
  });
  element("button", { text: "Reject", on: () =>
    own.value.trim() ? act.review("reject", own.value.trim()) : own.focus() }, acts);
}

function drawChoices(finding, { data, act }, more) {
  const acts = element("div", { cls: "acts" }, more);
  const option = (list, value, text, now) => {
    const node = element("option", { value, text }, list);
    if (value === now) node.selected = true;
  };
  const kinds = data.kinds.filter((kind) => kind.area === Boolean(finding.polygon));
  if (kinds.length > 1 && finding.kind !== "bulge") {
    const label = element("label", { text: "Kind " }, acts);
    const list = element("select", { "aria-label": "Kind", on: (event) =>
      act.change("kind", event.target.value) }, label);
    for (const kind of kinds) option(list, kind.id, kind.label, finding.kind);
  }
  const label = element("label", { text: "Layer " }, acts);
  const list = element("select", { "aria-label": "Layer", on: (event) =>
    act.change("layer", Number(event.target.value)) }, label);
  if (finding.layer === null) option(list, "", "–", "");
  for (const layer of data.rubber) option(list, String(layer), String(layer),
    String(finding.layer));
}

const KEYS = [
  ["V", "Select; drag to move the photo, wheel to zoom"],
  ["T", "Trace a line: click along it, Enter or double click to finish"],
  ["A", "Outline an area: click round it, Enter or double click to finish"],
  ["S", "Two-point scale: click two points a known distance apart"],
  ["Esc", "Leave the tool, or drop the selection"],
  ["Backspace", "Take back the last point"],
  ["N, P", "Next and previous finding"],
  ["C", "Confirm the selected finding"],
  ["R", "Reject it, with a reason"],
  ["U", "Take back the last change"],
  ["+, −", "Zoom in and out"],
  ["F, E, 1", "Whole photo; the rubber edge; one to one"],
  ["Arrows", "Move the photo"],
  ["O", "Show or hide the marks"],
  ["?", "This list"],
];

function drawKeys(parent, close) {
  parent.replaceChildren();
  element("b", { text: "Keys of the photo workspace" }, parent);
  const list = element("dl", {}, parent);
  for (const [key, words] of KEYS) {
    element("dt", { text: key }, list);
    element("dd", { text: words }, list);
  }
  element("button", { text: "Close", on: close }, parent);
}
