// Keys for marking: every one of them only does what a control on the page does too.
const forms = [...document.querySelectorAll(".mark-form")];
const keys = document.querySelector(".keys");
if (keys) keys.hidden = false;
let leaving = false; // a mark is on its way: whatever is typed until the next page is there belongs to nobody

function current() {
  return document.activeElement?.closest(".mark-form") ?? null;
}

function go(form) {
  if (!form) return;
  const level = form.querySelector("input[name=level]:checked") ?? form.querySelector("input[name=level]");
  form.scrollIntoView({ block: "start" });
  level?.focus({ preventScroll: true });
}

function step(by) {
  const here = forms.indexOf(current());
  go(forms[Math.min(Math.max(here + by, 0), forms.length - 1)]);
}

// A comment that came with the suggestion goes with it; one that somebody wrote stays.
function choose(form) {
  const comment = form.querySelector("textarea"), level = form.querySelector("input[name=level]:checked");
  if (comment.value !== comment.defaultValue && comment.value !== "") return;
  comment.value = level?.defaultChecked ? comment.defaultValue : "";
}

document.addEventListener("submit", () => { leaving = true; });
window.addEventListener("pageshow", () => { leaving = false; });
document.addEventListener("change", (event) => {
  if (event.target.matches(".mark-form input[name=level]")) choose(event.target.closest(".mark-form"));
});

document.addEventListener("keydown", (event) => {
  if (leaving) { event.preventDefault(); return; }
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  // Whoever writes a comment or chooses one writes letters and digits.
  if (event.target.closest("textarea, select, input:not([type=radio])")) return;
  const form = current(), undo = document.querySelector(".did form");
  if (event.key >= "1" && event.key <= "4" && form) {
    const level = form.querySelectorAll("input[name=level]")[Number(event.key) - 1];
    level.checked = true;
    level.focus();
    choose(form);
  } else if (event.key === "Enter" && form && event.target.matches("input[type=radio]")) {
    form.requestSubmit(form.querySelector("button.main"));
  } else if (event.key === "j" || event.key === "J") step(1);
  else if (event.key === "k" || event.key === "K") step(-1);
  else if ((event.key === "u" || event.key === "U") && undo) undo.requestSubmit(undo.querySelector("button"));
  else return;
  event.preventDefault();
});

// After a confirmation the page comes back for the next form. The form is named in the query, not by a fragment: a browser that
// goes to a fragment takes the focus away again.
const wanted = new URLSearchParams(location.search).get("next");
const next = wanted ? document.getElementById(wanted) : null;
if (forms.length) go(next?.matches(".mark-form") ? next : forms.find((form) => !form.matches(".is-confirmed")) ?? forms.at(-1));
