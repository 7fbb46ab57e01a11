// The marks over the photo. Each line has a dark and a light casing, so that it shows on
// black rubber and on bright shims; kinds differ in dash and hatch as well as in colour.

const DARK = "#101416", LIGHT = "#ffffff";
const MANY = 25; // findings that are drawn well within a frame
const REST_MS = 140; // a view that has not moved for so long is at rest

class Painter {
  constructor(ws) {
    this.ws = ws;
    this.canvas = ws.part("canvas.marks");
    this.hand = ws.part("canvas.hand");
    this.dirty = true;
    this.paths = new WeakMap();
  }

  // A finding as paths, thinned to what this magnification can show.
  pathsOf(finding) {
    const level = Math.round(Math.log2(this.ws.view.k));
    let known = this.paths.get(finding);
    if (known && known.level === level) return known;
    const tolerance = 0.35 / 2 ** level;
    const box = boxOf(pointsOf(finding));
    const path = new Path2D();
    for (const { points, closed } of partsOf(finding)) addPath(path, thin(points, tolerance), closed);
    known = { level, path, box, labelAt: middleOf(finding) };
    this.paths.set(finding, known);
    return known;
  }

  // Called at each frame. Many marks take longer than a frame to draw: while the view moves,
  // what was drawn, with a margin around it, is moved along; it is drawn anew at rest.
  draw() {
    const { view } = this.ws;
    const many = this.ws.shown.length > MANY;
    const waits = many && !this.dirty && this.covers();
    if (waits) {
      const { k, dx, dy, margin } = this.drawn;
      const scale = view.k / k;
      this.canvas.style.transform = `translate(${view.dx - scale * (dx + margin)}px, ` +
        `${view.dy - scale * (dy + margin)}px) scale(${scale})`;
      clearTimeout(this.resting);
      this.resting = setTimeout(() => { this.dirty = true; view.redraw(); }, REST_MS);
    } else this.drawMarks(many);
    this.drawHand();
  }

  // True while the view shows nothing beyond what was drawn, at about its magnification.
  covers() {
    if (!this.drawn) return false;
    const { view } = this.ws;
    const [w, h] = view.size();
    const scale = view.k / this.drawn.k;
    const left = view.dx - scale * (this.drawn.dx + this.drawn.margin);
    const top = view.dy - scale * (this.drawn.dy + this.drawn.margin);
    return scale < 2.5 && left <= 0 && top <= 0 &&
      left + scale * this.drawn.w >= w && top + scale * this.drawn.h >= h;
  }

  drawMarks(many) {
    const { ws } = this;
    const { view } = ws;
    const [w, h] = view.size();
    const margin = many ? Math.round(0.4 * Math.max(w, h)) : 0;
    this.dirty = false;
    clearTimeout(this.resting);
    this.drawn = { k: view.k, dx: view.dx, dy: view.dy, margin, w: w + 2 * margin,
      h: h + 2 * margin };
    this.canvas.style.width = `${this.drawn.w}px`;
    this.canvas.style.height = `${this.drawn.h}px`;
    this.canvas.style.transform = `translate(${-margin}px, ${-margin}px)`;
    const pen = view.pen(this.canvas, this.drawn.w, this.drawn.h);
    if (!ws.marks || ws.peeking) return;
    pen.translate(margin, margin);
    this.inPhoto(pen, () => {
      this.drawLimits(pen);
      this.drawUnseen(pen);
      this.drawLayers(pen);
      for (const finding of ws.shown) if (finding.id !== ws.chosen) this.drawOne(pen, finding);
      const chosen = ws.found(ws.chosen);
      if (chosen) this.drawOne(pen, chosen);
      this.drawLinks(pen);
    });
    this.drawLabels(pen, w, h);
    this.drawRulers(pen);
  }

  // What the hand does, on a canvas of its own: it changes at every move.
  drawHand() {
    const { ws } = this;
    const [w, h] = ws.view.size();
    const pen = ws.view.pen(this.hand, w, h);
    if (ws.marks && !ws.peeking) {
      ws.layers.draw(pen);
      ws.shape.draw(pen);
    }
    ws.draft.draw(pen);
  }

  inPhoto(pen, work) {
    const { k, dx, dy } = this.ws.view;
    pen.save();
    pen.translate(dx, dy);
    pen.scale(k, k);
    pen.translate(0.5, 0.5);
    pen.lineJoin = "round";
    work();
    pen.restore();
  }

  seen([left, top, right, bottom]) {
    const { view } = this.ws;
    const { margin } = this.drawn;
    const [w, h] = view.size().map((n) => n + margin + 20);
    const [x1, y1] = view.toScreen([left, top]), [x2, y2] = view.toScreen([right, bottom]);
    return x2 > -margin - 20 && y2 > -margin - 20 && x1 < w && y1 < h;
  }

  drawOne(pen, finding) {
    const { path, box } = this.pathsOf(finding);
    if (!this.seen(box)) return;
    const { styles } = this.ws.data;
    const style = finding.state === "rejected" ? styles.rejected : styles[finding.kind];
    const chosen = finding.id === this.ws.chosen;
    const width = style.width + (chosen ? 1.2 : 0);
    if (style.hatch && finding.polygon) this.hatch(pen, path, style.colour);
    this.stroke(pen, path, { width, colour: style.colour, dash: style.dash, chosen });
    if (finding.state !== "rejected") for (const points of finding.bridged) {
      const way = new Path2D();
      addPath(way, points, false);
      this.stroke(pen, way, { ...styles.bridged, width });
    }
  }

  // Where a crack may go on beyond a gap, as long as nobody has decided on it.
  drawLinks(pen) {
    const { width, colour, dash } = this.ws.data.styles.link;
    for (const { lines } of this.ws.openLinks()) {
      const path = new Path2D();
      for (const points of lines) addPath(path, points, false);
      this.stroke(pen, path, { width: width + 1, colour, dash });
    }
  }

  stroke(pen, path, { width, colour, dash = [], chosen = false }) {
    const one = 1 / this.ws.view.k;
    pen.setLineDash([]);
    pen.lineCap = "round";
    for (const [wider, tone] of [[chosen ? 6.4 : 3.6, DARK], [chosen ? 4.4 : 1.9, LIGHT]]) {
      pen.lineWidth = (width + wider) * one;
      pen.strokeStyle = tone;
      pen.stroke(path);
    }
    pen.lineCap = dash.length ? "butt" : "round";
    pen.setLineDash(dash.map((d) => d * one));
    pen.lineWidth = width * one;
    pen.strokeStyle = colour;
    pen.stroke(path);
    pen.setLineDash([]);
  }

  hatch(pen, path, colour) {
    this.patterns ??= new Map();
    if (!this.patterns.has(colour)) this.patterns.set(colour, hatchOf(pen, colour));
    const pattern = this.patterns.get(colour);
    pattern.setTransform(new DOMMatrix().scale(1 / this.ws.view.k));
    pen.fillStyle = pattern;
    pen.fill(path, "evenodd");
  }

  drawLayers(pen) {
    pen.lineWidth = 0.8 / this.ws.view.k;
    pen.strokeStyle = "rgba(255,255,255,0.55)";
    pen.stroke(this.ws.layers.path);
  }

  // Measuring lines that are kept on the photo, with a tick at each end.
  drawRulers(pen) {
    const { view, data } = this.ws;
    for (const { points, text } of data.rulers) {
      const [a, b] = points.map((p) => view.toScreen(p));
      const long = Math.max(1, lengthOf(a, b));
      const [x, y] = [(5 * (b[1] - a[1])) / long, (-5 * (b[0] - a[0])) / long];
      const path = new Path2D();
      addPath(path, [a, b], false);
      for (const [u, v] of [a, b]) addPath(path, [[u - x, v - y], [u + x, v + y]], false);
      for (const [width, tone] of [[4.6, LIGHT], [1.6, DARK]]) {
        pen.lineWidth = width;
        pen.strokeStyle = tone;
        pen.stroke(path);
      }
      this.label(pen, text, [(a[0] + b[0]) / 2 + 6, (a[1] + b[1]) / 2 - 7], {});
    }
  }

  // Outside the region and inside what is kept out nothing is judged: it is dimmed.
  drawLimits(pen) {
    const { region, keepOut, turnLimits, photo } = this.ws.data;
    // A round edge turns too far to be judged beyond these.
    for (const points of turnLimits) {
      const path = new Path2D();
      addPath(path, points, false);
      this.stroke(pen, path, { width: 1.5, colour: "#0d5560", dash: [6, 9] });
    }
    if (!region && !keepOut.length) return;
    const shade = new Path2D();
    if (region) {
      shade.rect(-0.5, -0.5, photo.width, photo.height);
      addPath(shade, region, true);
    }
    pen.fillStyle = "rgba(10,14,16,0.45)";
    pen.fill(shade, "evenodd");
    const edge = (points, dash) => {
      const path = new Path2D();
      addPath(path, points, true);
      if (points !== region) this.cross(pen, path);
      this.stroke(pen, path, { width: 2, colour: "#0d5560", dash });
    };
    if (region) edge(region, [12, 4]);
    for (const points of keepOut) edge(points, [2, 5]);
  }

  // Rubber that could not be judged: too dark, glare, covered, out of focus.
  drawUnseen(pen) {
    const { colour, dash } = this.ws.data.styles.unjudged;
    const one = 1 / this.ws.view.k;
    for (const { outlines } of this.ws.data.unseen) for (const points of outlines) {
      const path = new Path2D();
      addPath(path, points, true);
      this.hatch(pen, path, colour);
      pen.setLineDash(dash.map((d) => d * one));
      pen.lineWidth = 1.4 * one;
      pen.strokeStyle = LIGHT;
      pen.stroke(path);
      pen.setLineDash([]);
    }
  }

  cross(pen, path) {
    this.hatch(pen, path, "#cfe9e6");
    pen.fillStyle = "rgba(10,14,16,0.45)";
    pen.fill(path, "evenodd");
  }

  // Labels that would lie on another are left out; the list beside the photo has them all.
  drawLabels(pen, w, h) {
    const { ws } = this;
    const taken = [];
    pen.font = `600 12px ${getComputedStyle(ws.root).fontFamily}`;
    pen.lineJoin = "round";
    const chosenFirst = [...ws.shown].sort((a, b) =>
      (b.id === ws.chosen) - (a.id === ws.chosen));
    for (const finding of chosenFirst) {
      const { labelAt } = this.pathsOf(finding);
      if (!labelAt) continue;
      const [x, y] = ws.view.toScreen(labelAt);
      if (x < -60 || y < 0 || x > w || y > h + 20) continue;
      const text = finding.id + ({ confirmed: " ✓", rejected: " ✕" }[finding.state] || "");
      const wide = 7 * text.length + 8;
      if (taken.some((t) => Math.abs(t[1] - y) < 16 && x < t[0] + t[2] && t[0] < x + wide)) continue;
      taken.push([x, y, wide]);
      this.label(pen, text, [x + 8, y - 9], finding);
    }
  }

  label(pen, text, [x, y], finding) {
    pen.lineWidth = finding.id === this.ws.chosen ? 5 : 3.6;
    pen.strokeStyle = LIGHT;
    pen.strokeText(text, x, y);
    pen.fillStyle = finding.state === "rejected" ? "#5a6163" : DARK;
    pen.fillText(text, x, y);
  }

  // The finding under a place on the screen: lines first, then areas, the smallest first.
  hit(at, reach = 10) {
    const { ws } = this;
    const p = ws.view.toPhoto(...at);
    const far = reach / ws.view.k;
    let best = null, nearest = far;
    for (const finding of ws.shown) {
      const { box } = this.pathsOf(finding);
      if (p[0] < box[0] - far || p[0] > box[2] + far || p[1] < box[1] - far ||
          p[1] > box[3] + far) continue;
      for (const { points, closed } of partsOf(finding)) {
        const { distance } = nearestOn(points, closed, p);
        if (distance < nearest) [nearest, best] = [distance, finding.id];
      }
    }
    if (best) return best;
    const area = ws.shown.filter((f) => f.polygon && isInside(f.polygon, p));
    return area.length ? area[0].id : null;
  }
}

function middleOf(finding) {
  const points = pointsOf(finding);
  return points.length ? points[Math.floor(points.length / 2)] : null;
}

function addPath(path, points, closed) {
  points.forEach(([x, y], i) => (i ? path.lineTo(x, y) : path.moveTo(x, y)));
  if (closed) path.closePath();
}

function hatchOf(pen, colour) {
  const tile = document.createElement("canvas");
  tile.width = tile.height = 10;
  const small = tile.getContext("2d");
  for (const [width, tone] of [[3.2, "rgba(255,255,255,0.55)"], [1.4, colour]]) {
    small.lineWidth = width;
    small.strokeStyle = tone;
    small.beginPath();
    for (const shift of [-10, 0, 10]) { small.moveTo(shift - 2, 12); small.lineTo(shift + 12, -2); }
    small.stroke();
  }
  return pen.createPattern(tile, "repeat");
}
