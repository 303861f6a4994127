// Sheets open by their address (#photo) without any script; this adds the keyboard: focus goes in, Escape
// closes, and what lies behind an open sheet cannot be reached.
const opened = () => document.querySelector(".sheet:target, .sheet.open");
let cameFrom = null;

const settle = () => {
  const sheet = opened();
  for (const part of document.querySelectorAll(".bar, .foot, .deskfoot, main > :not(.sheet):not(.toast)")) {
    part.inert = sheet !== null;
  }
  if (sheet) sheet.querySelector("input:not([type=hidden]), select, .right")?.focus();
  else cameFrom?.focus();
};
document.addEventListener("click", (event) => {
  const link = event.target.closest?.("a[href^='#']");
  if (link && !link.closest(".sheet")) cameFrom = link;
});
document.addEventListener("keydown", (event) => {
  if (event.key === "Escape") opened()?.querySelector("header a")?.click();
});
addEventListener("hashchange", settle);
settle();
