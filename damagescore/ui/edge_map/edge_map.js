// The edge map: layers as bands, findings at their place. It follows the selection of the
// photo workspace on the same page, and selects there what is clicked here.

const SVG = "http://www.w3.org/2000/svg";
const PARTS = new Map(), MOST_PARTS = 5000;
const BAND = 30, SHIM = 7, LEFT = 58, RIGHT = 12, AXIS = 24, TOP = 4;

function svg(name, attributes, parent) {
  const node = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  parent?.append(node);
  return node;
}

function html(name, attributes, parent) {
  const { text, ...others } = attributes;
  const node = Object.assign(document.createElement(name), others);
  if (text !== undefined) node.textContent = text;
  parent?.append(node);
  return node;
}

// The nearest of 1, 2 and 5 times a power of ten, so that about `count` steps fit.
function roundStep(reach, count) {
  const power = 10 ** Math.floor(Math.log10(reach / count));
  return [1, 2, 5, 10].map((n) => n * power).find((s) => reach / s <= count) || 10 * power;
}

function workspaceRoot() {
  for (const host of document.querySelectorAll("[data-testid=stBidiComponentIsolated], div")) {
    const root = host.shadowRoot?.querySelector(".ws");
    if (root?.workspace) return root;
  }
  return null;
}

class EdgeMap {
  constructor(root) {
    this.root = root;
    this.chosen = null;
    new ResizeObserver(() => this.draw()).observe(root);
    this.timer = setInterval(() => this.follow(), 300);
  }

  // Each finding comes once and is named by its hash from then on.
  update(told, lose) {
    if (PARTS.size > MOST_PARTS) PARTS.clear();
    for (const [name, part] of Object.entries(told.parts)) PARTS.set(name, part);
    const names = told.findings.filter((name) => !PARTS.has(name));
    if (names.length) this.seek(told, names, lose);
    const drawn = JSON.stringify({ ...told, parts: 0 });
    if (drawn === this.drawn && !names.length) return;
    this.drawn = names.length ? "" : drawn;
    this.data = { ...told, findings: told.findings.map((n) => PARTS.get(n)).filter(Boolean) };
    this.width = 0;
    this.draw();
  }

  async seek(told, names, lose) {
    if (this.sought === told) return;
    this.sought = told;
    const reply = await fetch(`${told.ask}/parts?of=${names.join(",")}`).catch(() => null);
    const found = reply?.ok ? await reply.json() : {};
    if (this.sought !== told) return;
    if (names.some((name) => !found[name])) lose();
    else this.update({ ...told, parts: found }, lose);
  }

  follow() {
    if (!this.workspace?.isConnected) this.workspace = workspaceRoot();
    const now = this.workspace?.workspace.chosen ?? null;
    if (this.workspace && now !== this.chosen) this.choose(now);
  }

  pick(id) {
    if (!this.workspace?.isConnected) this.workspace = workspaceRoot();
    this.workspace?.workspace.pick(id);
    this.workspace?.scrollIntoView({ block: "nearest" });
    this.choose(id);
  }

  choose(id) {
    this.chosen = id;
    for (const item of this.root.querySelectorAll(".item")) {
      const on = item.dataset.id === id;
      item.classList.toggle("chosen", on);
      item.setAttribute("aria-pressed", String(on));
    }
    this.drawDetail();
  }

  draw() {
    const width = Math.floor(this.root.clientWidth);
    if (!this.data || !width || width === this.width) return;
    this.width = width;
    this.root.replaceChildren();
    const layers = [...this.data.layers].sort((a, b) => b.index - a.index);
    this.reach = this.data.bars ? this.barReach() : Math.max(...layers.map((x) => x.to));
    let y = TOP;
    this.bands = new Map();
    for (const layer of layers) {
      const height = layer.rubber ? BAND : SHIM;
      this.bands.set(layer.index, { y, height });
      y += height;
    }
    const box = svg("svg", { height: y + AXIS, viewBox: `0 0 ${width} ${y + AXIS}`,
      role: "group", "aria-label": this.summary() }, this.root);
    this.drawBands(box, layers);
    this.drawAxis(box, y);
    this.drawUnseen(box);
    this.used = [];
    for (const finding of this.data.findings) this.drawFinding(box, finding);
    this.tip = html("div", { className: "tip", hidden: true }, this.root);
    this.drawLegend();
    this.detail = html("div", { className: "detail", hidden: true }, this.root);
    this.detail.setAttribute("role", "status");
    this.choose(this.chosen);
  }

  // The longest bar leaves room for its size beside it.
  barReach() {
    const { findings } = this.data;
    const wide = 7 * Math.max(0, ...findings.map((f) => f.label.length)) + 14;
    const plot = this.width - LEFT - RIGHT;
    const most = Math.max(1e-6, ...findings.map((f) => Math.abs(f.value) + f.half));
    return (most * plot) / Math.max(0.5 * plot, plot - wide);
  }

  summary() {
    const { findings, layers } = this.data;
    const rubber = layers.filter((x) => x.rubber).length;
    return `Edge map: ${rubber} rubber layers, ${findings.length} findings` +
      (findings.length ? ": " : "") + findings.map((f) => `${f.title}, ${f.text}`).join("; ");
  }

  x(value) {
    return LEFT + (value / this.reach) * (this.width - LEFT - RIGHT);
  }

  drawBands(box, layers) {
    for (const layer of layers) {
      const { y, height } = this.bands.get(layer.index);
      const [from, to] = this.data.bars ? [0, this.reach] : [layer.from, layer.to];
      svg("rect", { x: this.x(from), y, width: this.x(to) - this.x(from), height,
        class: layer.rubber ? "rubber" : "shim" }, box);
      if (!layer.rubber) continue;
      svg("text", { x: 0, y: y + height / 2 + 4 }, box).textContent = `Layer ${layer.index}`;
    }
  }

  // Hatched: what is not found there says nothing.
  drawUnseen(box) {
    if (!this.data.unseen.length) return;
    this.hatch(box);
    for (const path of this.placed(this.data.unseen)) {
      const d = `M${path.points.map((p) => p.map((v) => v.toFixed(1)).join(" ")).join("L")}Z`;
      svg("path", { d, class: "unseen" }, box);
    }
  }

  hatch(box) {
    const pattern = svg("pattern", { id: "unseen", width: 6, height: 6,
      patternUnits: "userSpaceOnUse", patternTransform: "rotate(-45)" }, svg("defs", {}, box));
    svg("line", { x1: 0, x2: 0, y1: 0, y2: 6, class: "unseen-line" }, pattern);
  }

  drawAxis(box, y) {
    const nothing = this.data.findings.every((f) => f.value === null);
    if (this.data.bars && nothing) return; // there is no length to read off
    const step = roundStep(this.reach, Math.max(2, (this.width - LEFT) / 90));
    for (let at = 0; at <= this.reach * 1.0001; at += step) {
      svg("line", { x1: this.x(at), x2: this.x(at), y1: y, y2: y + 5, class: "tick" }, box);
      const last = at + step > this.reach * 1.0001;
      const narrow = this.width - this.x(at) < 30;
      const text = svg("text", { x: this.x(at), y: y + 18, "text-anchor":
        narrow ? "end" : "middle" }, box);
      text.textContent = `${Number(at.toPrecision(6))}${last ? ` ${this.data.unit}` : ""}`;
    }
  }

  drawFinding(box, finding) {
    const style = this.data.styles[finding.state === "rejected" ? "rejected" : finding.kind];
    const paths = this.data.bars ? this.barOf(finding) : this.pathsOf(finding);
    const band = this.bands.get(finding.layer);
    const missing = this.data.bars && finding.value === null && band;
    if (!paths.length && !missing) return;
    const item = svg("g", { class: `item ${finding.state}`, role: "button", tabindex: 0,
      "aria-label": `${finding.title}, ${finding.text}`, "data-id": finding.id }, box);
    for (const path of paths) this.stroke(item, path, style);
    const all = paths.flatMap((p) => p.points);
    if (missing) {
      const [x, y] = [this.x(0) + 10, band.y + band.height / 2];
      svg("text", { x, y: y + 4, class: "missing" }, item).textContent = "not measured";
      all.push([x, y - 7], [x + 78, y + 7]);
    }
    const xs = all.map((p) => p[0]), ys = all.map((p) => p[1]);
    const edge = [Math.min(...xs) - 4, Math.min(...ys) - 4,
      Math.max(...xs) + 4, Math.max(...ys) + 4];
    svg("rect", { class: "frame", x: edge[0], y: edge[1], width: edge[2] - edge[0],
      height: edge[3] - edge[1], rx: 3 }, item);
    this.label(item, finding, edge);
    this.listen(item, finding, edge);
  }

  stroke(item, { points, closed }, style) {
    const d = `M${points.map((p) => p.map((v) => v.toFixed(1)).join(" ")).join("L")}` +
      (closed ? "Z" : "");
    svg("path", { d, class: "halo", "stroke-width": style.width + 2 }, item);
    const stroke = svg("path", { d, class: "stroke", stroke: style.colour,
      "stroke-width": style.width, "stroke-dasharray": style.dash.join(" ") }, item);
    if (closed) stroke.setAttribute("style", `fill:${style.colour};fill-opacity:0.35`);
    svg("path", { d, class: "hit" }, item);
  }

  pathsOf(finding) {
    return this.placed(finding.lines);
  }

  placed(lines) {
    return lines.map(({ layer, closed, points }) => {
      const { y, height } = this.bands.get(layer);
      return { closed, points: points.map(([x, s]) => [this.x(x), y + 2 + s * (height - 4)]) };
    });
  }

  barOf(finding) {
    const band = this.bands.get(finding.layer);
    if (!band || finding.value === null) return [];
    const y = band.y + band.height / 2, end = this.x(Math.abs(finding.value));
    const [low, high] = [-1, 1].map((s) =>
      this.x(Math.max(0, Math.abs(finding.value) + s * finding.half)));
    return [
      { closed: false, points: [[this.x(0), y], [end, y]] },
      { closed: false, points: [[low, y - 5], [low, y + 5]] },
      { closed: false, points: [[high, y - 5], [high, y + 5]] },
    ];
  }

  // The size beside a finding, where it hides nothing.
  label(item, finding, [left, top, right, bottom]) {
    const wide = 7 * finding.label.length, y = (top + bottom) / 2 + 4;
    const band = this.bands.get(finding.layer);
    for (const x of [right + 3, left - wide - 3]) {
      const place = [x, y - 11, x + wide, y + 2];
      const free = x > this.x(0) && x + wide < this.x(this.reach) && band?.height === BAND &&
        !this.used.some((u) => u[0] < place[2] && u[2] > place[0] && u[1] < place[3] &&
          u[3] > place[1]);
      if (!free || !finding.label) continue;
      svg("text", { x, y, class: "size" }, item).textContent = finding.label;
      this.used.push(place);
      break;
    }
    this.used.push([left, top, right, bottom]);
  }

  listen(item, finding, [left, , , bottom]) {
    const show = () => {
      this.tip.replaceChildren();
      html("b", { text: finding.title }, this.tip);
      html("span", { text: finding.text }, this.tip);
      this.tip.hidden = false;
      const most = this.width - this.tip.offsetWidth - 2;
      this.tip.style.left = `${Math.max(0, Math.min(left, most))}px`;
      this.tip.style.top = `${bottom + 8}px`;
    };
    const hide = () => { this.tip.hidden = true; };
    item.addEventListener("pointerenter", show);
    item.addEventListener("pointerleave", hide);
    item.addEventListener("focus", show);
    item.addEventListener("blur", hide);
    item.addEventListener("click", () => this.pick(finding.id));
    item.addEventListener("keydown", (event) => {
      if (!["Enter", " "].includes(event.key)) return;
      event.preventDefault();
      event.stopPropagation();
      this.pick(finding.id);
    });
  }

  drawLegend() {
    const kinds = new Set(this.data.findings.map((f) =>
      (f.state === "rejected" ? "rejected" : f.kind)));
    const list = html("ul", { className: "legend" }, this.root);
    for (const kind of kinds) {
      const style = this.data.styles[kind];
      const entry = html("li", {}, list);
      const sample = svg("svg", { viewBox: "0 0 30 12", "aria-hidden": "true" }, entry);
      this.stroke(sample, { points: [[3, 6], [27, 6]], closed: false }, style);
      entry.append(style.words);
    }
    if (this.data.unseen.length) {
      const entry = html("li", {}, list);
      const sample = svg("svg", { viewBox: "0 0 30 12", "aria-hidden": "true" }, entry);
      this.hatch(sample);
      svg("rect", { x: 1, y: 1, width: 28, height: 10, class: "unseen" }, sample);
      entry.append("not judged");
    }
    if (kinds.size) return;
    const where = this.data.unseen.length ? "where the rubber could be judged" : "on this edge";
    html("li", { text: `Nothing was found ${where}.` }, list);
  }

  drawDetail() {
    const finding = this.data.findings.find((f) => f.id === this.chosen);
    if (!this.detail) return;
    this.detail.hidden = !finding?.detail;
    if (!finding?.detail) return;
    // Made by the program, with all names in it escaped.
    this.detail.innerHTML = "<b></b><p>Where the uncertainty comes from; standard " +
      `uncertainties, the largest first.</p>${finding.detail}`;
    this.detail.firstChild.textContent = finding.title;
  }

  end() {
    clearInterval(this.timer);
  }
}

export default function (component) {
  const root = component.parentElement.querySelector(".map");
  root.edgeMap = root.edgeMap || new EdgeMap(root);
  root.edgeMap.update(component.data, () => component.setStateValue("lost", Date.now()));
  return () => {
    root.edgeMap?.end();
    root.edgeMap = null;
  };
}
