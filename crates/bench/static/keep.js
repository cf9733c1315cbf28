// Entries made while the line is gone stay on the device, marked so, and are sent later. Each carries an identifier
// made with the page, so that sending it twice does nothing twice; the records answer when somebody else was faster.
const KEY = "sootwright.kept";
const line = document.getElementById("line");
const kept = () => JSON.parse(localStorage.getItem(KEY) ?? "[]");
const keep = (list) => localStorage.setItem(KEY, JSON.stringify(list));

function show() {
  const n = kept().length;
  if (!line) return;
  line.classList.toggle("kept", n > 0);
  const words = line.querySelector("b");
  words.dataset.calm ??= words.textContent;
  words.textContent = n > 0 ? document.body.dataset.kept.replace("#", n) : words.dataset.calm;
}

function mark(form) {
  const note = document.createElement("p");
  note.className = "note kept-note";
  note.setAttribute("role", "status");
  note.textContent = document.body.dataset.kept.replace("#", kept().length);
  form.after(note);
}

async function post(action, body) {
  return fetch(action, { method: "POST", body: new URLSearchParams(body), redirect: "follow" });
}

async function send() {
  for (let list = kept(); list.length; list = kept()) {
    let reply;
    try {
      reply = await post(list[0].action, list[0].body);
    } catch {
      return;
    }
    keep(kept().slice(1));
    show();
    if (!reply.ok) {
      // Refused or overtaken by somebody else: the page with the reason is shown, nothing is merged in silence.
      showReply(reply, await reply.text());
      return;
    }
    if (!kept().length) location.assign(reply.url);
  }
}

function showReply(reply, text) {
  const sheet = new DOMParser().parseFromString(text, "text/html").getElementById("sheet");
  if (sheet) document.getElementById("sheet").replaceChildren(...sheet.childNodes);
  else location.assign(reply.url);
}

document.addEventListener("submit", async (event) => {
  const form = event.target;
  if (form.dataset.keep === undefined || event.defaultPrevented) return;
  event.preventDefault();
  const body = [...new FormData(form, event.submitter)].filter(([, v]) => typeof v === "string");
  if (kept().some((k) => k.body.some(([n, v]) => n === "id" && body.some(([m, w]) => m === "id" && v === w)))) return;
  try {
    const reply = await post(form.action, body);
    if (reply.ok) location.assign(reply.url);
    else showReply(reply, await reply.text());
  } catch {
    keep([...kept(), { action: form.action, body, at: Date.now() }]);
    mark(form);
    show();
  }
});
addEventListener("online", send);
setInterval(() => kept().length && send(), 4000);
show();
send();
