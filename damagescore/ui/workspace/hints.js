// The strip over the photo: what the tool in hand wants next.

function drawHint(ws) {
  const hint = ws.part(".hint");
  const typed = hint.querySelector("input")?.value || "";
  const active = ws.root.getRootNode().activeElement;
  const typing = active && active === hint.querySelector("input");
  const pressed = hint.contains(active) ? active.textContent : null;
  hint.replaceChildren();
  hint.classList.toggle("fault", Boolean(ws.fault));
  // Layers are worked on up to the photo's upper end: there the strip lies above the photo.
  hint.classList.toggle("above", ws.tool === "layers");
  if (ws.fault) return hintFault(ws, hint);
  if (ws.news && ws.tool === "select") return hintNews(ws, hint);
  const write = { trace: hintTrace, edit: hintEdit, area: hintArea, add: hintArea, take: hintArea,
    ruler: hintRuler, layers: hintLayers, scale: hintScale, region: hintLimit, keepout: hintLimit }[ws.tool];
  if (write) write(ws, hint, typed);
  else if (ws.pending.some((op) => ["region", "keepout", "scale"].includes(op.do))) {
    element("span", { text: "Measuring the photo again…" }, hint);
  } else if (ws.pending.length) element("span", { text: "Saving…" }, hint);
  // Drawn anew, the strip keeps the focus where it was.
  const again = typing ? hint.querySelector("input")
    : pressed && [...hint.querySelectorAll("button")].find((b) => b.textContent === pressed);
  if (again && !again.disabled) again.focus();
  else if (pressed) ws.root.focus({ preventScroll: true });
  return undefined;
}

function hintFault(ws, hint) {
  element("span", { text: ws.fault }, hint);
  element("button", { text: "Close", on: () => ws.cancel() }, hint);
}

// What others changed meanwhile is told until it is closed or the next tool is taken.
function hintNews(ws, hint) {
  element("span", { cls: "news", text: ws.news }, hint);
  element("button", { text: "Close", "data-do": "close-news", on: () => ws.cancel() }, hint);
}

function toggle(hint, text, on, press, title = "") {
  element("button", { text, title, "aria-pressed": String(on), on: press }, hint);
}

function hintTrace(ws, hint) {
  const n = ws.draft.points.length;
  const what = ws.retracing ? `Retrace ${ws.retracing}` : "Trace";
  element("span", { text: `${what}: click both ends, and points between on a long bend` +
    `${n ? ` (${n} so far)` : ""}.` }, hint);
  if (!ws.retracing) {
    for (const [kind, text] of [["crack", "Crack"], ["bond_gap", "Bond gap"]]) {
      toggle(hint, text, ws.lineKind === kind, () => { ws.lineKind = kind; ws.refresh(); });
    }
  }
  toggle(hint, "Follow the dark line", ws.snap, () => { ws.snap = !ws.snap; ws.refresh(); },
    "Off: straight lines between the points");
  hintEnd(ws, hint);
}

function hintEdit(ws, hint) {
  const finding = ws.found(ws.chosen);
  const words = ws.shape.waits ? `Measuring ${ws.chosen}…`
    : `Edit ${ws.chosen}: drag a point, or a small one between to add it. ${finding?.main || ""}`;
  element("span", { text: words }, hint);
  if (finding && !finding.polygon) {
    toggle(hint, "Follow the dark line", ws.snapEdit,
      () => { ws.snapEdit = !ws.snapEdit; ws.refresh(); },
      "On: the moved stretch is laid on the dark line again");
  }
  const out = element("button", { text: "Take the point out", "data-do": "remove-point",
    on: () => ws.shape.remove() }, hint);
  out.disabled = !ws.shape.current;
  if (finding && finding.lines.length > 1) {
    const branch = element("button", { text: "Take the branch out", "data-do": "remove-line",
      on: () => ws.shape.removeCurrentLine() }, hint);
    branch.disabled = !ws.shape.current;
  }
  element("button", { text: "Done", cls: "primary", "data-do": "finish",
    on: () => ws.use("select") }, hint);
}

function hintArea(ws, hint) {
  const words = {
    area: "Outline a crumbled area",
    add: `Add to ${ws.chosen}: start inside it and outline what belongs to it too`,
    take: `Take away from ${ws.chosen}: outline what is sound`,
  }[ws.tool];
  element("span", { text: `${words}; draw in one go, or click round it.` }, hint);
  hintEnd(ws, hint);
}

function hintRuler(ws, hint) {
  const { answer } = ws.draft;
  element("span", { text: answer ? "Between the two points: " : "Click two points to measure " +
    "between them." }, hint);
  if (answer) element("b", { cls: "answer", text: answer }, hint);
  if (answer && !ws.data.locked) {
    element("button", { text: "Keep on the photo", "data-do": "keep-ruler",
      title: "In the record and the report; no damage, in no total", on: () => ws.keepRuler() }, hint);
  }
  if (!ws.data.locked && !answer) ws.data.rulers.forEach((line, i) => element("button", {
    text: `Take line ${i + 1} out`, title: line.text,
    on: () => ws.push({ do: "rulerout", number: i + 1 }) }, hint));
  element("button", { text: "Done", on: () => ws.use("select") }, hint);
}

function hintScale(ws, hint, typed) {
  element("span", { text: `Click two points a known distance apart on the edge ` +
    `(${ws.draft.points.length} of 2), then give the distance.` }, hint);
  const input = element("input", { type: "number", min: "0", step: "any", inputmode: "decimal",
    "aria-label": "Distance" }, hint);
  input.value = typed;
  element("span", { text: ws.data.unit }, hint);
  hintEnd(ws, hint, "Measure again");
}

function hintLimit(ws, hint) {
  const { region, keepOut } = ws.data;
  const words = ws.tool === "region"
    ? "Draw round what is to be judged; the rest is left out."
    : "Draw round what is to be kept out, such as a clamp or a smear.";
  element("span", { text: `${words} The photo is measured again; what you reviewed is kept.` },
    hint);
  if (ws.tool === "region" && region) {
    element("button", { text: "Judge the whole photo", "data-do": "no-region",
      on: () => { ws.push({ do: "region", points: null }); ws.use("select"); } }, hint);
  }
  if (ws.tool === "keepout") keepOut.forEach((_, i) => element("button", {
    text: `Judge area ${i + 1} again`, on: () => {
      ws.push({ do: "keepout", remove: i });
      ws.use("select");
    } }, hint));
  hintEnd(ws, hint);
}

function hintEnd(ws, hint, text = "Finish") {
  const end = element("button", { text, cls: "primary", "data-do": "finish",
    on: () => ws.finish() }, hint);
  end.disabled = ws.draft.points.length < TOOLS[ws.tool].least;
  if (ws.draft.points.length) {
    element("button", { text: "Point back", title: "Take back the last point (Backspace)",
      on: () => ws.draft.pop() }, hint);
  }
  element("button", { text: "Cancel", on: () => ws.use("select") }, hint);
}
