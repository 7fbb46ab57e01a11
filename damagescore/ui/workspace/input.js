// Pointer and keys: from what the hand does to what the workspace is asked to do.

const SHAPING = ["edit", "layers"]; // tools with handles to drag
const HOLD_MS = 450; // a finger that rests this long wants the loupe

class Input {
  constructor(ws) {
    this.ws = ws;
    this.down = new Map();
    this.mode = "";
    this.listen(ws.stage);
  }

  listen(stage) {
    const { ws } = this;
    stage.addEventListener("wheel", (event) => {
      if (this.overSheet(event)) return;
      event.preventDefault();
      ws.view.zoom(Math.exp(-event.deltaY / 400), this.at(event));
    }, { passive: false });
    stage.addEventListener("pointerdown", (event) => this.press(event));
    stage.addEventListener("pointermove", (event) => this.move(event));
    stage.addEventListener("pointerup", (event) => this.lift(event));
    stage.addEventListener("pointercancel", (event) => this.lift(event));
    stage.addEventListener("pointerleave", () => {
      if (this.down.size) return;
      ws.pointer = null;
      drawLoupe(ws);
    });
    stage.addEventListener("contextmenu", (event) => event.preventDefault());
    stage.addEventListener("dblclick", (event) => {
      if (this.overSheet(event)) return;
      if (SHAPING.includes(ws.tool)) ws.shape.addAt(this.at(event));
      else if (!["select", "scale", "ruler"].includes(ws.tool)) ws.finish();
    });
  }

  at(event) {
    const box = this.ws.stage.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  }

  overSheet(event) {
    return Boolean(event.target.closest(".hint, .sheet"));
  }

  press(event) {
    if (this.overSheet(event) || event.button > 1) return;
    const { ws } = this;
    const at = this.at(event);
    ws.root.focus({ preventScroll: true });
    ws.keyed = false;
    ws.pointer = at;
    this.down.set(event.pointerId, at);
    if (this.down.size > 1) return this.two();
    this.moved = 0;
    this.mode = event.button === 1 ? "pan" : this.modeAt(at);
    if (event.pointerType === "touch" && !SHAPING.includes(ws.tool)) {
      this.holding = setTimeout(() => this.hold(event.pointerId), HOLD_MS);
    }
    return undefined;
  }

  modeAt(at) {
    const { ws } = this;
    if (SHAPING.includes(ws.tool) && !ws.data.locked && !ws.layers.adding) {
      const found = ws.shape.hit(at);
      if (found) {
        ws.shape.grab(found);
        return "drag";
      }
    }
    return TOOLS[ws.tool].free ? "stroke" : "pan";
  }

  // A second finger: the first one did not mean to draw.
  two() {
    clearTimeout(this.holding);
    if (this.mode === "stroke" && this.moved > 4) this.ws.draft.reset();
    if (this.mode === "drag") { this.ws.shape.change = null; this.ws.shape.grabbed = null; }
    this.mode = "pinch";
    this.moved = 99;
  }

  hold(id) {
    if (!this.down.has(id) || this.moved > 6 || this.mode === "pinch") return;
    this.mode = "aim";
    this.ws.held = true;
    drawLoupe(this.ws);
  }

  move(event) {
    const { ws } = this;
    const now = this.at(event);
    const before = this.down.get(event.pointerId);
    ws.pointer = now;
    if (ws.loupe || ws.held) drawLoupe(ws);
    if (!before) {
      if (!this.overSheet(event) && ws.draft.points.length) ws.draft.hover(ws.view.toPhoto(...now));
      return;
    }
    this.moved += lengthOf(now, before);
    this.down.set(event.pointerId, now);
    if (this.moved <= 4) return;
    clearTimeout(this.holding);
    this.ws.stage.setPointerCapture(event.pointerId);
    this.go(event, before, now);
  }

  go(event, before, now) {
    const { ws } = this;
    if (this.mode === "pinch") {
      const other = [...this.down].find(([id]) => id !== event.pointerId);
      if (other) this.pinch(before, now, other[1]);
    }
    if (this.mode === "pan") ws.view.move(now[0] - before[0], now[1] - before[1]);
    if (this.mode === "drag") ws.shape.drag(ws.view.toPhoto(...now));
    if (this.mode === "stroke") {
      if (!ws.draft.points.length) ws.draft.stroke(ws.view.toPhoto(...before));
      ws.draft.stroke(ws.view.toPhoto(...now));
    }
  }

  pinch(before, now, other) {
    const far = (a, b) => Math.max(1, lengthOf(a, b));
    const middle = [(now[0] + other[0]) / 2, (now[1] + other[1]) / 2];
    this.ws.view.zoom(far(now, other) / far(before, other), middle);
    this.ws.view.move((now[0] - before[0]) / 2, (now[1] - before[1]) / 2);
  }

  lift(event) {
    const { ws } = this;
    clearTimeout(this.holding);
    const at = this.down.get(event.pointerId);
    this.down.delete(event.pointerId);
    if (!at || this.down.size) return;
    const { mode } = this;
    this.mode = "";
    if (ws.held) {
      ws.held = false;
      drawLoupe(ws);
    }
    if (event.type === "pointercancel") {
      ws.shape.change = null;
      return;
    }
    if (mode === "drag") ws.shape.drop();
    else if (mode === "stroke" && this.moved > 4) ws.strokeDone();
    else if (mode === "aim" || this.moved <= 4) ws.tap(at);
  }
}

function keyOf(event) {
  return event.key.length === 1 ? event.key.toLowerCase() : event.key;
}

function listenKeys(ws) {
  ws.root.addEventListener("keydown", (event) => pressKey(ws, event));
  ws.root.addEventListener("keyup", (event) => {
    event.stopPropagation();
    if (keyOf(event) === "h") { ws.peeking = false; ws.redraw(); }
  });
}

function pressKey(ws, event) {
  // The page has keys of its own, such as "r" and "c"; they must not fire from here.
  event.stopPropagation();
  const { target } = event;
  if (event.ctrlKey || event.metaKey) {
    const back = { z: event.shiftKey ? "redo" : "undo", y: "redo" }[keyOf(event)];
    if (back && target.tagName !== "INPUT") { event.preventDefault(); ws.press({ do: back }); }
    return;
  }
  if (event.altKey) return;
  const typing = ["INPUT", "SELECT"].includes(target.tagName);
  const button = target.tagName === "BUTTON" && [" ", "Enter"].includes(event.key);
  if (event.key === "Enter" && typing && target.closest(".hint")) ws.finish();
  if ((typing && event.key !== "Escape") || button) return;
  const done = keyActions(ws, event)[keyOf(event)];
  if (!done) return;
  event.preventDefault();
  done();
}

function keyActions(ws, event) {
  const zoom = (factor) => () => ws.view.zoom(factor);
  const layers = ws.tool === "layers";
  const arrow = (x, y) => () => ws.arrow(x, y, event.shiftKey);
  const actions = {
    v: () => ws.use("select"), t: () => ws.use("trace"), s: () => ws.use("scale"),
    a: () => ws.use("area"), d: () => ws.use("edit"), w: () => ws.use("add"),
    x: () => ws.use("take"), m: () => ws.use("ruler"), g: () => ws.use("region"),
    q: () => ws.use("keepout"), z: () => ws.use("layers"), c: () => ws.review("confirm"),
    r: () => { if (ws.chosen) { ws.reasons = true; ws.refresh(); } },
    u: () => ws.press({ do: "undo" }), y: () => ws.press({ do: "redo" }),
    k: () => ws.otherKind(), j: () => ws.otherLayer(event.shiftKey ? -1 : 1),
    n: () => (layers ? ws.layers.step(1) : ws.step(1)),
    p: () => (layers ? ws.layers.step(-1) : ws.step(-1)), f: () => ws.view.fit(), e: () => ws.showEdge(),
    1: () => ws.view.oneToOne(), o: () => ws.press({ do: "overlays" }),
    l: () => ws.press({ do: "loupe" }), b: () => ws.press({ do: "look" }),
    h: () => { if (!ws.peeking) { ws.peeking = true; ws.redraw(); } },
    i: () => { if (ws.pointer) ws.pick(ws.painter.hit(ws.pointer), { show: false }); },
    "?": () => ws.toggleSheet(".keys"), "+": zoom(1.4), "=": zoom(1.4), "-": zoom(1 / 1.4),
    ArrowLeft: arrow(-1, 0), ArrowRight: arrow(1, 0), ArrowUp: arrow(0, -1),
    ArrowDown: arrow(0, 1), Escape: () => ws.cancel(), Enter: () => ws.finish(),
    Backspace: () => ws.draft.pop(), ".": () => ws.shape.step(1), ",": () => ws.shape.step(-1),
    Delete: () => (event.shiftKey && layers ? ws.layers.remove() : ws.shape.remove()),
    Insert: () => (event.shiftKey && layers ? ws.layers.addByKey() : ws.shape.addAfter()),
    " ": () => { if (ws.keyed && ws.pointer) ws.tap(ws.pointer); },
  };
  if (!ws.reasons) return actions;
  ws.data.reasons.forEach((reason, i) => {
    actions[i + 1] = () => ws.review("reject", reason);
  });
  return actions;
}
