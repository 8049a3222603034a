// Comfort for the students' page: forms are sent without leaving it, what is typed is kept until it is saved, news come by
// themselves. Every form works without this module.
const main = document.getElementById("main");
const root = () => document.getElementById("bench");
const key = () => root()?.dataset.key || sessionStorage.getItem("joulebook:here") || "";
if (root()?.dataset.key) sessionStorage.setItem("joulebook:here", root().dataset.key);
const raw = new Map(); // by part: what the server sent, so that only what is new is exchanged
let lost = false, busy = false;

const partsOf = place => [...place.querySelectorAll("[data-part]")];
const name = form => `joulebook:${key()}:${form.id}`;

// What was typed and not saved yet.
const read = form => Object.fromEntries([...new FormData(form)].filter(([, value]) => typeof value === "string"));
function keep(form) {
  if (!form.dataset.unsaved) {
    form.dataset.unsaved = "yes";
    const note = form.querySelector("[data-kept]");
    if (note) { note.textContent = "Not saved yet"; note.classList.add("unsaved"); }
  }
  try { sessionStorage.setItem(name(form), JSON.stringify(read(form))); } catch { /* a full storage keeps the page as it is */ }
}
function restore(form) {
  let draft;
  try { draft = JSON.parse(sessionStorage.getItem(name(form)) || "null"); } catch { draft = null; }
  if (!draft) return;
  let differs = false;
  for (const field of form.elements) {
    if (!field.name || !(field.name in draft) || field.type === "hidden") continue;
    if (field.type === "radio") { if (field.checked !== (field.value === draft[field.name])) { differs = true; field.checked = field.value === draft[field.name]; } }
    else if (field.value !== draft[field.name]) { differs = true; field.value = draft[field.name]; }
  }
  if (!differs) { sessionStorage.removeItem(name(form)); return; }
  // The number of the version that was changed goes with it, so that nobody else's version is written over.
  for (const field of form.elements) if (field.type === "hidden" && field.name in draft) field.value = draft[field.name];
  for (let up = form.closest("details"); up; up = up.parentElement.closest("details")) up.open = true;
  keep(form);
}
const forget = form => sessionStorage.removeItem(name(form));
document.addEventListener("input", event => { const form = event.target.closest?.("form[data-draft]"); if (form) keep(form); });

// The line to the server.
const line = () => document.getElementById("line");
function disconnected(again) {
  const told = lost && line()?.textContent;
  lost = true;
  // The button to try again stays when the line of news breaks too.
  if (!line() || (told && !again)) return;
  line().replaceChildren(document.createTextNode("Not connected: your text is kept here. "));
  if (again) {
    const button = Object.assign(document.createElement("button"), {type: "button", textContent: "Try again"});
    button.addEventListener("click", again);
    line().append(button);
    button.focus();
  }
}
function connected() {
  if (!lost) return;
  lost = false;
  // What could not be sent is still to be sent: its button stays.
  const again = line()?.querySelector("button");
  if (again) line().firstChild.textContent = "Connected again, but this was not sent yet. ";
  else if (line()) line().textContent = "";
  const news = document.getElementById("news");
  if (news) news.textContent = "Connected again.";
}

// Sending a form.
document.addEventListener("submit", async event => {
  const form = event.target;
  if (!root()?.contains(form) || form.method !== "post" || event.defaultPrevented) return;
  event.preventDefault();
  await send(form, event.submitter);
});
async function send(form, submitter) {
  if (busy) return;
  busy = true;
  form.setAttribute("aria-busy", "true");
  const data = new FormData(form, submitter);
  const body = form.enctype === "multipart/form-data" ? data : new URLSearchParams(data);
  let answer, text;
  try {
    answer = await fetch(form.action, {method: "POST", body, headers: {Accept: "text/html"}});
    text = await answer.text();
  } catch {
    busy = false;
    form.removeAttribute("aria-busy");
    disconnected(() => send(form, submitter));
    return;
  }
  busy = false;
  form.removeAttribute("aria-busy");
  connected();
  const fresh = new DOMParser().parseFromString(text, "text/html");
  const page = fresh.getElementById("bench");
  if (!page) {
    const told = fresh.querySelector("main .message")?.textContent.trim() || (answer.redirected ? "This browser is no longer at a bench. Your text is kept; type in your code again." : fresh.body.textContent.trim().slice(0, 300));
    line().replaceChildren(document.createTextNode(`${told} Your text is kept here.`));
    return;
  }
  if (answer.ok) {
    if (form.matches("[data-draft]")) forget(form);
    if (form.dataset.resolves) sessionStorage.removeItem(`joulebook:${key()}:${form.dataset.resolves}-form`);
  }
  const record = new URLSearchParams(location.search).get("record");
  history.replaceState(null, "", record ? `/bench?record=${record}` : "/bench");
  exchange(page);
  // What was refused is still to be saved: nothing new may write over it.
  const refused = !answer.ok && form.matches("[data-draft]") ? document.getElementById(form.id) : null;
  if (refused) keep(refused);
}

// The whole page anew, after something was sent.
function exchange(page) {
  const now = document.importNode(page, true);
  const trace = document.getElementById("trace"), next = now.querySelector("#trace");
  if (trace && next && trace.dataset.signature === next.dataset.signature) next.replaceWith(trace);
  root().replaceWith(now);
  remember(page);
  begin();
  const told = now.querySelector("[data-told]");
  if (told) { told.focus({preventScroll: true}); told.scrollIntoView({block: "center"}); } else main.focus({preventScroll: true});
}
function remember(page) { for (const part of partsOf(page)) raw.set(part.dataset.part, part.outerHTML); }

// News of this bench: parts that changed are exchanged, save those that somebody is writing in.
const inUse = part => part.querySelector("form[data-unsaved]") || [...part.querySelectorAll("input[type=file]")].some(each => each.files.length) || (part.contains(document.activeElement) && document.activeElement.matches("input,textarea,select"));
async function refresh() {
  if (!root()?.dataset.key || busy) return;
  const query = new URLSearchParams(location.search);
  query.delete("did");
  query.delete("taken");
  let answer;
  try {
    answer = await fetch(`/bench?${query}`, {headers: {Accept: "text/html"}});
    if (!answer.ok || answer.redirected) throw new Error(String(answer.status));
    const page = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("bench");
    connected();
    if (page && !busy && "closed" in page.dataset && !("closed" in root().dataset)) await sendLate();
    else if (page && !busy) { if (!("closed" in page.dataset)) delete root().dataset.closed; take(page); }
  } catch { disconnected(); }
}
// The bell: what was typed or chosen and not sent yet goes to the teacher as it stands.
async function sendLate() {
  root().dataset.closed = "";
  busy = true;
  let refused = null, sent = 0;
  const under = [...document.querySelectorAll("form[data-draft][data-unsaved], form.adding")].filter(form => form.dataset.unsaved || [...form.querySelectorAll("input[type=file]")].some(each => each.files.length));
  try {
    for (const form of under) {
      const data = new FormData(form);
      const answer = await fetch(form.action, {method: "POST", body: form.enctype === "multipart/form-data" ? data : new URLSearchParams(data), headers: {Accept: "text/html"}});
      if (answer.ok) { forget(form); sent += 1; } else refused = await answer.text();
    }
    const text = refused || await (await fetch("/bench", {headers: {Accept: "text/html"}})).text();
    busy = false;
    const page = new DOMParser().parseFromString(text, "text/html").getElementById("bench");
    if (page) exchange(page);
  } catch { busy = false; delete root().dataset.closed; disconnected(); return; }
  document.getElementById("news").textContent = sent ? "The lesson is over. What you had not saved was sent to your teacher." : "The lesson is over.";
}
function take(page) {
  const said = [];
  for (const part of partsOf(page)) {
    const id = part.dataset.part, old = root().querySelector(`[data-part="${id}"]`);
    if (!old || raw.get(id) === part.outerHTML || inUse(old)) continue;
    const problem = old.querySelector("#problem");
    if (problem && [...old.querySelectorAll("textarea")].some(each => each.value)) continue;
    if (id === "trace" && old.dataset.signature === part.dataset.signature) { raw.set(id, part.outerHTML); continue; }
    raw.set(id, part.outerHTML);
    const next = document.importNode(part, true);
    said.push(...differences(old, next));
    const open = [...old.querySelectorAll("details")], opened = [...next.querySelectorAll("details")];
    for (const [i, each] of opened.entries()) if (open.length === opened.length) each.open = open[i].open;
    if (open.length && opened.length) opened[0].open = open[0].open || (part.matches(".step") && needsLook(next) && !needsLook(old));
    const focused = old.contains(document.activeElement) ? place(old, document.activeElement) : null;
    if (problem && !next.querySelector("#problem")) stay(problem, next);
    old.replaceWith(next);
    if (focused) (next.querySelectorAll(focused[0])[focused[1]] || next.querySelector("summary,h2"))?.focus({preventScroll: true});
  }
  begin();
  if (said.length) document.getElementById("news").textContent = said.join(". ");
}
// Why something could not be done stands until somebody does something else.
function stay(problem, part) {
  const heading = part.querySelector("h1, h2:not(summary *)"), inside = part.querySelector(".inside");
  if (inside) inside.prepend(problem);
  else if (heading) heading.after(problem);
  else part.prepend(problem);
}
const needsLook = part => Boolean(part.querySelector("summary .status.is-look"));
const place = (part, element) => [element.tagName.toLowerCase(), [...part.querySelectorAll(element.tagName)].indexOf(element)];
function differences(old, next) {
  const said = [];
  const before = new Map([...old.querySelectorAll("[data-says]")].map(each => [each.dataset.record, each.dataset.says]));
  for (const each of next.querySelectorAll("[data-says]")) if (before.get(each.dataset.record) !== each.dataset.says) said.push(each.dataset.says);
  if (next.dataset.part === "help" && next.querySelectorAll(".hint-list p").length > old.querySelectorAll(".hint-list p").length) said.push("A hint has come");
  if (next.dataset.part === "ledger" && next.children.length && !old.children.length) said.push("Your teacher has opened the ledger");
  if (next.dataset.part === "status" && next.querySelector(".bell") && !old.querySelector(".bell")) said.push("The lesson is over");
  return said;
}

function reveal(id) {
  const part = document.getElementById(id), details = part?.matches("details") ? part : part?.querySelector("details") || part?.closest("details");
  for (let up = details; up; up = up.parentElement.closest("details")) up.open = true;
  return part;
}
document.addEventListener("click", event => {
  const link = event.target.closest?.("a[href^='#'],a[data-open],a[data-takes]");
  if (!link || event.ctrlKey || event.metaKey) return;
  if (link.dataset.takes) { sessionStorage.removeItem(`joulebook:${key()}:${link.dataset.takes}-form`); return; }
  const part = reveal(link.dataset.open || link.hash.slice(1));
  if (!part) return;
  event.preventDefault();
  part.scrollIntoView({block: part.matches("input,select,textarea") ? "center" : "start"});
  (part.matches("input,select,textarea") ? part : part.querySelector("summary") || part).focus({preventScroll: true});
});

function begin() {
  for (const form of document.querySelectorAll("form[data-draft]:not([data-ready])")) { form.dataset.ready = "yes"; restore(form); }
  document.dispatchEvent(new CustomEvent("bench:parts"));
}

function listen(address) {
  const events = new EventSource(address);
  events.addEventListener("changed", soon);
  events.addEventListener("judged", soon);
  events.addEventListener("open", () => { connected(); soon(); });
  events.addEventListener("error", () => {
    disconnected();
    // A browser does not try a refused line again by itself.
    if (events.readyState === EventSource.CLOSED) setTimeout(() => listen(address), 5000);
  });
  addEventListener("pagehide", () => events.close());
}

let waiting = 0;
function soon() { clearTimeout(waiting); waiting = setTimeout(refresh, 200); }
if (root()?.dataset.events) {
  remember(root());
  begin();
  if (location.hash.length > 1) reveal(location.hash.slice(1));
  const told = root().querySelector("[data-told]");
  if (told) told.focus({preventScroll: true});
  listen(root().dataset.events);
  // A phone that leaves the network says so at once; the line of news may take long to notice.
  addEventListener("offline", () => disconnected());
  addEventListener("online", soon);
  if (!navigator.onLine) disconnected();
  document.addEventListener("bench:again", soon);
}
