// Loads the page anew when the judgement has changed, unless that would lose something: typed text, a chosen
// file, an open sheet. Then a note with a link appears instead.
const mark = document.querySelector("[data-refresh]");
const note = document.querySelector("[data-fresh]");
const OPENED = "opened rows";

const changed = (field) => {
  if (field.type === "hidden") return false;
  if (field.type === "file") return field.files.length > 0;
  if (field.tagName === "SELECT") {
    const before = [...field.options].findIndex((option) => option.defaultSelected);
    return field.selectedIndex !== Math.max(before, 0);
  }
  return field.value !== field.defaultValue;
};
const busy = () =>
  document.querySelector(".sheet.open, .sheet:target, .menu[open]") !== null ||
  document.activeElement?.matches("input, select, textarea") ||
  [...document.querySelectorAll("main input, main select, main textarea")].some(changed);

const reload = () => {
  const rows = [...document.querySelectorAll("details[open][id]")].map((row) => row.id);
  sessionStorage.setItem(OPENED, JSON.stringify(rows));
  location.reload();
};
const reopen = () => {
  const rows = JSON.parse(sessionStorage.getItem(OPENED) ?? "[]");
  sessionStorage.removeItem(OPENED);
  for (const id of rows) document.getElementById(id)?.setAttribute("open", "");
};
// Each answer says what the server's clock showed between the two: the photo form takes the newest along.
const compareClocks = (ticket, sent, received) => {
  const fill = { ticket, sent: sent.toISOString(), received: received.toISOString() };
  for (const field of document.querySelectorAll("[data-clock]")) field.value = fill[field.dataset.clock];
};
const look = async () => {
  if (document.hidden) return;
  try {
    const sent = new Date();
    const answer = await fetch(mark.dataset.refresh, { headers: { Accept: "application/json" }, redirect: "error" });
    if (!answer.ok) return;
    const { state, words, ticket } = await answer.json();
    compareClocks(ticket, sent, new Date());
    if (mark.textContent !== words) mark.textContent = words;
    if (state === mark.dataset.state) return;
    // An address that a form was sent to must not be loaded again: that would send the form again.
    if (busy() || location.pathname !== mark.dataset.page) note.hidden = false;
    else reload();
  } catch {
    mark.textContent = "No signal. Verdicts here may be old.";
  }
};
if (mark) {
  reopen();
  look();
  setInterval(look, 3000);
}
