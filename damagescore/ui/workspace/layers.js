// The layers put right: a boundary dragged, a missed shim added, a layer taken out.

class Layers {
  constructor(ws) {
    this.ws = ws;
    this.reset();
  }

  reset() {
    this.chosen = null;
    this.adding = false;
    this.outline = null;
  }

  get all() {
    return this.ws.data.layers;
  }

  // Boundaries as they will be when what is pending is saved; called at each refresh.
  refresh() {
    const { data, pending } = this.ws;
    this.curves = data.boundaries;
    for (const op of pending) if (op.do === "boundary" && this.curves[op.line]?.length === op.count) {
      this.curves = this.curves.with(op.line, spliced(this.curves[op.line], op));
    }
    if (this.curves !== this.drawnFrom) {
      this.drawnFrom = this.curves;
      this.path = new Path2D();
      for (const curve of this.curves) addPath(this.path, curve, false);
    }
    if (this.chosen !== null && !this.place(this.chosen)) this.chosen = null;
    this.outline = this.outlineOf(this.chosen);
  }

  place(index) {
    const at = this.all.findIndex((x) => x.index === index);
    return at < 0 ? null : { lower: this.curves[at], upper: this.curves[at + 1], at };
  }

  // Both boundaries of the chosen layer, as lines with handles.
  outlineOf(index) {
    const place = index === null ? null : this.place(index);
    if (!place) return null;
    return { lines: [place.lower, place.upper], numbers: [place.at, place.at + 1] };
  }

  // While what was sent changes the boundaries in a way not known here, none is offered.
  get waits() {
    return this.ws.pending.some((op) => !["boundary", "confirm", "reject", "ruler", "rulerout"]
      .includes(op.do));
  }

  indexAt(p) {
    const found = this.all.find((x) => {
      const { lower, upper } = this.place(x.index);
      return isInside([...upper, ...[...lower].reverse()], p);
    });
    return found ? found.index : null;
  }

  words(index) {
    const layer = this.all.find((x) => x.index === index);
    return layer ? `Layer ${layer.index}, ${layer.kind}, ${layer.thickness}` : "";
  }

  pick(index) {
    this.chosen = index;
    this.ws.shape.reset();
    this.ws.refresh();
    if (index === null) return;
    this.bringNear(index);
    this.ws.say(this.words(index));
  }

  // Both borders have to be apart and clear of the strip above the photo to be dragged.
  bringNear(index) {
    const { view, data } = this.ws;
    const { lower, upper } = this.place(index);
    const [w, h] = view.size();
    const limit = [data.photo.width, data.photo.height, data.photo.width, data.photo.height];
    const box = boxOf([...lower, ...upper]).map((v, i) => Math.min(Math.max(v, 0), limit[i]));
    const high = Math.max(1, box[3] - box[1]);
    const least = Math.min(2, 26 / high);
    const top = view.toScreen(box)[1], bottom = view.toScreen(box.slice(2))[1];
    if (view.k >= least && top > 20 && bottom < h - 20) return;
    const k = Math.max(view.k, least);
    const middle = view.toPhoto(w / 2, 0)[0];
    const wide = k * (box[2] - box[0]) > w;
    view.centre([wide ? Math.min(Math.max(middle, box[0]), box[2]) : (box[0] + box[2]) / 2,
      (box[1] + box[3]) / 2], k);
  }

  step(by) {
    const order = this.all.map((x) => x.index);
    if (!order.length) return;
    const now = order.indexOf(this.chosen);
    this.pick(now < 0 ? order[by > 0 ? 0 : order.length - 1]
      : order[Math.min(Math.max(now + by, 0), order.length - 1)]);
  }

  tap(p) {
    if (this.adding) {
      this.adding = false;
      this.push({ do: "shim", points: rounded([p]) });
      this.chosen = null;
    } else this.pick(this.indexAt(p));
  }

  // By keys the shim goes where the cross is, else in the middle of the chosen layer.
  addByKey() {
    if (this.ws.keyed && this.ws.pointer) {
      this.adding = true;
      this.tap(this.ws.view.toPhoto(...this.ws.pointer));
    } else if (this.outline) {
      const [a, b] = this.outline.lines.map((x) => x[Math.floor(x.length / 2)]);
      this.adding = true;
      this.tap([(a[0] + b[0]) / 2, (a[1] + b[1]) / 2]);
    }
  }

  // A shim can go, and an end of the stack; rubber between two shims cannot go alone.
  get removable() {
    const place = this.chosen === null ? null : this.place(this.chosen);
    if (!place) return false;
    const end = place.at === 0 || place.at === this.all.length - 1;
    return end || this.all[place.at].kind === "shim";
  }

  remove() {
    if (!this.removable) return;
    this.push({ do: "layerout", layer: this.chosen });
  }

  search(find) {
    this.push({ do: "search", find });
  }

  push(op) {
    const reason = this.ws.part(".hint .why")?.value.trim() || "";
    this.ws.push({ ...op, reason });
  }

  draw(pen) {
    if (this.ws.tool !== "layers") return;
    const { painter, view, data } = this.ws;
    if (this.outline) {
      const path = new Path2D();
      for (const line of this.outline.lines) addPath(path, line, false);
      painter.inPhoto(pen, () => painter.stroke(pen, path, { width: 2, colour: "#c2006f" }));
    }
    pen.font = `600 12px ${getComputedStyle(this.ws.root).fontFamily}`;
    let last = Infinity;
    for (const layer of data.layers) {
      const { lower, upper } = this.place(layer.index);
      const [w] = view.size();
      const a = nearX(upper, view.toPhoto(0.06 * w, 0)[0]), b = nearX(lower, a[0]);
      const [x, y] = view.toScreen([a[0], (a[1] + b[1]) / 2]);
      const on = layer.index === this.chosen;
      if (Math.abs(last - y) < 15 && !on) continue;
      last = y;
      painter.label(pen, `${layer.index} ${layer.kind}`, [x + 4, y + 4], { id: on ? this.ws.chosen : "" });
    }
  }
}

// The point of a line nearest to a column.
function nearX(points, x) {
  return points.reduce((a, b) => (Math.abs(b[0] - x) < Math.abs(a[0] - x) ? b : a));
}

function hintLayers(ws, hint) {
  const { layers } = ws;
  const words = layers.adding ? "Click where the shim was missed."
    : layers.waits ? "Measuring on the new layers…"
      : layers.chosen === null ? "Click a layer, then drag its borders."
        : layers.words(layers.chosen);
  element("span", { text: words }, hint);
  const button = (text, name, title, on) =>
    element("button", { text, title, "data-do": name, on }, hint);
  button("↓", "layer-down", "Layer below (P)", () => layers.step(-1))
    .setAttribute("aria-label", "Layer below");
  button("↑", "layer-up", "Layer above (N)", () => layers.step(1))
    .setAttribute("aria-label", "Layer above");
  toggle(hint, "Add a shim", layers.adding, () => { layers.adding = !layers.adding; ws.refresh(); },
    "Then click where it lies (Shift Insert)");
  button("Remove it", "layer-out", "Its neighbours become one layer (Shift Delete)",
    () => layers.remove()).disabled = !layers.removable;
  const why = element("input", { cls: "why", placeholder: "Why, if not plain", maxlength: 200,
    "aria-label": "Why the layers are changed" }, hint);
  why.value = hint.dataset.why || "";
  why.addEventListener("input", () => { hint.dataset.why = why.value; });
  if (ws.data.corrected) {
    button("Search again", "search", "Search the photo on these layers; what you reviewed stays",
      () => layers.search(false));
    button("Find anew", "find", "Drop the corrections and find the layers again",
      () => layers.search(true));
  }
  element("button", { text: "Done", cls: "primary", "data-do": "finish",
    on: () => ws.use("select") }, hint);
}
