// What is being drawn: clicks or a freehand stroke, and the way that the next piece will take.

const TOOLS = {
  select: { least: 0 },
  trace: { least: 2, snaps: true },
  edit: { least: 0 },
  area: { least: 3, closed: true, free: true },
  add: { least: 3, closed: true, free: true },
  take: { least: 3, closed: true, free: true },
  ruler: { least: 2, most: 2 },
  scale: { least: 2, most: 2 },
  region: { least: 3, closed: true, free: true },
  layers: { least: 0 },
  keepout: { least: 3, closed: true, free: true },
};

class Draft {
  constructor(ws) {
    this.ws = ws;
    this.asker = new Asker(ws);
    this.reset();
  }

  reset() {
    this.points = [];
    this.ways = [];
    this.next = null;
    this.answer = "";
    this.asker.drop();
  }

  get tool() {
    return TOOLS[this.ws.tool];
  }

  get snaps() {
    return Boolean(this.tool.snaps && this.ws.snap);
  }

  add(point) {
    const last = this.points.at(-1);
    if (last && lengthOf(last, point) * this.ws.view.k < 4) return;
    if (this.points.length === this.tool.most) this.reset();
    const from = this.points.at(-1);
    this.points.push(point.map((v) => Math.round(v * 100) / 100));
    if (from) this.fix(from, this.points.at(-1));
    if (this.ws.tool === "ruler" && this.points.length === 2) this.measure();
    this.ws.refresh();
  }

  // The piece between two clicks keeps the way that it was shown with.
  fix(from, to) {
    const number = this.points.length - 2;
    this.ways[number] = [from, to];
    this.next = null;
    if (!this.snaps) return;
    this.asker.ask("way", [from, to], (answer) => {
      if (this.points[number] !== from || !answer.points) return;
      this.ways[number] = answer.points;
      this.ws.view.redraw();
    }, 0);
  }

  // While the pointer rests, ask which way the next piece would take; never more than once.
  hover(point) {
    const from = this.points.at(-1);
    if (!from || this.tool.most === this.points.length) { this.next = null; return; }
    this.next = [from, point];
    if (this.snaps && lengthOf(from, point) * this.ws.view.k > 6) {
      this.asker.ask("way", [from, point], (answer) => {
        if (this.points.at(-1) !== from || !answer.points) return;
        this.next = answer.points;
        this.ws.root.dataset.way = String(answer.points.length);
        this.ws.view.redraw();
      });
    }
    this.ws.view.redraw();
  }

  measure() {
    this.answer = "…";
    this.asker.ask("length", [...this.points], (answer) => {
      this.answer = answer.text || answer.fault || "";
      this.ws.refresh();
    }, 0);
  }

  // A stroke drawn in one go: a point for every few pixels of the screen.
  stroke(point) {
    const last = this.points.at(-1);
    if (last && lengthOf(last, point) * this.ws.view.k < 3) return;
    this.points.push(point);
    if (last) this.ways[this.points.length - 2] = [last, point];
    this.ws.view.redraw();
  }

  pop() {
    this.points.pop();
    this.ways.length = Math.max(0, this.points.length - 1);
    this.next = null;
    this.answer = "";
    this.ws.refresh();
  }

  draw(pen) {
    const { painter, pending } = this.ws;
    const style = { width: 2, colour: "#c2006f" };
    painter.inPhoto(pen, () => {
      for (const op of pending) if (!["shape", "boundary", "shim"].includes(op.do) && op.points) {
        const path = new Path2D();
        addPath(path, op.points, TOOLS[op.tool]?.closed);
        painter.stroke(pen, path, { ...style, dash: [6, 4] });
      }
      if (!this.points.length) return;
      const path = new Path2D();
      for (const way of this.ways) if (way) addPath(path, way, false);
      painter.stroke(pen, path, style);
      if (!this.next) return;
      const next = new Path2D();
      addPath(next, this.tool.closed ? [...this.next, this.points[0]] : this.next, false);
      painter.stroke(pen, next, { ...style, width: 1.4, dash: [5, 4] });
    });
    this.drawPoints(pen, style.colour);
    this.drawCross(pen);
  }

  drawPoints(pen, colour) {
    // A freehand stroke has too many points to show each.
    const shown = this.points.length > 60 ? this.points.slice(0, 1) : this.points;
    for (const point of shown) dot(pen, this.ws.view.toScreen(point), { radius: 4.5, fill: colour });
    if (!this.answer || this.points.length < 2) return;
    const [x, y] = this.ws.view.toScreen(this.points[1]);
    pen.font = `650 15px ${getComputedStyle(this.ws.root).fontFamily}`;
    this.ws.painter.label(pen, this.answer, [x + 12, y - 12], { id: this.ws.chosen });
  }

  // The cross that the arrow keys move.
  drawCross(pen) {
    if (!this.ws.keyed || !this.ws.pointer || this.ws.tool === "select") return;
    const [x, y] = this.ws.pointer;
    for (const [width, tone] of [[4, LIGHT], [1.6, DARK]]) {
      pen.lineWidth = width;
      pen.strokeStyle = tone;
      pen.beginPath();
      pen.moveTo(x - 16, y); pen.lineTo(x - 4, y); pen.moveTo(x + 4, y); pen.lineTo(x + 16, y);
      pen.moveTo(x, y - 16); pen.lineTo(x, y - 4); pen.moveTo(x, y + 4); pen.lineTo(x, y + 16);
      pen.stroke();
    }
  }
}

function dot(pen, [x, y], { radius, fill, ring = LIGHT }) {
  pen.beginPath();
  pen.arc(x, y, radius + 1.6, 0, 7);
  pen.fillStyle = DARK;
  pen.fill();
  pen.beginPath();
  pen.arc(x, y, radius, 0, 7);
  pen.fillStyle = fill;
  pen.fill();
  pen.lineWidth = 2;
  pen.strokeStyle = ring;
  pen.stroke();
}

// Questions to Python that change nothing. One is on its way at a time, and a question that
// a newer one has overtaken is never asked.
class Asker {
  constructor(ws) {
    this.ws = ws;
    this.asked = 0;
  }

  drop() {
    clearTimeout(this.timer);
    this.waiting = null;
    this.last = null;
  }

  ask(what, points, then, rest = 120) {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => {
      this.waiting = { what, points, then };
      this.send();
    }, rest);
  }

  async send() {
    if (this.busy || !this.waiting) return;
    const { what, points, then } = this.waiting;
    const question = this.waiting;
    this.waiting = null;
    this.last = question;
    this.busy = true;
    this.asked += 1;
    this.ws.root.dataset.asked = String(this.asked);
    const { ask, unit } = this.ws.data;
    const at = points.flat().map((v) => v.toFixed(2)).join(",");
    try {
      const screen = (1 / this.ws.view.k).toFixed(3);
      const reply = await fetch(`${ask}/${what}?at=${at}&unit=${unit}&screen=${screen}`);
      const answer = reply.ok || reply.status === 422 ? await reply.json() : {};
      if (this.last === question) then(answer);
    } catch {
      // Without an answer the straight line stays; an edit would tell that the server is gone.
    } finally {
      this.busy = false;
      this.send();
    }
  }
}
