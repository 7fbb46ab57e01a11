// The strip over the photo: what the tool in hand wants next.

function drawHint(ws) {
  const hint = ws.part(".hint");
  const typed = hint.querySelector("input")?.value || "";
  hint.replaceChildren();
  hint.classList.toggle("fault", Boolean(ws.fault));
  if (ws.fault) {
    element("span", { text: ws.fault }, hint);
    element("button", { text: "Close", on: () => ws.cancel() }, hint);
    return;
  }
  if (ws.pending.length && ws.tool === "select") {
    element("span", { text: "Saving…" }, hint);
    return;
  }
  if (ws.tool === "trace") hintTrace(ws, hint);
  if (ws.tool === "area") hintArea(ws, hint);
  if (ws.tool === "scale") hintScale(ws, hint, typed);
}

function hintTrace(ws, hint) {
  const what = ws.retracing ? `Retrace ${ws.retracing}` : "Trace";
  element("span", { text: `${what}: click both ends, and points between on a long bend ` +
    `(${ws.points.length} so far).` }, hint);
  if (!ws.retracing) {
    for (const [kind, text] of [["crack", "Crack"], ["bond_gap", "Bond gap"]]) {
      element("button", { text, "aria-pressed": String(ws.lineKind === kind),
        on: () => { ws.lineKind = kind; ws.refresh(); } }, hint);
    }
  }
  element("button", { text: "Follow the dark line", "aria-pressed": String(ws.snap),
    title: "Off: straight lines between the points",
    on: () => { ws.snap = !ws.snap; ws.refresh(); } }, hint);
  hintEnd(ws, hint, 2);
}

function hintArea(ws, hint) {
  element("span", { text: `Click round the crumbled area (${ws.points.length} so far).` },
    hint);
  hintEnd(ws, hint, 3);
}

function hintScale(ws, hint, typed) {
  element("span", { text: `Click two points a known distance apart on the edge ` +
    `(${ws.points.length} of 2), then give the distance.` }, hint);
  const input = element("input", { type: "number", min: "0", step: "any",
    "aria-label": "Distance" }, hint);
  input.value = typed;
  element("span", { text: ws.data.unit }, hint);
  hintEnd(ws, hint, 2, "Measure again");
}

function hintEnd(ws, hint, least, text = "Finish") {
  const end = element("button", { text, cls: "primary", "data-do": "finish",
    on: () => ws.finish() }, hint);
  end.disabled = ws.points.length < least;
  element("button", { text: "Cancel", on: () => ws.use("select") }, hint);
}
