// Keeps an open board fresh: fetches the cards anew when the server says that something changed. The page works without this.
const board = document.getElementById("board");
const line = document.getElementById("line");
const news = document.getElementById("news");
const held = document.getElementById("held");
let waiting = 0, asking = false, again = false, pointerInside = false, lost = false;

const key = card => card.dataset.bench;
const cardsOf = root => [...root.querySelectorAll("li.card")];

// Nothing changes place while somebody points at the cards or has the keyboard's focus among them.
const inUse = () => pointerInside || document.getElementById("cards").contains(document.activeElement);

function take(text) {
  const fresh = new DOMParser().parseFromString(text, "text/html");
  const list = document.getElementById("cards"), wanted = fresh.getElementById("cards");
  if (!wanted) return;
  document.getElementById("summary").textContent = fresh.getElementById("summary").textContent;
  const known = new Map(cardsOf(list).map(card => [key(card), card]));
  const said = [];
  for (const next of cardsOf(wanted)) {
    const card = known.get(key(next));
    known.delete(key(next));
    if (!card) { list.append(document.importNode(next, true)); continue; }
    if (card.dataset.says !== next.dataset.says) said.push(`Bench ${key(next)}: ${next.dataset.says}.`);
    if (card.innerHTML === next.innerHTML && card.className === next.className) continue;
    const act = card.contains(document.activeElement) ? document.activeElement.dataset.act || "open" : "";
    card.className = next.className;
    card.dataset.says = next.dataset.says;
    card.innerHTML = next.innerHTML;
    if (act) (card.querySelector(`[data-act="${act}"]`) || card.querySelector("[data-act=open]")).focus({preventScroll: true});
  }
  for (const gone of known.values()) gone.remove();
  order = cardsOf(wanted).map(key);
  sort();
  if (said.length) news.textContent = said.slice(0, 4).join(" ") + (said.length > 4 ? ` And ${said.length - 4} more.` : "");
}

let order = cardsOf(board).map(key);
function sort(now = false) {
  const list = document.getElementById("cards");
  const here = cardsOf(list).map(key);
  const differs = here.join() !== order.join();
  held.hidden = !differs || !inUse() || now;
  if (!differs || (inUse() && !now)) return;
  const focused = document.activeElement;
  const cards = new Map(cardsOf(list).map(card => [key(card), card]));
  for (const bench of order) if (cards.has(bench)) list.append(cards.get(bench));
  if (focused && list.contains(focused)) focused.focus({preventScroll: true});
}

async function refresh() {
  if (asking) { again = true; return; }
  asking = true;
  try {
    const answer = await fetch(board.dataset.cards, {headers: {Accept: "text/html"}});
    if (answer.redirected || !answer.ok) throw new Error(String(answer.status));
    take(await answer.text());
    if (lost) { lost = false; line.textContent = "Connected again."; }
  } catch {
    lost = true;
    line.textContent = "The connection is lost. What you see may be old; trying again.";
  }
  asking = false;
  if (again) { again = false; soon(); }
}

function soon() {
  clearTimeout(waiting);
  waiting = setTimeout(refresh, 150);
}

board.addEventListener("pointerenter", () => { pointerInside = true; });
board.addEventListener("pointerleave", () => { pointerInside = false; setTimeout(sort, 400); });
board.addEventListener("focusout", () => setTimeout(sort, 400));
document.getElementById("sort-now").addEventListener("click", () => { sort(true); document.querySelector("#cards [data-act=open]").focus(); });

// "Mark visited" without leaving the page.
board.addEventListener("submit", async event => {
  const form = event.target;
  if (!form.matches("[data-quick]")) return;
  event.preventDefault();
  const bench = form.closest("li.card").dataset.bench;
  try {
    const answer = await fetch(form.action, {method: "POST", body: new URLSearchParams(new FormData(form, event.submitter))});
    if (!answer.ok) throw new Error(String(answer.status));
    news.textContent = `Bench ${bench} is marked as visited. It can be undone in the log.`;
    await refresh();
  } catch {
    form.removeAttribute("data-quick");
    form.requestSubmit(event.submitter);
  }
});

const events = new EventSource(board.dataset.events);
events.addEventListener("changed", soon);
events.addEventListener("judged", soon);
events.addEventListener("open", soon);
function gone() { lost = true; line.textContent = "The connection is lost. What you see may be old; trying again."; }
events.addEventListener("error", gone);
addEventListener("offline", gone);
addEventListener("online", soon);
// Times since the last change grow by themselves.
setInterval(() => { if (!document.hidden) soon(); }, 30000);
document.addEventListener("visibilitychange", () => { if (!document.hidden) soon(); });
