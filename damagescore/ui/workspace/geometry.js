// Lines and outlines in photo pixels: thinning, distances, and what a dragged point does.

function lengthOf(a, b) {
  return Math.hypot(a[0] - b[0], a[1] - b[1]);
}

function boxOf(points) {
  let [left, top, right, bottom] = [Infinity, Infinity, -Infinity, -Infinity];
  for (const [x, y] of points) {
    if (x < left) left = x;
    if (x > right) right = x;
    if (y < top) top = y;
    if (y > bottom) bottom = y;
  }
  return [left, top, right, bottom];
}

function pointsOf(finding) {
  return [...(finding.polygon || []), ...(finding.lines || []).flat()];
}

// Lines of a finding, each with its number; an outline has the number null.
function partsOf(finding) {
  const parts = (finding.lines || []).map((points, i) =>
    ({ points, line: finding.numbers?.[i] ?? i, closed: false }));
  if (finding.polygon) parts.push({ points: finding.polygon, line: null, closed: true });
  return parts;
}

// Where a point lies nearest to the segment from a to b: [distance, share of the segment].
function toSegment(p, a, b) {
  const dx = b[0] - a[0], dy = b[1] - a[1];
  const square = dx * dx + dy * dy;
  const share = square ? ((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / square : 0;
  const t = Math.min(1, Math.max(0, share));
  return [Math.hypot(p[0] - a[0] - t * dx, p[1] - a[1] - t * dy), t];
}

// Nearest place on a line: {distance, index (of the segment's start), at}.
function nearestOn(points, closed, p) {
  let best = { distance: Infinity, index: 0, at: points[0] };
  const n = closed ? points.length : points.length - 1;
  for (let i = 0; i < n; i++) {
    const a = points[i], b = points[(i + 1) % points.length];
    const [distance, t] = toSegment(p, a, b);
    if (distance < best.distance) {
      best = { distance, index: i, at: [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])] };
    }
  }
  return best;
}

function isInside(outline, [x, y]) {
  let inside = false;
  for (let i = 0, j = outline.length - 1; i < outline.length; j = i++) {
    const [ax, ay] = outline[i], [bx, by] = outline[j];
    if (ay > y !== by > y && x < ((bx - ax) * (y - ay)) / (by - ay) + ax) inside = !inside;
  }
  return inside;
}

// Indices that stay when a line is thinned (Douglas and Peucker 1973).
function thinIndices(points, tolerance) {
  const kept = new Set([0, points.length - 1]);
  const open = [[0, points.length - 1]];
  while (open.length) {
    const [first, last] = open.pop();
    let worst = tolerance, at = -1;
    for (let i = first + 1; i < last; i++) {
      const [distance] = toSegment(points[i], points[first], points[last]);
      if (distance > worst) [worst, at] = [distance, i];
    }
    if (at < 0) continue;
    kept.add(at);
    open.push([first, at], [at, last]);
  }
  return [...kept].sort((a, b) => a - b);
}

function thin(points, tolerance) {
  return thinIndices(points, tolerance).map((i) => points[i]);
}

// Handles of a line: its bends, no two nearer than `apart`; `pins` always.
function handlesOf(points, { closed, tolerance, apart, pins }) {
  const ends = closed ? [0] : [0, points.length - 1];
  const wanted = new Set([...ends, ...pins]);
  const taken = [...wanted].map((i) => points[i]);
  // Points that a hand put are all offered; of a found line only its bends.
  for (const i of thinIndices(points, points.length > 60 ? tolerance : -1)) {
    if (wanted.has(i) || taken.some((q) => lengthOf(q, points[i]) < apart)) continue;
    wanted.add(i);
    taken.push(points[i]);
  }
  return [...wanted].sort((a, b) => a - b);
}

// Indices from `first` to `last`, over the end where an outline closes.
function indicesBetween(first, last, n) {
  const found = [];
  for (let i = first; ; i = (i + 1) % n) {
    found.push(i);
    if (i === last) return found;
  }
}

// Move one point; those between it and the fixed points before and after go along, in
// proportion to their way. Gives {first, last, points} to put in.
function dragged(points, { at, before, after, to }) {
  const n = points.length;
  const shift = [to[0] - points[at][0], to[1] - points[at][1]];
  const stretch = (from, till) => {
    const indices = indicesBetween(from, till, n);
    const ways = [0];
    for (let i = 1; i < indices.length; i++) {
      ways.push(ways[i - 1] + lengthOf(points[indices[i]], points[indices[i - 1]]));
    }
    return indices.map((index, i) => [index, ways.at(-1) ? ways[i] / ways.at(-1) : 1]);
  };
  const moved = [];
  if (before !== null) moved.push(...stretch(before, at).slice(1, -1));
  moved.push([at, 1]);
  if (after !== null) {
    moved.push(...stretch(at, after).slice(1, -1).map(([i, share]) => [i, 1 - share]));
  }
  return {
    first: moved[0][0],
    last: moved.at(-1)[0],
    points: moved.map(([i, share]) =>
      [points[i][0] + share * shift[0], points[i][1] + share * shift[1]]),
  };
}

// The same rule as on the other side: over the end, an outline starts anew.
function spliced(line, { first, last, points }) {
  if (first <= last) return [...line.slice(0, first), ...points, ...line.slice(last + 1)];
  return [...line.slice(last + 1, first), ...points];
}

function rounded(points) {
  return points.map(([x, y]) => [Math.round(x * 100) / 100, Math.round(y * 100) / 100]);
}
