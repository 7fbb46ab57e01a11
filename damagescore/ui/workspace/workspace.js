// The workspace: what is chosen, the tool in hand, and the numbered queue of edits that
// Python acknowledges.

class Workspace {
  constructor(root) {
    this.root = root;
    this.stage = root.querySelector(".stage");
    this.part = (name) => root.querySelector(name);
    this.pending = [];
    this.number = 0;
    this.tool = "select";
    this.chosen = null;
    this.shown = [];
    this.marks = true;
    this.peeking = false;
    this.reasons = false;
    this.lineKind = "crack";
    this.retracing = null;
    this.snap = true;
    this.snapEdit = false;
    this.loupe = false;
    this.look = { ...LOOK };
    this.pointer = null;
    this.view = new View(this.stage);
    this.painter = new Painter(this);
    this.draft = new Draft(this);
    this.shape = new Shape(this);
    this.layers = new Layers(this);
    this.input = new Input(this);
    this.view.onDraw = () => this.place();
    this.root.addEventListener("click", (event) => {
      const button = event.target.closest(".bar [data-tool], .bar [data-do]");
      if (button) this.press(button.dataset);
    });
    listenKeys(this);
    new ResizeObserver(() => (this.view.framed ? this.view.redraw() : this.view.fit()))
      .observe(this.stage);
  }

  update(told, send) {
    this.send = send;
    keepParts(told.parts);
    const data = withParts(told);
    this.seekLost(told);
    const faultIsNew = data.fault && (!this.data || this.data.fault?.n !== data.fault.n);
    if (this.data?.photo.base !== data.photo.base) this.clear();
    if (data.news && data.news.n > (this.newsSeen || 0)) {
      [this.news, this.newsSeen] = [data.news.text, data.news.n];
      this.say(this.news);
    }
    this.data = data;
    this.number = Math.max(this.number, data.ack);
    this.pending = this.pending.filter((op) => op.n > data.ack);
    if (faultIsNew) {
      this.fault = data.fault.text;
      this.say(this.fault);
    }
    this.view.load(data.photo);
    this.refresh();
  }

  // Parts that this browser no longer has: the server remembers them, or sends all anew.
  async seekLost(told) {
    const names = lostParts(told);
    if (!names.length || this.seeking === told) return;
    this.seeking = told;
    await fetchParts(told, names);
    if (this.seeking !== told) return;
    if (lostParts(told).length) this.send("lost", Date.now());
    else this.update({ ...told, parts: {} }, this.send);
  }

  // For those who do not see the screen.
  say(text) {
    const said = this.part(".said");
    if (said.textContent !== text) said.textContent = text;
  }

  clear() {
    this.chosen = null;
    this.news = null;
    this.layers.reset();
    this.tool = "select";
    this.pending = [];
    this.number = 0;
    this.draft.reset();
    this.shape.reset();
  }

  // Edits ------------------------------------------------------------------
  push(op) {
    if (this.data.locked) return;
    this.number += 1;
    this.pending.push({ n: this.number, seen: this.data.edits, tool: this.tool, ...op });
    this.fault = null;
    this.send("ops", this.pending.slice());
    this.refresh();
  }

  // The findings as they will be when what is pending is saved.
  expected() {
    const changed = new Map();
    for (const op of this.pending) {
      const old = changed.get(op.id) || this.data.findings.find((f) => f.id === op.id);
      if (old) changed.set(op.id, withOp(old, op));
    }
    return this.data.findings.map((f) => changed.get(f.id) || f);
  }

  // Gaps that nobody has decided on, in this browser or before.
  openLinks() {
    const decided = new Set(this.pending.map((op) => op.link).filter(Boolean));
    return this.data.links.filter((link) => !decided.has(link.id));
  }

  decide(what, link) {
    this.push({ do: what, link: link.id });
    this.say(what === "bridge" ? `Joining ${link.name}`
      : `Left apart: ${link.name}`);
    const next = this.part(".gaps button[data-act]");
    (next || this.root).focus({ preventScroll: true });
  }

  showLink(link) {
    this.view.frame(boxOf(link.lines[0]), 0.3 * Math.min(...this.view.size()));
  }

  found(id) {
    return id ? this.shown.find((f) => f.id === id) : undefined;
  }

  waits(id) {
    return this.pending.some((op) => op.id === id && !["confirm", "reject"].includes(op.do));
  }

  review(what, reason) {
    if (!this.chosen) return;
    this.reasons = false;
    const id = this.chosen;
    this.push(reason ? { do: what, id, reason } : { do: what, id });
    this.root.focus({ preventScroll: true });
  }

  otherKind() {
    const finding = this.found(this.chosen);
    const to = { crack: "bond_gap", bond_gap: "crack" }[finding?.kind];
    if (to) this.push({ do: "kind", id: this.chosen, to });
  }

  otherLayer(by) {
    const finding = this.found(this.chosen);
    const { rubber } = this.data;
    if (!finding || !rubber.length) return;
    const now = rubber.indexOf(finding.layer);
    const to = now < 0 ? rubber[0] : rubber[now + by];
    if (to !== undefined) this.push({ do: "layer", id: this.chosen, to });
  }

  // Selection and tools ------------------------------------------------------
  pick(id, { show = true } = {}) {
    if (id !== this.chosen) this.shape.reset();
    this.chosen = id;
    this.reasons = false;
    if (!this.usable(this.tool)) this.tool = "select";
    const finding = this.found(id);
    if (finding && show && pointsOf(finding).length) this.view.show(boxOf(pointsOf(finding)));
    if (finding) {
      const place = this.shown.indexOf(finding) + 1;
      this.say(`${wordsOf(finding, this.data)}, ${place} of ${this.shown.length}`);
    }
    this.refresh();
    // Not at once: the click that follows a tap would land on what has moved under the finger.
    clearTimeout(this.following);
    this.following = setTimeout(() =>
      this.part(".row.chosen")?.scrollIntoView({ block: "nearest" }), 320);
  }

  step(by) {
    const ids = this.shown.map((f) => f.id);
    if (!ids.length) return;
    const now = ids.indexOf(this.chosen);
    this.pick(ids[now < 0 && by < 0 ? ids.length - 1 : (now + by + ids.length) % ids.length]);
  }

  usable(tool) {
    const { locked, measured, profile, scaled } = this.data;
    if (tool === "select") return true;
    if (tool === "ruler") return scaled;
    if (locked) return false;
    if (tool === "scale") return true;
    if (!measured) return false;
    if (tool === "layers") return true;
    if (profile) return false;
    const finding = this.found(this.chosen);
    if (tool === "add" || tool === "take") return Boolean(finding?.polygon);
    return tool !== "edit" || Boolean(finding && finding.kind !== "bulge");
  }

  use(tool, retracing = null) {
    if (!this.usable(tool)) {
      if (["edit", "add", "take"].includes(tool) && this.data.measured && !this.data.locked) {
        this.fault = tool === "edit" ? "Select a finding first, then edit its points."
          : "Select a crumbled area first.";
        this.refresh();
      }
      return;
    }
    this.tool = tool;
    this.retracing = retracing;
    this.draft.reset();
    this.shape.reset();
    this.layers.reset();
    this.fault = null;
    if (["edit", "add", "take"].includes(tool)) this.bringNear();
    this.refresh();
  }

  // To be worked on, the selected finding has to be large enough for a finger.
  bringNear() {
    const box = boxOf(pointsOf(this.found(this.chosen)));
    const wide = Math.max(box[2] - box[0], box[3] - box[1]) * this.view.k;
    const shown = this.view.toScreen(box), end = this.view.toScreen(box.slice(2));
    const [w, h] = this.view.size();
    const outside = shown[0] < 0 || shown[1] < 0 || end[0] > w || end[1] > h;
    if (wide < 0.4 * w || outside) this.view.frame(box, 0.18 * Math.min(w, h));
  }

  tap(at) {
    const p = this.view.toPhoto(...at);
    if (this.tool === "select") this.pick(this.painter.hit(at), { show: false });
    else if (this.tool === "edit") this.pickOther(at);
    else if (this.tool === "layers") this.layers.tap(p);
    else this.draft.add(p);
  }

  pickOther(at) {
    if (this.shape.grabbed) return;
    const id = this.painter.hit(at);
    if (id && id !== this.chosen) this.pick(id, { show: false });
  }

  strokeDone() {
    if (this.draft.points.length >= TOOLS[this.tool].least) this.finish();
    else this.draft.reset();
  }

  finish() {
    const { points } = this.draft;
    const { tool, chosen, snap } = this;
    if (tool === "scale") return this.applyScale();
    if (["select", "ruler", "edit", "layers"].includes(tool)) return undefined;
    if (points.length < TOOLS[tool].least) return undefined;
    const drawn = rounded(points);
    if (tool === "area") this.push({ do: "area", points: drawn });
    else if (tool === "add") this.push({ do: "join", id: chosen, points: drawn });
    else if (tool === "take") this.push({ do: "cut", id: chosen, points: drawn });
    else if (tool !== "trace") this.push({ do: tool, points: drawn });
    else if (this.retracing) this.push({ do: "retrace", id: this.retracing, points: drawn, snap });
    else this.push({ do: "trace", points: drawn, kind: this.lineKind, snap });
    return this.use("select");
  }

  keepRuler() {
    this.push({ do: "ruler", points: this.draft.points, screen: 1 / this.view.k });
    this.draft.reset();
    this.refresh();
  }

  applyScale() {
    const input = this.part(".hint input");
    const length = Number(input?.value);
    if (this.draft.points.length !== 2 || !(length > 0)) return input?.focus();
    this.push({ do: "scale", points: this.draft.points, length, unit: this.data.unit });
    return this.use("select");
  }

  cancel() {
    const sheet = this.part(".sheet:not([hidden])");
    if (sheet) { sheet.hidden = true; this.root.focus({ preventScroll: true }); }
    else if (this.fault) this.fault = null;
    else if (this.news && this.tool === "select") this.news = null;
    else if (this.layers.adding) this.layers.adding = false;
    else if (this.reasons) this.reasons = false;
    else if (this.draft.points.length) this.draft.reset();
    else if (this.tool !== "select") return this.use("select");
    else return this.pick(null);
    return this.refresh();
  }

  // Arrow keys: the photo, the cross of a drawing tool, or the chosen point of a shape.
  arrow(x, y, far) {
    if (this.tool === "select") return this.view.move(-60 * x, -60 * y);
    if (this.tool === "edit" || this.shape.current) {
      return this.shape.nudge((far ? 10 : 1) * x, (far ? 10 : 1) * y);
    }
    const [w, h] = this.view.size();
    const from = this.keyed && this.pointer ? this.pointer : [w / 2, h / 2];
    const step = far ? 40 : 5;
    this.keyed = true;
    this.pointer = [Math.min(Math.max(from[0] + step * x, 0), w),
                    Math.min(Math.max(from[1] + step * y, 0), h)];
    this.draft.hover(this.view.toPhoto(...this.pointer));
    return this.view.redraw();
  }

  // Drawing ------------------------------------------------------------------
  refresh() {
    const { data } = this;
    this.shown = this.expected();
    this.layers.refresh();
    if (this.chosen && !this.found(this.chosen)) this.chosen = null;
    if (!this.usable(this.tool)) this.tool = "select";
    this.root.dataset.pending = String(this.pending.length);
    this.root.dataset.findings = String(this.shown.length);
    this.root.dataset.tool = this.tool;
    this.stage.classList.toggle("drawing", !["select", "edit"].includes(this.tool));
    this.part("canvas.marks").setAttribute("aria-label", sceneWords(data, this.shown));
    for (const button of this.root.querySelectorAll(".bar [data-tool]")) {
      const { tool } = button.dataset;
      button.setAttribute("aria-pressed", String(tool === this.tool));
      button.disabled = !this.usable(tool);
    }
    this.pressed("overlays", this.marks);
    this.pressed("loupe", this.loupe);
    for (const name of ["undo", "redo"]) {
      const button = this.part(`[data-do="${name}"]`);
      button.disabled = data.locked || (!data[name] && !this.pending.length);
      const label = name === "undo" ? "Undo" : "Redo";
      button.title = data[name] ? `${label}: ${data[name]}` : `Nothing to ${name}`;
    }
    this.drawPanel();
    drawHint(this);
    this.redraw();
  }

  // The marks themselves changed, not only the view of them.
  redraw() {
    this.painter.dirty = true;
    this.view.redraw();
  }

  pressed(name, on) {
    this.part(`[data-do="${name}"]`).setAttribute("aria-pressed", String(on));
  }

  drawPanel() {
    const findings = this.shown;
    const count = (state) => findings.filter((f) => f.state === state).length;
    const head = this.part(".panel-head");
    head.replaceChildren();
    element("span", { text: `Findings: ${findings.length}` }, head);
    element("small", { text: findings.length
      ? `${count("proposed")} to review · ${count("confirmed")} confirmed · ` +
        `${count("rejected")} rejected` : this.data.nothing }, head);
    const rows = this.part(".rows");
    const active = this.root.getRootNode().activeElement;
    if (active?.classList.contains("why") && rows.contains(active) && this.reasons) return;
    const again = rows.contains(active) ? active.closest(".row")?.dataset.id : null;
    const within = again && (active.dataset.act || active.getAttribute("aria-label"));
    drawGaps(this.part(".gaps"), this.openLinks(), { data: this.data, act: {
      show: (link) => this.showLink(link), decide: (what, link) => this.decide(what, link) } });
    drawUnseen(this.part(".unseen"), this.data.unseen, { data: this.data, act: {
      show: (group) => this.view.show(boxOf(group.outlines.flat())) } });
    drawRows(rows, findings, { data: this.data, chosen: this.chosen, act: this.acts() });
    if (again && !rows.contains(this.root.getRootNode().activeElement)) {
      this.refocus(rows, again, within);
    }
  }

  // Drawn anew, the list keeps the focus where it was.
  refocus(rows, id, within) {
    const row = [...rows.children].find((r) => r.dataset.id === id);
    const same = row && [...row.querySelectorAll("button, select")].find((x) =>
      x.dataset.act === within || x.getAttribute("aria-label") === within);
    (same || row?.querySelector("button"))?.focus({ preventScroll: true });
  }

  acts() {
    return {
      pick: (id) => this.pick(id),
      review: (what, reason) => this.review(what, reason),
      askReason: () => { this.reasons = !this.reasons; this.refresh(); },
      asking: () => this.reasons,
      waits: (id) => this.waits(id),
      use: (tool) => this.use(tool),
      retrace: () => this.use("trace", this.chosen),
      change: (what, to) => this.push({ do: what, id: this.chosen, to }),
    };
  }

  // Called at each frame.
  place() {
    if (!this.data) return;
    this.painter.draw();
    drawLoupe(this);
    const perPixel = this.data.unit_per_px;
    this.part(".ruler").style.display = perPixel ? "" : "none";
    this.part(".zoom-text").textContent =
      `${Math.round(100 * this.view.k * (window.devicePixelRatio || 1))} %`;
    if (!perPixel) return;
    const longest = (perPixel * 150) / this.view.k;
    const power = 10 ** Math.floor(Math.log10(longest));
    const length = [5, 2, 1].map((n) => n * power).find((v) => v <= longest);
    this.part(".ruler-line").style.width = `${(length / perPixel) * this.view.k}px`;
    this.part(".ruler-text").textContent = `${Number(length.toPrecision(2))} ${this.data.unit}`;
  }

  press({ tool, do: what }) {
    if (tool) this.use(tool);
    const acts = {
      "zoom-in": () => this.view.zoom(1.4),
      "zoom-out": () => this.view.zoom(1 / 1.4),
      fit: () => this.view.fit(),
      rubber: () => this.showEdge(),
      one: () => this.view.oneToOne(),
      overlays: () => { this.marks = !this.marks; this.refresh(); },
      loupe: () => { this.loupe = !this.loupe; this.refresh(); },
      look: () => { drawLook(this); this.toggleSheet(".look"); },
      help: () => this.toggleSheet(".keys"),
      undo: () => this.push({ do: "undo" }),
      redo: () => this.push({ do: "redo" }),
    };
    acts[what]?.();
  }

  toggleSheet(name, open = this.part(name).hidden) {
    for (const sheet of this.root.querySelectorAll(".sheet")) sheet.hidden = true;
    this.part(name).hidden = !open;
    if (open && name === ".keys") drawKeys(this.part(name), () => this.toggleSheet(name, false));
    else if (open) this.part(`${name} input`)?.focus();
    else this.root.focus({ preventScroll: true });
  }

  showEdge() {
    const { layers, photo } = this.data;
    if (!layers.length) return this.view.fit();
    const box = boxOf(this.data.boundaries.flat());
    const limit = [photo.width, photo.height, photo.width, photo.height];
    return this.view.frame(box.map((v, i) => Math.min(Math.max(v, 0), limit[i])));
  }
}

export default function mount({ parentElement, data, setStateValue }) {
  const root = parentElement.querySelector(".ws");
  root.workspace ??= new Workspace(root);
  root.workspace.update(data, setStateValue);
}
