// Typed readings: the answer at the top changes as they are entered. Without script a button does the same.
const form = document.querySelector("form[data-live]");
const answer = document.getElementById("answer");
let waiting = 0;
let turn = 0;
async function ask() {
  const mine = ++turn;
  answer.setAttribute("aria-busy", "true");
  try {
    const reply = await fetch(form.dataset.live, { method: "POST", body: new URLSearchParams(new FormData(form)) });
    const text = await reply.text();
    if (mine === turn && reply.ok) answer.innerHTML = text;
  } catch {
    // The line is gone: the last answer stands, and the button sends the readings later.
  } finally {
    if (mine === turn) answer.removeAttribute("aria-busy");
  }
}
form?.addEventListener("input", () => {
  clearTimeout(waiting);
  waiting = setTimeout(ask, 500);
});
