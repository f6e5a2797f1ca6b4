// Signing with a finger: [data-sign] holds an SVG, and a hidden field that gets its path, “M20 80L24 78…”.
const WIDTH = 600;
const HEIGHT = 200;
const LONGEST = 7900;
const NEAREST = 4;

const attend = (part) => {
  const svg = part.querySelector("svg");
  const field = part.querySelector("[data-drawing]");
  const line = part.querySelector("[data-drawn]");
  let last = null;

  const show = () => line.setAttribute("d", field.value);
  const place = (event) => {
    const box = svg.getBoundingClientRect();
    const within = (share, most) => Math.min(most - 1, Math.max(0, Math.round(share * most)));
    return [within((event.clientX - box.left) / box.width, WIDTH), within((event.clientY - box.top) / box.height, HEIGHT)];
  };
  const add = (words) => {
    if (field.value.length + words.length > LONGEST) return;
    field.value += words;
    show();
  };
  const told = () => field.dispatchEvent(new Event("input", { bubbles: true }));

  svg.addEventListener("pointerdown", (event) => {
    if (!event.isPrimary) return;
    svg.setPointerCapture(event.pointerId);
    last = place(event);
    add(`M${last.join(" ")}L${last.join(" ")}`);
  });
  svg.addEventListener("pointermove", (event) => {
    if (!last || !event.isPrimary) return;
    const now = place(event);
    if (Math.hypot(now[0] - last[0], now[1] - last[1]) < NEAREST) return;
    last = now;
    add(`L${now.join(" ")}`);
  });
  for (const end of ["pointerup", "pointercancel"]) svg.addEventListener(end, () => { last = null; told(); });
  part.querySelector("[data-sign-again]").addEventListener("click", () => { field.value = ""; show(); told(); });
  field.addEventListener("change", show); // filled from what the phone kept
  part.hidden = false;
  show();
};

document.querySelectorAll("[data-sign]").forEach(attend);
