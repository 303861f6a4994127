// Sheets open by their address (#photo) without any script; this adds the keyboard: focus goes in, Escape
// closes, and what lies behind an open sheet cannot be reached.
const opened = () => document.querySelector(".sheet:target, .sheet.open");
let cameFrom = null;
let scrolled = scrollY;

const settle = () => {
  const sheet = opened();
  for (const part of document.querySelectorAll(".bar, .foot, .deskfoot, main > :not(.sheet):not(.toast)")) {
    part.inert = sheet !== null;
  }
  if (sheet) (sheet.querySelector("form :is(input:not([type=hidden]), select)") ?? sheet.querySelector("header a"))?.focus({ preventScroll: true });
  else cameFrom?.focus({ preventScroll: true });
};
document.addEventListener("click", (event) => {
  const link = event.target.closest?.("a[href^='#']");
  if (!link || link.closest(".sheet")) return;
  cameFrom = link;
  scrolled = scrollY;
});
document.addEventListener("keydown", (event) => {
  if (event.key === "Escape") opened()?.querySelector("header a")?.click();
});
addEventListener("hashchange", () => {
  settle();
  // The browser scrolls to where an address points; a sheet lies over the page, which stays where it was.
  if (opened() || location.hash === "#shut") requestAnimationFrame(() => scrollTo(0, scrolled));
});
settle();
