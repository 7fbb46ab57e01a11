// Findings and layers by the hash of what Python told of them. Python sends each once; what
// did not change stays the same object here, and need not be drawn anew. Until Python
// answers, a finding is shown as its edit will leave it.

const PARTS = new Map();
const MOST_PARTS = 5000;

function keepParts(parts) {
  for (const [name, part] of Object.entries(parts)) {
    PARTS.delete(name);
    PARTS.set(name, part);
  }
  for (const oldest of PARTS.keys()) {
    if (PARTS.size <= MOST_PARTS) break;
    PARTS.delete(oldest);
  }
}

function lostParts(data) {
  return [data.layers, ...data.findings].filter((name) => !PARTS.has(name));
}

// The data with the parts in the place of their names; what is lost is left out.
function withParts(data) {
  const { boundaries, layers } = PARTS.get(data.layers) || { boundaries: [], layers: [] };
  const findings = data.findings.map((name) => PARTS.get(name)).filter(Boolean);
  const rubber = layers.filter((x) => x.kind === "rubber").map((x) => x.index);
  return { ...data, boundaries, layers, findings, rubber };
}

async function fetchParts(data, names) {
  try {
    const reply = await fetch(`${data.ask}/parts?of=${names.join(",")}`);
    if (reply.ok) keepParts(await reply.json());
  } catch {
    // The server is gone; the page itself says so.
  }
}

// A finding as an edit will leave it, as far as that is known before Python answers.
function withOp(finding, op) {
  const made = { ...finding };
  const state = { confirm: "confirmed", reject: "rejected" }[op.do];
  if (state) made.state = state;
  if (op.do === "reject") made.reason = op.reason;
  if (op.do === "kind") made.kind = op.to;
  if (op.do === "layer") [made.layer, made.place] = [op.to, `layer ${op.to}`];
  if (op.do === "shape" && op.line === null) made.polygon = spliced(finding.polygon, op);
  else if (op.do === "shape" && finding.lines[op.line]) {
    made.lines = finding.lines.with(op.line, spliced(finding.lines[op.line], op));
  }
  if (op.do === "drop") made.lines = finding.lines.filter((_, i) => i !== op.line);
  return made;
}
