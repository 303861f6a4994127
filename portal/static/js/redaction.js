// Rectangles drawn on a picture become lines of four percentages in the field below it, and the other way
// round: the field is what is sent, so that it can be typed without a mouse or without this script.
// Outwards, to a tenth of a percent: what was drawn over is never a little less than what was drawn.
const down = (share) => Math.floor(share * 1000) / 10;
const up = (share) => Math.ceil(share * 1000) / 10;
const width = (from, to) => Math.round((to - from) * 10) / 10;
const clamp = (share) => Math.min(1, Math.max(0, share));

const regionsOf = (text) =>
  text
    .split("\n")
    .map((line) => line.replaceAll(",", " ").trim().split(/\s+/).map(Number))
    .filter((parts) => parts.length === 4 && parts.every(Number.isFinite));

for (const item of document.querySelectorAll("[data-redact]")) {
  const canvas = item.querySelector(".canvas");
  const field = item.querySelector("textarea");

  const place = (box, [left, top, wide, high]) => {
    box.style.left = `${left}%`;
    box.style.top = `${top}%`;
    box.style.width = `${wide}%`;
    box.style.height = `${high}%`;
  };
  const paint = () => {
    for (const box of canvas.querySelectorAll(".region")) box.remove();
    for (const region of regionsOf(field.value)) {
      const box = document.createElement("span");
      box.className = "region";
      place(box, region);
      canvas.append(box);
    }
  };
  const at = (event) => {
    const frame = canvas.getBoundingClientRect();
    return [clamp((event.clientX - frame.left) / frame.width), clamp((event.clientY - frame.top) / frame.height)];
  };
  const between = ([x1, y1], [x2, y2]) => {
    const [left, top] = [down(Math.min(x1, x2)), down(Math.min(y1, y2))];
    const [right, bottom] = [up(Math.max(x1, x2)), up(Math.max(y1, y2))];
    return [left, top, width(left, right), width(top, bottom)];
  };

  let start = null;
  let drawn = null;
  canvas.addEventListener("pointerdown", (event) => {
    start = at(event);
    drawn = document.createElement("span");
    drawn.className = "region drawing";
    canvas.append(drawn);
    canvas.setPointerCapture(event.pointerId);
    event.preventDefault();
  });
  canvas.addEventListener("pointermove", (event) => {
    if (drawn) place(drawn, between(start, at(event)));
  });
  const end = (event, keep) => {
    if (!drawn) return;
    const region = between(start, at(event));
    drawn.remove();
    drawn = null;
    // A click is no region.
    if (keep && region[2] >= 0.5 && region[3] >= 0.5) {
      field.value = `${field.value.trim()}\n${region.join(" ")}`.trim();
      paint();
    }
  };
  canvas.addEventListener("pointerup", (event) => end(event, true));
  canvas.addEventListener("pointercancel", (event) => end(event, false));
  field.addEventListener("input", paint);
  paint();
}
