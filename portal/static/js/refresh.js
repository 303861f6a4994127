// Loads the page anew when the job's judgement has changed, unless somebody is typing or holds a file.
const mark = document.querySelector("[data-refresh]");
const busy = () =>
  [...document.querySelectorAll("input[type=file], input[type=password], input:not([type=hidden]), textarea")].some(
    (field) => field.value && field !== document.querySelector("#look"),
  ) || document.activeElement?.matches("input, select, textarea, summary");
const look = async () => {
  if (document.hidden) return;
  try {
    const answer = await fetch(mark.dataset.refresh, { headers: { Accept: "application/json" } });
    if (!answer.ok) return;
    const { state, words } = await answer.json();
    if (state === mark.dataset.state) return;
    if (busy()) mark.textContent = `${words} New verdicts: load the page again.`;
    else location.reload();
  } catch {
    mark.textContent = "No signal. Verdicts on this page may be old.";
  }
};
if (mark) setInterval(look, 3000);
