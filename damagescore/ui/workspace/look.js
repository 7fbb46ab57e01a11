// For looking only: brightness, contrast, local contrast and the loupe. What is measured
// is the file as it came; none of this reaches it.

const LOOK = { brightness: 100, contrast: 100, local: false };
const LOUPE_PX = 180;

// Each pixel less a share of the mean around it: what is faint beside its neighbours
// stands out, on black rubber and on bright shims alike.
function raiseLocalContrast(canvas) {
  const { width, height } = canvas;
  if (!width || !height) return;
  const small = document.createElement("canvas");
  small.width = Math.max(1, Math.round(width / 24));
  small.height = Math.max(1, Math.round(height / 24));
  const pen = small.getContext("2d");
  pen.imageSmoothingQuality = "high";
  pen.drawImage(canvas, 0, 0, small.width, small.height);
  const wide = document.createElement("canvas");
  wide.width = width;
  wide.height = height;
  const even = wide.getContext("2d", { willReadFrequently: true });
  even.drawImage(small, 0, 0, width, height);
  const around = even.getImageData(0, 0, width, height).data;
  const target = canvas.getContext("2d");
  const image = target.getImageData(0, 0, width, height);
  const { data } = image;
  for (let i = 0; i < data.length; i += 4) {
    if (!data[i + 3]) continue;
    for (let c = i; c < i + 3; c++) data[c] = 1.9 * (data[c] - around[c]) + 0.75 * around[c] + 28;
  }
  target.putImageData(image, 0, 0);
}

function applyLook(ws) {
  const { brightness, contrast, local } = ws.look;
  const plain = brightness === 100 && contrast === 100;
  const filter = plain ? "" : `brightness(${brightness}%) contrast(${contrast}%)`;
  ws.view.canvas.style.filter = filter;
  ws.part(".loupe canvas").style.filter = filter;
  ws.view.local = local;
  ws.part('[data-do="look"]').classList.toggle("changed", !plain || local);
  ws.view.redraw();
}

function drawLook(ws) {
  const sheet = ws.part(".look");
  sheet.replaceChildren();
  element("b", { text: "Look" }, sheet);
  for (const [name, text] of [["brightness", "Brightness"], ["contrast", "Contrast"]]) {
    const label = element("label", { text }, sheet);
    const slider = element("input", { type: "range", min: 40, max: 260, step: 10,
      "data-look": name }, label);
    slider.value = ws.look[name];
    slider.addEventListener("input", () => {
      ws.look[name] = Number(slider.value);
      applyLook(ws);
    });
  }
  const label = element("label", { cls: "tick" }, sheet);
  const tick = element("input", { type: "checkbox", "data-look": "local" }, label);
  tick.checked = ws.look.local;
  tick.addEventListener("change", () => { ws.look.local = tick.checked; applyLook(ws); });
  element("span", { text: "Local contrast" }, label);
  element("p", { text: "For looking only; measuring uses the original." }, sheet);
  const acts = element("div", { cls: "acts" }, sheet);
  element("button", { text: "As it is", on: () => {
    Object.assign(ws.look, LOOK);
    applyLook(ws);
    drawLook(ws);
  } }, acts);
  element("button", { text: "Close", on: () => ws.toggleSheet(".look", false) }, acts);
}

// The loupe shows what lies under the pointer, beside it so that no finger covers it.
function drawLoupe(ws) {
  const loupe = ws.part(".loupe");
  const at = ws.pointer;
  loupe.hidden = !at || !(ws.loupe || ws.held);
  if (loupe.hidden) return;
  const [w, h] = ws.view.size();
  const left = at[0] > w / 2 ? at[0] - LOUPE_PX - 34 : at[0] + 34;
  const top = Math.min(Math.max(at[1] - LOUPE_PX - 20, 6), h - LOUPE_PX - 6);
  loupe.style.transform = `translate(${Math.min(Math.max(left, 6), w - LOUPE_PX - 6)}px, ${top}px)`;
  const [x, y] = ws.view.toPhoto(...at);
  const k = Math.min(Math.max(3 * ws.view.k, 2), 16);
  const place = { k, dx: LOUPE_PX / 2 - (x + 0.5) * k, dy: LOUPE_PX / 2 - (y + 0.5) * k,
    w: LOUPE_PX, h: LOUPE_PX };
  const pen = ws.view.pen(loupe.querySelector("canvas"), LOUPE_PX, LOUPE_PX);
  ws.view.drawTiles(pen, place);
}
