// The handles of the selected finding: drag, add, take out; by hand or by keys.

const REACH_PX = 22; // half of a finger

class Shape {
  constructor(ws) {
    this.ws = ws;
    this.reset();
  }

  reset() {
    this.pins = new Map();
    this.current = null;
    this.change = null;
    clearTimeout(this.nudging);
  }

  get finding() {
    if (this.ws.tool === "layers") return this.ws.layers.outline;
    if (this.ws.tool !== "edit") return null;
    return this.ws.found(this.ws.chosen) || null;
  }

  // While what was sent changes the points in a way not known here, no handle is offered.
  get waits() {
    if (this.ws.tool === "layers") return this.ws.layers.waits;
    return this.ws.pending.some((op) => op.id === this.ws.chosen &&
      (op.snap || ["join", "cut", "retrace"].includes(op.do)));
  }

  // Handles and middles of all lines: {line, closed, points, handles, middles}.
  parts() {
    const { finding } = this;
    if (!finding || this.waits) return [];
    const level = Math.round(2 * Math.log2(this.ws.view.k));
    if (this.known?.finding === finding && this.known.level === level && !this.known.stale) {
      return this.known.parts;
    }
    const one = 1 / 2 ** (level / 2);
    const parts = partsOf(finding).map((part) => {
      const even = finding.numbers ? evenly(part.points.length) : [];
      const pins = [...even, ...(this.pins.get(part.line) || [])]
        .filter((i) => i < part.points.length);
      const how = { closed: part.closed, tolerance: 3 * one, apart: 34 * one, pins };
      const handles = handlesOf(part.points, how);
      return { ...part, handles, middles: this.middles(part, handles) };
    });
    this.known = { finding, level, parts };
    return parts;
  }

  // Places between two handles; `index` is a point of the line, or null where there is none.
  middles({ points, closed }, handles) {
    const n = points.length;
    const pairs = handles.map((a, i) => [a, handles[(i + 1) % handles.length]]);
    if (!closed) pairs.pop();
    return pairs.filter(([a, b]) => a !== b || closed).map(([a, b]) => {
      const between = indicesBetween(a, b, n);
      if (between.length === 2) {
        const [p, q] = [points[a], points[b]];
        return { after: a, index: null, at: [(p[0] + q[0]) / 2, (p[1] + q[1]) / 2] };
      }
      const index = between[Math.floor(between.length / 2)];
      return { after: a, index, at: points[index] };
    });
  }

  // What lies under the pointer: a handle before a middle, the nearest of each.
  hit(at) {
    let best = null, nearest = REACH_PX;
    const look = (place, found) => {
      const away = lengthOf(this.ws.view.toScreen(place), at);
      if (away < nearest) [nearest, best] = [away, found];
    };
    for (const part of this.parts()) {
      for (const index of part.handles) look(part.points[index], { part, index });
    }
    if (best && nearest < 12) return best;
    for (const part of this.parts()) {
      for (const middle of part.middles) look(middle.at, { part, ...middle, middle: true });
    }
    return best;
  }

  grab(found) {
    this.grabbed = found;
    if (found.middle && found.index !== null) this.pin(found.part.line, found.index);
    this.current = { line: found.part.line, index: found.index };
    drawHint(this.ws);
    this.ws.view.redraw();
  }

  pin(line, index) {
    if (!this.pins.has(line)) this.pins.set(line, new Set());
    this.pins.get(line).add(index);
    if (this.known) this.known.stale = true;
  }

  drag(to) {
    const { part, index, after } = this.grabbed;
    this.change = index === null
      ? { line: part.line, first: after, last: after, points: [part.points[after], to] }
      : { line: part.line, ...this.moved(part, index, to) };
    this.ws.view.redraw();
  }

  moved(part, index, to) {
    const { points, closed } = part;
    const end = !closed && (index === 0 || index === points.length - 1);
    if (end && !this.ws.layers.outline) {
      const cut = this.endMoved(points, index, to);
      if (cut) return cut;
    }
    const handles = this.parts().find((p) => p.line === part.line)?.handles || part.handles;
    const before = handles.filter((i) => i < index).at(-1) ?? (closed ? handles.at(-1) : null);
    const after = handles.find((i) => i > index) ?? (closed ? handles[0] : null);
    if (closed && handles.length < 2) return { first: index, last: index, points: [to] };
    return dragged(points, { at: index, before, after, to });
  }

  // An end dragged along its line shortens it; beyond it, it grows by a straight piece.
  endMoved(points, index, to) {
    const start = index === 0;
    const near = nearestOn(points, false, to);
    const { k } = this.ws.view;
    const away = lengthOf(to, points[index]) * k;
    if (near.distance * k < 10 && lengthOf(near.at, points[index]) * k > 6) {
      return start ? { first: 0, last: near.index, points: [near.at] }
        : { first: near.index + 1, last: index, points: [near.at] };
    }
    const inner = points[start ? Math.min(8, points.length - 1) : Math.max(0, index - 8)];
    const end = points[index];
    const forward = (to[0] - end[0]) * (end[0] - inner[0]) + (to[1] - end[1]) * (end[1] - inner[1]);
    if (forward <= 0 || away < 6) return null;
    return { first: index, last: index, points: start ? [to, end] : [end, to], grows: true };
  }

  drop() {
    const { change, grabbed } = this;
    this.grabbed = null;
    this.change = null;
    if (!change) return;
    this.send(change, grabbed?.part);
  }

  send({ line, first, last, points, grows }, part) {
    const { ws } = this;
    const snap = Boolean(ws.tool === "edit" && ws.snapEdit && line !== null && points.length);
    // To follow the dark line only the points that were put by hand are given.
    const own = snap && !grows && points.length > 2;
    const given = own ? [points[this.farthest(part, first, points)]] : points;
    this.keepCurrent({ line, first, last, points, snap }, part);
    if (ws.tool === "layers") {
      ws.layers.push({ do: "boundary", line, first, last, points: rounded(given),
        count: part.points.length });
      return;
    }
    ws.push({ do: "shape", id: ws.chosen, line, first, last, points: rounded(given), snap,
      count: part.points.length });
  }

  farthest(part, first, points) {
    const n = part.points.length;
    const shift = points.map((p, i) => lengthOf(p, part.points[(first + i) % n]));
    return shift.indexOf(Math.max(...shift));
  }

  // The point that was moved stays a handle and in hand, under the index that it will have.
  keepCurrent({ line, first, last, points, snap }, part) {
    this.pins.clear();
    this.current = null;
    if (snap || !points.length) return;
    const base = first <= last ? first : first - last - 1;
    const index = base + this.farthest(part, first, points);
    this.pin(line, index);
    this.current = { line, index };
  }

  // A double click on the line adds a handle there.
  addAt(at) {
    const p = this.ws.view.toPhoto(...at);
    for (const part of this.parts()) {
      const near = nearestOn(part.points, part.closed, p);
      if (near.distance * this.ws.view.k > REACH_PX) continue;
      const own = lengthOf(part.points[near.index], near.at) * this.ws.view.k < 8;
      if (own) {
        this.pin(part.line, near.index);
        this.current = { line: part.line, index: near.index };
        this.ws.refresh();
      } else {
        this.send({ line: part.line, first: near.index, last: near.index,
          points: [part.points[near.index], near.at] }, part);
      }
      return;
    }
  }

  // Take the current handle out: its neighbours are joined straight.
  remove() {
    const at = this.current;
    const part = at && this.parts().find((p) => p.line === at.line);
    if (!part || !part.handles.includes(at.index)) return;
    const { handles, closed, points } = part;
    if (this.ws.tool === "layers" && [0, points.length - 1].includes(at.index)) return;
    if (handles.length <= (closed ? 3 : 2)) return this.removeLine(part);
    const place = handles.indexOf(at.index);
    const before = handles[place - 1] ?? (closed ? handles.at(-1) : null);
    const after = handles[place + 1] ?? (closed ? handles[0] : null);
    const n = points.length;
    const first = before === null ? 0 : (before + 1) % n;
    const last = after === null ? n - 1 : (after - 1 + n) % n;
    this.current = null;
    this.send({ line: at.line, first, last, points: [] }, part);
  }

  removeLine(part) {
    const { ws } = this;
    if (part.closed || this.parts().length < 2 || ws.tool === "layers") {
      ws.fault = "Too few points would be left: reject the finding instead, with the reason.";
      return ws.refresh();
    }
    this.current = null;
    this.pins.clear();
    ws.push({ do: "drop", id: ws.chosen, line: part.line, count: part.points.length });
  }

  // By keys: choose the next handle, move it, and save when it rests.
  step(by) {
    const every = this.parts().flatMap((part) =>
      part.handles.map((index) => ({ line: part.line, index, at: part.points[index] })));
    if (!every.length) return;
    const now = every.findIndex((h) => h.line === this.current?.line &&
      h.index === this.current?.index);
    const next = every[(now + by + every.length) % every.length];
    this.current = { line: next.line, index: next.index };
    this.ws.view.show([next.at[0] - 40, next.at[1] - 40, next.at[0] + 40, next.at[1] + 40]);
    this.ws.say(`Point ${every.indexOf(next) + 1} of ${every.length}`);
    this.ws.refresh();
  }

  nudge(dx, dy) {
    const part = this.current && this.parts().find((p) => p.line === this.current.line);
    if (!part || this.current.index === null) return;
    if (!this.grabbed) {
      this.grabbed = { part, index: this.current.index };
      this.nudged = part.points[this.current.index];
    }
    const { k } = this.ws.view;
    this.nudged = [this.nudged[0] + dx / k, this.nudged[1] + dy / k];
    this.drag(this.nudged);
    clearTimeout(this.nudging);
    this.nudging = setTimeout(() => this.drop(), 600);
  }

  removeCurrentLine() {
    const part = this.parts().find((p) => p.line === this.current?.line);
    if (part) this.removeLine(part);
  }

  // By keys: a point halfway to the next handle.
  addAfter() {
    const part = this.parts().find((p) => p.line === this.current?.line);
    const middle = part?.middles.find((m) => m.after === this.current.index) || part?.middles.at(-1);
    if (!middle) return;
    if (middle.index === null) {
      this.send({ line: part.line, first: middle.after, last: middle.after,
        points: [part.points[middle.after], middle.at] }, part);
      return;
    }
    this.pin(part.line, middle.index);
    this.current = { line: part.line, index: middle.index };
    this.ws.refresh();
  }

  draw(pen) {
    if (this.ws.data.locked) return;
    for (const part of this.parts()) {
      if (this.change && this.change.line === part.line) this.drawChange(pen, part);
      else this.drawHandles(pen, part);
    }
  }

  drawChange(pen, part) {
    const { view, painter } = this.ws;
    const path = new Path2D();
    addPath(path, spliced(part.points, this.change), part.closed);
    painter.inPhoto(pen, () => painter.stroke(pen, path, { width: 2, colour: "#c2006f" }));
    const { index } = this.grabbed;
    const few = this.change.points.length < 4;
    for (const [i, p] of this.change.points.entries()) {
      const own = few || (this.change.first + i) % part.points.length === index;
      if (own) dot(pen, view.toScreen(p), { radius: 6, fill: "#c2006f" });
    }
  }

  drawHandles(pen, part) {
    const { view } = this.ws;
    for (const { at } of part.middles) dot(pen, view.toScreen(at), { radius: 3.2, fill: LIGHT });
    for (const index of part.handles) {
      const on = this.current?.line === part.line && this.current.index === index;
      dot(pen, view.toScreen(part.points[index]), { radius: on ? 8 : 6,
        fill: on ? "#c2006f" : "#1f6a73" });
    }
  }
}

// Points of a boundary that are always offered, so that a drag stays near where it is done.
function evenly(n) {
  return Array.from({ length: 7 }, (_, i) => Math.round((i * (n - 1)) / 6));
}
