// Two pictures of one frame: a wipe between them, or one after the other in turn.
// A picture that changes more than three times a second can harm; this one takes 0.7 s.
const TURN_MS = 700;

function show(root, share) {
  root.querySelector(".later").style.clipPath = `inset(0 0 0 ${share}%)`;
  root.querySelector(".bar").style.left = `${share}%`;
}

function stop(root) {
  clearInterval(root.timer);
  root.timer = 0;
  root.querySelector(".flicker").setAttribute("aria-pressed", "false");
  root.querySelector(".bar").hidden = false;
}

function flicker(root) {
  const slider = root.querySelector("input");
  if (root.timer) {
    stop(root);
    show(root, slider.value);
    return;
  }
  let later = false;
  root.querySelector(".flicker").setAttribute("aria-pressed", "true");
  root.querySelector(".bar").hidden = true;
  root.timer = setInterval(() => {
    later = !later;
    show(root, later ? 0 : 100);
  }, TURN_MS);
}

function wire(root) {
  const slider = root.querySelector("input");
  const swap = root.querySelector(".swap");
  slider.addEventListener("input", () => {
    stop(root);
    show(root, slider.value);
  });
  slider.addEventListener("keydown", (event) => event.stopPropagation());
  root.querySelector(".flicker").addEventListener("click", () => flicker(root));
  swap.addEventListener("click", () => {
    stop(root);
    slider.value = Number(slider.value) === 0 ? 100 : 0;
    swap.textContent = slider.value === "0" ? "Show the earlier one" : "Show the later one";
    show(root, slider.value);
  });
  const frame = root.querySelector(".frame");
  frame.addEventListener("pointermove", (event) => {
    if (event.buttons !== 1) return;
    const box = frame.getBoundingClientRect();
    slider.value = Math.round((100 * (event.clientX - box.left)) / box.width);
    stop(root);
    show(root, slider.value);
  });
  root.wired = true;
}

export default function (component) {
  const { data, parentElement } = component;
  const root = parentElement.querySelector(".two");
  if (!root.wired) wire(root);
  for (const [name, source, words] of [
    ["earlier", data.earlier, data.first],
    ["later", data.later, data.second],
  ]) {
    const image = root.querySelector(`.${name}`);
    if (image.getAttribute("src") !== source) image.setAttribute("src", source);
    image.alt = words;
  }
  root.querySelector(".first").textContent = `◧ ${data.first}`;
  root.querySelector(".second").textContent = `${data.second} ◨`;
  if (!root.timer) show(root, root.querySelector("input").value);
  return () => clearInterval(root.timer);
}
