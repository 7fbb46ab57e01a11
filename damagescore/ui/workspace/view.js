// The view: where photo pixels land on the screen, and the tiles behind them.
// A photo pixel (x, y) is the centre of its square, so edges lie half a pixel off.

class View {
  constructor(stage) {
    this.stage = stage;
    this.canvas = stage.querySelector("canvas.tiles");
    this.tiles = new Map();
    this.k = 1;
    this.dx = 0;
    this.dy = 0;
    this.onDraw = () => {};
    this.framed = false;
    this.waiting = false;
    this.local = false;
  }

  load(photo) {
    const same = this.photo && this.photo.base === photo.base;
    this.photo = photo;
    if (!same) {
      this.tiles.clear();
      this.framed = false;
    }
    if (!this.framed) this.fit();
  }

  size() {
    return [this.stage.clientWidth, this.stage.clientHeight];
  }

  fit() {
    const [w, h] = this.size();
    if (!this.photo || w < 10 || h < 10) return;
    this.k = 0.98 * Math.min(w / this.photo.width, h / this.photo.height);
    this.dx = (w - this.k * this.photo.width) / 2;
    this.dy = (h - this.k * this.photo.height) / 2;
    this.framed = true;
    this.redraw();
  }

  show(box) {
    const [w, h] = this.size();
    const pad = 60;
    const inside =
      this.k * box[0] + this.dx > 0 && this.k * box[2] + this.dx < w &&
      this.k * box[1] + this.dy > 0 && this.k * box[3] + this.dy < h;
    const large = Math.max(box[2] - box[0], box[3] - box[1]) * this.k > 60;
    if (!inside || !large) this.frame(box, pad);
  }

  frame(box, pad = 12) {
    const [w, h] = this.size();
    const fitting = Math.min((w - 2 * pad) / Math.max(1, box[2] - box[0]),
                             (h - 2 * pad) / Math.max(1, box[3] - box[1]));
    this.k = Math.min(Math.max(fitting, this.least()), 2);
    this.dx = w / 2 - (this.k * (box[0] + box[2])) / 2;
    this.dy = h / 2 - (this.k * (box[1] + box[3])) / 2;
    this.redraw();
  }

  // A place in the middle, at a magnification.
  centre([x, y], k) {
    const [w, h] = this.size();
    this.k = Math.max(k, this.least());
    this.dx = w / 2 - this.k * x;
    this.dy = h / 2 - this.k * y;
    this.redraw();
  }

  least() {
    const [w, h] = this.size();
    return 0.5 * Math.min(w / this.photo.width, h / this.photo.height);
  }

  zoom(factor, at) {
    const [w, h] = this.size();
    const [x, y] = at || [w / 2, h / 2];
    const k = Math.min(Math.max(this.k * factor, this.least()), 16);
    this.dx = x - ((x - this.dx) * k) / this.k;
    this.dy = y - ((y - this.dy) * k) / this.k;
    this.k = k;
    this.redraw();
  }

  oneToOne() {
    this.zoom(1 / window.devicePixelRatio / this.k);
  }

  move(dx, dy) {
    this.dx += dx;
    this.dy += dy;
    this.redraw();
  }

  toPhoto(x, y) {
    return [(x - this.dx) / this.k - 0.5, (y - this.dy) / this.k - 0.5];
  }

  toScreen(point) {
    return [(point[0] + 0.5) * this.k + this.dx, (point[1] + 0.5) * this.k + this.dy];
  }

  redraw() {
    if (this.waiting) return;
    this.waiting = true;
    requestAnimationFrame(() => {
      this.waiting = false;
      this.draw();
    });
  }

  // A canvas as large as the stage, its pen in screen pixels.
  pen(canvas, w, h) {
    const ratio = window.devicePixelRatio || 1;
    if (canvas.width !== Math.round(w * ratio)) canvas.width = Math.round(w * ratio);
    if (canvas.height !== Math.round(h * ratio)) canvas.height = Math.round(h * ratio);
    const pen = canvas.getContext("2d");
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    pen.clearRect(0, 0, w, h);
    return pen;
  }

  draw() {
    const [w, h] = this.size();
    if (!this.photo || w < 10) return;
    const pen = this.pen(this.canvas, w, h);
    const missing = this.drawTiles(pen, { k: this.k, dx: this.dx, dy: this.dy, w, h });
    this.stage.dataset.ready = missing ? "no" : "yes";
    if (this.local) this.rest();
    this.onDraw();
  }

  // Local contrast takes longer than a frame: it is put on when the view rests.
  rest() {
    clearTimeout(this.resting);
    this.resting = setTimeout(() => {
      if (this.local && !this.waiting) raiseLocalContrast(this.canvas);
    }, 90);
  }

  // Draws the photo where k, dx and dy put it; gives the number of tiles not yet there.
  drawTiles(pen, place) {
    const ratio = window.devicePixelRatio || 1;
    pen.imageSmoothingEnabled = place.k < 3;
    const top = this.photo.levels - 1;
    const wanted = Math.min(top, Math.max(0, Math.floor(-Math.log2(place.k * ratio) + 0.2)));
    // What lies under a level that is complete need not be drawn.
    if (!this.drawLevel(null, wanted, place, true)) {
      return this.drawLevel(pen, wanted, place, true);
    }
    this.drawLevel(null, top, place, true);
    let missing = 0;
    for (let level = top; level >= wanted; level--) {
      missing = this.drawLevel(pen, level, place, false);
    }
    return missing;
  }

  drawLevel(pen, level, { k, dx, dy, w, h }, fetchThem) {
    const { width, height, tile } = this.photo;
    const wide = Math.ceil(width / 2 ** level), high = Math.ceil(height / 2 ** level);
    const sx = (k * width) / wide, sy = (k * height) / high;
    const first = (d, s) => Math.max(0, Math.floor(-d / s / tile));
    const last = (d, s, room, n) => Math.min(Math.ceil(n / tile), Math.ceil((room - d) / s / tile));
    let missing = 0;
    for (let j = first(dy, sy); j < last(dy, sy, h, high); j++) {
      for (let i = first(dx, sx); i < last(dx, sx, w, wide); i++) {
        const image = this.tileAt(level, i, j, fetchThem);
        if (!image || !image.complete || !image.naturalWidth) { missing++; continue; }
        pen?.drawImage(image, dx + i * tile * sx, dy + j * tile * sy,
                       image.naturalWidth * sx + 0.5, image.naturalHeight * sy + 0.5);
      }
    }
    return missing;
  }

  tileAt(level, i, j, fetchIt) {
    const name = `${level}/${i}_${j}.jpg`;
    const known = this.tiles.get(name);
    if (known || !fetchIt) return known;
    const image = new Image();
    image.onload = () => this.redraw();
    image.src = `${this.photo.base}/${name}`;
    this.tiles.set(name, image);
    return image;
  }
}
