// The workspace: tools, keys, and the numbered queue of edits that Python acknowledges.

class Workspace {
  constructor(root) {
    this.root = root;
    this.stage = root.querySelector(".stage");
    this.svg = root.querySelector("svg");
    this.part = (name) => root.querySelector(name);
    this.view = new View(this.stage);
    this.view.onDraw = () => this.place();
    this.pending = [];
    this.number = 0;
    this.tool = "select";
    this.points = [];
    this.chosen = null;
    this.marks = true;
    this.reasons = false;
    this.lineKind = "crack";
    this.retracing = null;
    this.snap = true;
    this.listen();
    new ResizeObserver(() => (this.view.framed ? this.view.redraw() : this.view.fit()))
      .observe(this.stage);
  }

  update(data, send) {
    this.send = send;
    const faultIsNew = data.fault && (!this.data || this.data.fault?.n !== data.fault.n);
    this.data = data;
    this.number = Math.max(this.number, data.ack);
    this.pending = this.pending.filter((op) => op.n > data.ack);
    if (faultIsNew) this.fault = data.fault.text;
    if (this.chosen && !this.found(this.chosen)) this.chosen = null;
    this.view.load(data.photo);
    this.refresh();
  }

  // Edits ------------------------------------------------------------------
  push(op) {
    if (this.data.locked) return;
    this.number += 1;
    this.pending.push({ n: this.number, ...op });
    this.fault = null;
    this.send("ops", this.pending.slice());
    this.refresh();
  }

  findings() {
    const shown = this.data.findings.map((f) => ({ ...f }));
    for (const op of this.pending) {
      const finding = shown.find((f) => f.id === op.id);
      if (!finding) continue;
      const state = { confirm: "confirmed", reject: "rejected" }[op.do];
      if (state) finding.state = state;
      if (op.do === "reject") finding.reason = op.reason;
      if (op.do === "kind") finding.kind = op.to;
      if (op.do === "layer") finding.layer = op.to;
    }
    return shown;
  }

  found(id) {
    return this.findings().find((f) => f.id === id);
  }

  review(what, reason) {
    if (!this.chosen) return;
    this.reasons = false;
    const id = this.chosen;
    this.push(reason ? { do: what, id, reason } : { do: what, id });
    this.root.focus({ preventScroll: true });
  }

  // Selection and tools ------------------------------------------------------
  pick(id, { show = true } = {}) {
    this.chosen = id;
    this.reasons = false;
    const finding = id && this.found(id);
    if (finding && show && pointsOf(finding).length) this.view.show(boxOf(finding));
    this.refresh();
    this.part(".row.chosen")?.scrollIntoView({ block: "nearest" });
  }

  step(by) {
    const ids = this.findings().map((f) => f.id);
    if (!ids.length) return;
    const now = ids.indexOf(this.chosen);
    this.pick(ids[(now + by + ids.length) % ids.length]);
  }

  usable(tool) {
    const { locked, measured, profile } = this.data;
    if (tool === "select") return true;
    return !locked && (tool === "scale" || (measured && !profile));
  }

  use(tool, retracing = null) {
    if (!this.usable(tool)) return;
    this.tool = tool;
    this.retracing = retracing;
    this.points = [];
    this.fault = null;
    this.refresh();
  }

  addPoint(point) {
    const last = this.points.at(-1);
    if (last && Math.hypot(last[0] - point[0], last[1] - point[1]) * this.view.k < 4) return;
    if (this.tool === "scale" && this.points.length === 2) this.points = [];
    this.points.push(point.map((v) => Math.round(v * 100) / 100));
    this.refresh();
  }

  finish() {
    const { points, snap } = this;
    if (this.tool === "scale") return this.applyScale();
    if (points.length < (this.tool === "area" ? 3 : 2)) return undefined;
    if (this.tool === "area") this.push({ do: "area", points });
    else if (this.retracing) this.push({ do: "retrace", id: this.retracing, points, snap });
    else this.push({ do: "trace", points, kind: this.lineKind, snap });
    return this.use("select");
  }

  applyScale() {
    const input = this.part(".hint input");
    const length = Number(input?.value);
    if (this.points.length !== 2 || !(length > 0)) return input?.focus();
    this.push({ do: "scale", points: this.points, length, unit: this.data.unit });
    return this.use("select");
  }

  cancel() {
    const keys = this.part(".keys");
    if (!keys.hidden) keys.hidden = true;
    else if (this.fault) this.fault = null;
    else if (this.reasons) this.reasons = false;
    else if (this.tool !== "select") return this.use("select");
    else this.chosen = null;
    return this.refresh();
  }

  // Drawing ------------------------------------------------------------------
  refresh() {
    const { data } = this;
    const findings = this.findings();
    this.root.dataset.pending = String(this.pending.length);
    this.root.dataset.findings = String(findings.length);
    this.part("svg").style.display = this.marks ? "" : "none";
    this.stage.classList.toggle("drawing", this.tool !== "select");
    for (const button of this.root.querySelectorAll("[data-tool]")) {
      const { tool } = button.dataset;
      button.setAttribute("aria-pressed", String(tool === this.tool));
      button.disabled = !this.usable(tool);
    }
    this.part('[data-do="overlays"]').setAttribute("aria-pressed", String(this.marks));
    drawLayers(data.layers, this.part(".layers"));
    const marks = this.part(".marks");
    marks.replaceChildren();
    for (const finding of findings) {
      drawFinding(finding, { styles: data.styles, chosen: finding.id === this.chosen }, marks);
    }
    this.drawPanel(findings);
    drawHint(this);
    this.view.redraw();
  }

  drawPanel(findings) {
    const count = (state) => findings.filter((f) => f.state === state).length;
    const head = this.part(".panel-head");
    head.replaceChildren();
    element("span", { text: `Findings: ${findings.length}` }, head);
    element("small", { text: findings.length
      ? `${count("proposed")} to review · ${count("confirmed")} confirmed · ` +
        `${count("rejected")} rejected` : this.data.nothing }, head);
    const rows = this.part(".rows");
    const typing = this.root.getRootNode().activeElement?.classList.contains("why");
    if (typing && this.reasons) return;
    rows.replaceChildren();
    const act = {
      pick: (id) => this.pick(id),
      review: (what, reason) => this.review(what, reason),
      askReason: () => { this.reasons = !this.reasons; this.refresh(); },
      asking: () => this.reasons,
      retrace: () => this.use("trace", this.chosen),
      change: (what, to) => this.push({ do: what, id: this.chosen, to }),
    };
    for (const finding of findings) {
      drawRow(finding, { data: this.data, chosen: finding.id === this.chosen, act }, rows);
    }
  }

  // Called at each frame: what has a fixed size on the screen.
  place() {
    const { view } = this;
    this.part("g.photo").setAttribute("transform",
      `translate(${view.dx} ${view.dy}) scale(${view.k})`);
    drawHatch(this.svg, this.data.styles.crumbling.colour, view.k);
    drawLabels(this.findings(), { view, chosen: this.chosen,
      pick: (id) => this.pick(id, { show: false }) }, this.part(".labels"));
    const draft = this.part(".draft");
    draft.replaceChildren();
    const screen = this.points.map((p) => view.toScreen(p));
    if (screen.length > 1) {
      const path = screen.map((p, i) => `${i ? "L" : "M"}${p[0]} ${p[1]}`).join("");
      shape("path", { d: path, class: "halo" }, draft);
      shape("path", { d: path }, draft);
    }
    for (const [cx, cy] of screen) shape("circle", { cx, cy, r: 4.5 }, draft);
    this.placeRuler();
    this.part(".zoom-text").textContent =
      `${Math.round(100 * view.k * (window.devicePixelRatio || 1))} %`;
  }

  placeRuler() {
    const perPixel = this.data.unit_per_px;
    this.part(".ruler").style.display = perPixel ? "" : "none";
    if (!perPixel) return;
    const longest = (perPixel * 150) / this.view.k;
    const power = 10 ** Math.floor(Math.log10(longest));
    const length = [5, 2, 1].map((n) => n * power).find((v) => v <= longest);
    this.part(".ruler-line").style.width = `${(length / perPixel) * this.view.k}px`;
    this.part(".ruler-text").textContent = `${Number(length.toPrecision(2))} ${this.data.unit}`;
  }

  // Listening ------------------------------------------------------------------
  listen() {
    this.root.addEventListener("click", (event) => {
      const button = event.target.closest("[data-tool], [data-do]");
      if (button && button.closest(".bar")) this.press(button.dataset);
    });
    this.root.addEventListener("keydown", (event) => this.key(event));
    this.stage.addEventListener("wheel", (event) => {
      event.preventDefault();
      this.view.zoom(Math.exp(-event.deltaY / 400), this.at(event));
    }, { passive: false });
    this.listenPointer();
    this.stage.addEventListener("dblclick", (event) => {
      if (this.tool !== "select" && this.tool !== "scale" && !this.overHint(event)) this.finish();
    });
  }

  listenPointer() {
    const down = new Map();
    let moved = 0;
    this.stage.addEventListener("pointerdown", (event) => {
      if (this.overHint(event) || event.button > 1) return;
      this.root.focus({ preventScroll: true });
      down.set(event.pointerId, this.at(event));
      if (down.size === 1) moved = 0;
      this.pressed = event.target;
    });
    this.stage.addEventListener("pointermove", (event) => {
      const before = down.get(event.pointerId);
      if (!before) return;
      const now = this.at(event);
      const others = [...down].filter(([id]) => id !== event.pointerId).map(([, p]) => p);
      moved += Math.hypot(now[0] - before[0], now[1] - before[1]);
      if (moved > 4) this.stage.setPointerCapture(event.pointerId);
      if (others.length === 1) this.pinch(before, now, others[0]);
      else if (moved > 4) this.view.move(now[0] - before[0], now[1] - before[1]);
      down.set(event.pointerId, now);
    });
    const up = (event) => {
      const at = down.get(event.pointerId);
      down.delete(event.pointerId);
      if (!at || moved > 4 || down.size || event.type === "pointercancel") return;
      this.tap(at);
    };
    this.stage.addEventListener("pointerup", up);
    this.stage.addEventListener("pointercancel", up);
  }

  pinch(before, now, other) {
    const far = (a, b) => Math.max(1, Math.hypot(a[0] - b[0], a[1] - b[1]));
    const middle = [(now[0] + other[0]) / 2, (now[1] + other[1]) / 2];
    this.view.zoom(far(now, other) / far(before, other), middle);
    this.view.move((now[0] - before[0]) / 2, (now[1] - before[1]) / 2);
  }

  tap(at) {
    if (this.tool !== "select") {
      this.addPoint(this.view.toPhoto(...at));
      return;
    }
    const id = this.pressed?.closest("[data-id]")?.dataset.id;
    if (id) this.pick(id, { show: false });
  }

  at(event) {
    const box = this.stage.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  }

  overHint(event) {
    return Boolean(event.target.closest(".hint, .keys"));
  }

  press({ tool, do: what }) {
    if (tool) this.use(tool);
    if (what === "zoom-in") this.view.zoom(1.4);
    if (what === "zoom-out") this.view.zoom(1 / 1.4);
    if (what === "fit") this.view.fit();
    if (what === "rubber") this.showEdge();
    if (what === "one") this.view.oneToOne();
    if (what === "overlays") { this.marks = !this.marks; this.refresh(); }
    if (what === "help") this.help();
    if (what === "undo") this.push({ do: "undo" });
  }

  showEdge() {
    const { layers, photo } = this.data;
    if (!layers.length) return this.view.fit();
    const box = boxOf({ lines: layers.map((x) => x.polygon) });
    const limit = [photo.width, photo.height, photo.width, photo.height];
    return this.view.frame(box.map((v, i) => Math.min(Math.max(v, 0), limit[i])));
  }

  help() {
    const keys = this.part(".keys");
    keys.hidden = !keys.hidden;
    drawKeys(keys, () => { keys.hidden = true; });
  }

  key(event) {
    // The page has keys of its own, such as "r" and "c"; they must not fire from here.
    event.stopPropagation();
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const typing = ["INPUT", "SELECT"].includes(event.target.tagName);
    const button = event.target.tagName === "BUTTON" && event.key === "Enter";
    if (event.key === "Enter" && typing && event.target.closest(".hint")) this.finish();
    if ((typing && event.key !== "Escape") || button) return;
    const done = this.actions()[event.key.length === 1 ? event.key.toLowerCase() : event.key];
    if (!done) return;
    event.preventDefault();
    done();
  }

  actions() {
    const move = (x, y) => () => this.view.move(x, y);
    const zoom = (factor) => () => this.view.zoom(factor);
    return {
      v: () => this.use("select"), t: () => this.use("trace"), s: () => this.use("scale"),
      a: () => this.use("area"), c: () => this.review("confirm"), u: () => this.press({ do: "undo" }),
      r: () => { if (this.chosen) { this.reasons = true; this.refresh(); } },
      n: () => this.step(1), p: () => this.step(-1), f: () => this.view.fit(),
      e: () => this.showEdge(),
      1: () => this.view.oneToOne(), o: () => this.press({ do: "overlays" }),
      "?": () => this.help(), "+": zoom(1.4), "=": zoom(1.4), "-": zoom(1 / 1.4),
      ArrowLeft: move(60, 0), ArrowRight: move(-60, 0), ArrowUp: move(0, 60),
      ArrowDown: move(0, -60), Escape: () => this.cancel(), Enter: () => this.finish(),
      Backspace: () => { this.points.pop(); this.refresh(); },
    };
  }
}

export default function mount({ parentElement, data, setStateValue }) {
  const root = parentElement.querySelector(".ws");
  root.workspace ??= new Workspace(root);
  root.workspace.update(data, setStateValue);
}
