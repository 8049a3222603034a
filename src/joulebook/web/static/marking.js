// Keys for marking: every one of them only does what a control on the page does too.
const forms = [...document.querySelectorAll(".mark-form")];
const keys = document.querySelector(".keys");
if (keys) keys.hidden = false;

function current() {
  return document.activeElement?.closest(".mark-form") ?? null;
}

function go(form) {
  if (!form) return;
  const level = form.querySelector("input[name=level]:checked") ?? form.querySelector("input[name=level]");
  form.scrollIntoView({ block: "start" });
  level?.focus();
}

function step(by) {
  const here = forms.indexOf(current());
  go(forms[Math.min(Math.max(here + by, 0), forms.length - 1)]);
}

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  // Whoever writes a comment or chooses one writes letters and digits.
  if (event.target.closest("textarea, select, input:not([type=radio])")) return;
  const form = current();
  if (event.key >= "1" && event.key <= "4" && form) {
    const level = form.querySelectorAll("input[name=level]")[Number(event.key) - 1];
    level.checked = true;
    level.focus();
  } else if (event.key === "Enter" && form && event.target.matches("input[type=radio]")) {
    form.requestSubmit();
  } else if (event.key === "j" || event.key === "J") step(1);
  else if (event.key === "k" || event.key === "K") step(-1);
  else if ((event.key === "u" || event.key === "U") && document.querySelector(".did form")) {
    document.querySelector(".did form").requestSubmit();
  } else return;
  event.preventDefault();
});

// After a confirmation the page comes back at the next form.
const next = location.hash ? document.getElementById(location.hash.slice(1)) : null;
if (next?.matches(".mark-form")) go(next);
else if (forms.length && !next) go(forms.find((form) => !form.matches(".is-confirmed")) ?? forms.at(-1));
