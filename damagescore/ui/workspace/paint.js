// The marks over the photo. Each line has a dark and a light casing, so that it shows on
// black rubber and on bright shims; kinds differ in dash and hatch as well as in colour.

const DARK = "#101416", LIGHT = "#ffffff";

class Painter {
  constructor(ws) {
    this.ws = ws;
    this.canvas = ws.part("canvas.marks");
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

  draw() {
    const { ws } = this;
    const { view } = ws;
    const [w, h] = view.size();
    const pen = view.pen(this.canvas, w, h);
    this.canvas.dataset.drawn = String(Number(this.canvas.dataset.drawn || 0) + 1);
    if (ws.marks && !ws.peeking) {
      this.inPhoto(pen, () => {
        this.drawLimits(pen);
        this.drawLayers(pen);
        for (const finding of ws.shown) if (finding.id !== ws.chosen) this.drawOne(pen, finding);
        const chosen = ws.found(ws.chosen);
        if (chosen) this.drawOne(pen, chosen);
      });
      this.drawLabels(pen, w, h);
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
    const [w, h] = view.size();
    const [x1, y1] = view.toScreen([left, top]), [x2, y2] = view.toScreen([right, bottom]);
    return x2 > -20 && y2 > -20 && x1 < w + 20 && y1 < h + 20;
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
    pen.stroke(this.ws.layerPath);
  }

  // Outside the region and inside what is kept out nothing is judged: it is dimmed.
  drawLimits(pen) {
    const { region, keepOut, photo } = this.ws.data;
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
      this.stroke(pen, path, { width: 1.6, colour: "#cfe9e6", dash });
    };
    if (region) edge(region, [12, 4]);
    for (const points of keepOut) edge(points, [2, 5]);
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

function layerPathOf(layers) {
  const path = new Path2D();
  for (const layer of layers) if (layer.polygon.length > 2) addPath(path, layer.polygon, true);
  return path;
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
