// The list beside the photo, and the sheet of keys. Text goes in as text, never as HTML.

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

function swatch(style, parent) {
  const svg = shape("svg", { width: 34, height: 16, "aria-hidden": "true" });
  parent.appendChild(svg);
  const line = { x1: 4, y1: 8, x2: 30, y2: 8 };
  shape("line", { ...line, stroke: DARK, "stroke-width": style.width + 3.6 }, svg);
  shape("line", { ...line, stroke: LIGHT, "stroke-width": style.width + 1.9 }, svg);
  shape("line", { ...line, stroke: style.colour, "stroke-width": style.width,
    "stroke-dasharray": style.dash.join(" ") }, svg);
}

const STATES = {
  proposed: ["○", "Proposed, not reviewed"],
  confirmed: ["✓", "Confirmed"],
  rejected: ["✕", "Rejected"],
};

// In words, for those who do not see the marks.
function wordsOf(finding, data) {
  const kind = (data.kinds.find((k) => k.id === finding.kind) || { label: "Bulge" }).label;
  return `${finding.id}, ${kind}, ${finding.main}, ${STATES[finding.state][1]}, ${finding.place}`;
}

function sceneWords(data, findings) {
  const count = (kind) => findings.filter((f) => f.kind === kind).length;
  const kinds = [...data.kinds, { id: "bulge", label: "Bulge" }].map((k) => [count(k.id), k.label])
    .filter(([n]) => n).map(([n, label]) => `${label.toLowerCase()}: ${n}`);
  return `Photo with ${data.layers.length} layers and ${findings.length} findings` +
    `${kinds.length ? ` (${kinds.join(", ")})` : ""}. The list beside it names them; N and P go ` +
    "from one to the next.";
}

// Rows whose finding did not change stay as they are: of 200 an edit changes one or two.
function drawRows(rows, findings, { data, chosen, act }) {
  const known = new Map([...rows.children].map((row) => [row.finding, row]));
  const wanted = findings.map((finding) => {
    const row = known.get(finding);
    const same = row && finding.id !== chosen && !row.classList.contains("chosen") &&
      row.waits === act.waits(finding.id) && row.styles === data.unit;
    if (same) return row;
    const made = drawRow(finding, { data, chosen: finding.id === chosen, act },
      document.createDocumentFragment());
    Object.assign(made, { finding, waits: act.waits(finding.id), styles: data.unit });
    return made;
  });
  const { children } = rows;
  const moved = wanted.some((row, i) => row.parentNode === rows && children[i] !== row);
  if (moved || children.length !== wanted.length) rows.replaceChildren(...wanted);
  else wanted.forEach((row, i) => { if (children[i] !== row) children[i].replaceWith(row); });
}

function drawRow(finding, { data, chosen, act }, parent) {
  const cls = `row ${finding.state}${chosen ? " chosen" : ""}`;
  const row = element("div", { cls, role: "listitem", "data-id": finding.id }, parent);
  const [sign, words] = STATES[finding.state];
  const head = element("button", { cls: "line", "aria-expanded": String(chosen),
    "aria-label": wordsOf(finding, data) }, row);
  row.addEventListener("click", () => act.pick(finding.id));
  swatch(finding.state === "rejected" ? data.styles.rejected : data.styles[finding.kind], head);
  element("span", { cls: "name", text: finding.id }, head);
  element("span", { cls: "main", text: act.waits(finding.id) ? "measuring…" : finding.main }, head);
  const state = element("div", { cls: "state" }, row);
  element("b", { text: `${sign} ${words}` }, state);
  element("span", { text: finding.place }, state);
  if (chosen) drawDetails(finding, { data, act }, row);
  return row;
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
  if (finding.why) element("div", { cls: "why-not", text: finding.why }, more);
  if (finding.reason) element("div", { text: `Reason: ${finding.reason}` }, more);
  if (data.locked) return;
  const acts = element("div", { cls: "acts" }, more);
  const confirmed = finding.state === "confirmed", rejected = finding.state === "rejected";
  if (!confirmed) element("button", { text: "Confirm", cls: rejected ? "" : "primary", title: "Key C",
    "data-act": "confirm", on: () => act.review("confirm") }, acts);
  if (!rejected) element("button", { text: "Reject…", title: "Key R", "data-act": "reject",
    on: () => act.askReason() }, acts);
  if (act.asking()) drawReasons({ data, act }, more);
  drawShaping(finding, { act }, more);
  drawChoices(finding, { data, act }, more);
}

function drawShaping(finding, { act }, more) {
  if (finding.kind === "bulge") return;
  const acts = element("div", { cls: "acts" }, more);
  const button = (text, title, name, on) =>
    element("button", { text, title, "data-act": name, on }, acts);
  if (finding.polygon || finding.lines.length) {
    button("Edit points", "Drag, add and take out points (D)", "edit", () => act.use("edit"));
  }
  if (finding.lines.length) button("Retrace", "Trace it again", "retrace", () => act.retrace());
  if (!finding.polygon) return;
  button("Add to it", "Draw what belongs to it too (W)", "add", () => act.use("add"));
  button("Take away", "Draw round what does not belong to it (X)", "take", () => act.use("take"));
}

function drawReasons({ data, act }, more) {
  const acts = element("div", { cls: "acts reasons" }, more);
  data.reasons.forEach((reason, i) => element("button", { text: `${i + 1} ${reason}`,
    "data-reason": reason, on: () => act.review("reject", reason) }, acts));
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
  if (!data.rubber.length) return;
  const label = element("label", { text: "Layer " }, acts);
  const list = element("select", { "aria-label": "Layer", on: (event) =>
    act.change("layer", Number(event.target.value)) }, label);
  if (finding.layer === null) option(list, "", "–", "");
  for (const layer of data.rubber) option(list, String(layer), String(layer),
    String(finding.layer));
}

// Where a crack may go on beyond a gap: a plain choice for each.
function drawGaps(place, links, { data, act }) {
  place.hidden = !links.length;
  place.replaceChildren();
  for (const link of links) {
    const row = element("div", { cls: "gap-row", role: "listitem", "data-link": link.id }, place);
    const head = element("button", { cls: "line", title: "Show it", on: () => act.show(link) }, row);
    swatch(data.styles.link, head);
    element("span", { cls: "name", text: link.name }, head);
    element("div", { cls: "ask", text: `Does it go on? ${sentence(link.words)}.` }, row);
    if (data.locked) continue;
    const acts = element("div", { cls: "acts" }, row);
    element("button", { text: "Join", "data-act": "bridge",
      title: "One crack; the way across the gap counts to its length",
      on: () => act.decide("bridge", link) }, acts);
    element("button", { text: "Leave apart", "data-act": "apart", title: "Two cracks",
      on: () => act.decide("apart", link) }, acts);
  }
}

// Rubber that could not be judged: what is not found there says nothing.
function drawUnseen(place, groups, { data, act }) {
  place.hidden = !groups.length;
  place.replaceChildren();
  for (const group of groups) {
    const row = element("div", { cls: "gap-row", role: "listitem" }, place);
    const head = element("button", { cls: "line", title: "Show it", on: () => act.show(group) }, row);
    swatch(data.styles.unjudged, head);
    element("span", { cls: "name", text: group.name }, head);
    element("div", { cls: "ask", text: group.words }, row);
  }
}

function sentence(words) {
  return words[0].toUpperCase() + words.slice(1);
}

const KEYS = [
  ["Look", [
    ["+, −", "Zoom in and out; also the wheel, or two fingers"],
    ["F, E, 1", "Whole photo; the rubber edge; one to one"],
    ["Arrows", "Move the photo"],
    ["O; hold H", "Marks off and on; off while held, to see before and after"],
    ["L", "Loupe; on a touch screen, rest a finger on the photo"],
    ["B", "Brightness and contrast, for looking only"],
  ]],
  ["Review", [
    ["N, P", "Next and previous finding"],
    ["C", "Confirm the selected finding"],
    ["R, then 1 to 5", "Reject it, with a reason"],
    ["K", "Change its kind, crack or bond gap"],
    ["J, Shift J", "Move it to the next layer above, below"],
    ["U, Y", "Take back the last change; make it again"],
  ]],
  ["Draw", [
    ["V", "Select; drag to move the photo"],
    ["T", "Trace a line: click along it"],
    ["A", "Outline an area: click round it, or draw it in one go"],
    ["D", "Edit the points of the selected finding"],
    ["W, X", "Add to the selected area; take away from it"],
    ["M", "Measure between two clicks; the line may be kept"],
    ["Z", "Put layers right: drag a border, add or remove one"],
    ["S", "Scale by two points"],
    ["G, Q", "Region to judge; area to keep out"],
    ["Enter, Backspace", "Finish; take back the last point"],
    ["Esc", "Leave the tool, or drop the selection"],
  ]],
  ["Without a mouse", [
    ["Arrows, Space", "While drawing: move the cross (Shift: farther), put a point"],
    ["I", "Select the finding under the cross or the pointer"],
    [". and ,", "While editing: next and previous point; arrows move it"],
    ["Insert, Delete", "Add a point after it; take it out"],
    ["N, P with Layers", "Layer above, layer below; . and , its points"],
    ["Shift Insert", "With Layers: add a shim at the cross or in the layer"],
    ["Shift Delete", "With Layers: remove the layer"],
    ["?", "This list"],
  ]],
];

function drawKeys(parent, close) {
  parent.replaceChildren();
  const head = element("div", { cls: "sheet-head" }, parent);
  element("b", { text: "Keys of the photo workspace" }, head);
  element("button", { text: "Close", on: close }, head).focus();
  const columns = element("div", { cls: "columns" }, parent);
  for (const [title, keys] of KEYS) {
    const block = element("section", {}, columns);
    element("h4", { text: title }, block);
    const list = element("dl", {}, block);
    for (const [key, words] of keys) {
      element("dt", { text: key }, list);
      element("dd", { text: words }, list);
    }
  }
}
