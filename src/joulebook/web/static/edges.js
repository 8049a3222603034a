// Makes each time field of the trace's form a slider on the picture as well, and shows what would follow from the times.
const editor = document.getElementById("editor");

if (editor) {
  const form = document.getElementById("edges"), part = document.getElementById("by-hand");
  const follows = document.getElementById("follows"), state = document.getElementById("follows-state");
  const body = document.getElementById("follows-body"), news = document.getElementById("follows-news");
  const number = name => Number(editor.dataset[name]);
  const fields = [...form.querySelectorAll("[data-handle]")];
  const first = new Map(fields.map(field => [field, field.value]));
  const handles = new Map(fields.map(field => [field, []]));
  const value = field => {
    const typed = parseFloat(field.value.replace(",", "."));
    return Number.isFinite(typed) ? typed : Number(field.dataset.value);
  };
  const shown = at => at.toFixed(3).replace(".", editor.dataset.decimal || ".");
  const moved = field => field.value !== first.get(field);

  // A phase keeps at least a millisecond, and the apex comes after the release.
  function limits(field) {
    const borders = fields.filter(each => "border" in each.dataset), place = borders.indexOf(field);
    let low = number("low"), high = number("high");
    if (place > 0) low = Math.max(low, value(borders[place - 1]) + 0.001);
    if (place >= 0 && place < borders.length - 1) high = Math.min(high, value(borders[place + 1]) - 0.001);
    if (field.name === "apex" && form.elements.release) low = Math.max(low, value(form.elements.release) + 0.001);
    if (field.name === "release" && form.elements.apex) high = Math.min(high, value(form.elements.apex) - 0.001);
    return [low, high];
  }

  function place(field) {
    const at = value(field), [low, high] = limits(field);
    for (const handle of handles.get(field)) {
      const plot = handle.parentElement, left = Number(plot.dataset.left), right = Number(plot.dataset.right);
      const share = (at - number("start")) / (number("end") - number("start"));
      for (const part of [handle, handle.line]) part.style.left = `${100 * (left + share * (right - left))}%`;
      handle.line.classList.toggle("moved", moved(field));
      handle.classList.toggle("moved", moved(field));
      handle.setAttribute("aria-valuemin", low.toFixed(3));
      handle.setAttribute("aria-valuemax", high.toFixed(3));
      handle.setAttribute("aria-valuenow", at.toFixed(3));
      handle.setAttribute("aria-valuetext", `${shown(at)} seconds`);
      handle.querySelector(".says").textContent = `${field.dataset.handle} ${shown(at)} s`;
    }
  }

  function set(field, at) {
    const [low, high] = limits(field);
    field.value = shown(Math.min(Math.max(at, low), high));
    for (const each of fields) place(each);
    soon();
  }

  function grip(field, index, plot) {
    const handle = document.createElement("div");
    handle.className = "handle";
    handle.tabIndex = 0;
    handle.setAttribute("role", "slider");
    handle.setAttribute("aria-label", field.dataset.handle);
    handle.setAttribute("aria-orientation", "horizontal");
    handle.innerHTML = '<span class="says"></span><span class="grip" aria-hidden="true"></span>';
    const mark = handle.querySelector(".grip");
    mark.textContent = field.name === "release" ? "R" : field.name === "apex" ? "A" : "↔";
    // Close to each other grips would cover each other: they stand on four levels.
    handle.style.top = "border" in field.dataset ? `${30 + 12 * (index % 3)}%` : field.name === "release" ? "16%" : "6%";
    handle.line = document.createElement("div");
    handle.line.className = "edge-line";
    handle.addEventListener("keydown", event => {
      const small = "border" in field.dataset ? number("step") : 0.01, step = small * (event.shiftKey ? 10 : 1);
      const to = {
        ArrowRight: value(field) + step, ArrowUp: value(field) + step, ArrowLeft: value(field) - step,
        ArrowDown: value(field) - step, PageUp: value(field) + 10 * small, PageDown: value(field) - 10 * small,
        Home: limits(field)[0], End: limits(field)[1],
      }[event.key];
      if (to === undefined) return;
      event.preventDefault();
      set(field, to);
    });
    handle.addEventListener("pointerdown", event => {
      event.preventDefault();
      handle.focus();
      handle.setPointerCapture(event.pointerId);
      handle.classList.add("held");
    });
    handle.addEventListener("pointermove", event => {
      if (!handle.hasPointerCapture(event.pointerId)) return;
      const box = plot.getBoundingClientRect(), left = Number(plot.dataset.left), right = Number(plot.dataset.right);
      const share = ((event.clientX - box.left) / box.width - left) / (right - left);
      set(field, number("start") + share * (number("end") - number("start")));
    });
    for (const end of ["pointerup", "pointercancel"]) handle.addEventListener(end, () => handle.classList.remove("held"));
    return handle;
  }

  let waiting = 0, asking = false, again = false, saying = 0;
  function soon() {
    clearTimeout(waiting);
    waiting = setTimeout(ask, 60);
  }

  async function ask() {
    if (asking) { again = true; return; }
    asking = true;
    try {
      const answer = await fetch(editor.dataset.preview, {method: "POST", body: new URLSearchParams(new FormData(form))});
      const text = await answer.text();
      if (!answer.ok) throw new Error(String(answer.status));
      show(text);
      state.textContent = fields.some(moved) ? "If you keep these times. Nothing is kept yet." : "As it is now.";
    } catch {
      state.textContent = "What follows cannot be shown now. Your times are still in the fields.";
    }
    asking = false;
    if (again) { again = false; soon(); }
  }

  function show(text) {
    const fresh = new DOMParser().parseFromString(text, "text/html");
    const drawn = fresh.querySelector("[data-picture]");
    if (drawn) {
      drawn.remove();
      for (const form of ["wide", "narrow"]) {
        editor.querySelector(`.plot.${form} .drawing`).innerHTML = drawn.querySelector(`.${form}`).innerHTML;
      }
      // What is written about the picture follows it; a table that stands open stays open.
      editor.querySelector("figcaption").textContent = drawn.querySelector(".sentence").textContent;
      const beside = document.getElementById("trace-table"), opened = [...beside.querySelectorAll("details")].some(each => each.open);
      beside.replaceChildren(...[...drawn.querySelector(".as-table").childNodes].map(node => document.importNode(node, true)));
      for (const each of beside.querySelectorAll("details")) each.open = opened;
    }
    // Said aloud once the handle has come to rest.
    clearTimeout(saying);
    saying = setTimeout(() => { news.textContent = fresh.querySelector(".verdict, .message")?.textContent ?? ""; }, 900);
    body.replaceChildren(...[...fresh.body.childNodes].map(node => document.importNode(node, true)));
  }

  function build() {
    for (const plot of editor.querySelectorAll(".plot")) {
      fields.forEach((field, index) => {
        if (value(field) < number("start") - 1e-9 || value(field) > number("end") + 1e-9) return;
        const handle = grip(field, index, plot);
        handles.get(field).push(handle);
        plot.append(handle.line, handle);
      });
    }
    fields.forEach(place);
  }

  function open() {
    editor.classList.toggle("open", part.open);
    follows.hidden = !part.open;
    if (part.open && !body.childNodes.length) ask();
    if (part.open && ![...handles.values()].some(list => list.length)) build();
    for (const list of handles.values()) for (const handle of list) handle.hidden = handle.line.hidden = !part.open;
  }

  for (const each of editor.querySelectorAll(".scripted")) each.hidden = false;
  for (const field of fields) field.addEventListener("input", () => { fields.forEach(place); soon(); });
  document.getElementById("as-before").addEventListener("click", () => {
    for (const field of fields) field.value = first.get(field);
    fields.forEach(place);
    ask();
  });
  part.addEventListener("toggle", open);
  open();
}
