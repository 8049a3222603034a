// Values read from a record: by pointer, by keyboard, and the slope between two points that the reader chooses.
// The samples are the record's own; where the cart leaves and where it turns is for the reader to see. Without this module the
// page has a table of samples and a form for typing times.
const SVG = "http://www.w3.org/2000/svg";
const kept = new Map(); // by record: where the reader is, and the two marks
const samplesOf = new Map();

const make = (tag, more = {}, ...inside) => {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(more)) if (value !== false) element.setAttribute(name, value === true ? "" : value);
  element.append(...inside);
  return element;
};

async function samples(address) {
  if (!samplesOf.has(address)) {
    const answer = await fetch(address, {headers: {Accept: "application/json"}});
    if (!answer.ok) throw new Error(String(answer.status));
    const {time_s, distance_m} = await answer.json();
    const both = time_s.map((t, i) => [t, distance_m[i]]).filter(([t, s]) => t !== null && s !== null).sort((a, b) => a[0] - b[0]);
    samplesOf.set(address, {t: both.map(each => each[0]), s: both.map(each => each[1])});
  }
  return samplesOf.get(address);
}

function nearest(t, wanted) {
  let low = 0, high = t.length - 1;
  while (high - low > 1) { const middle = (low + high) >> 1; if (t[middle] <= wanted) low = middle; else high = middle; }
  return wanted - t[low] <= t[high] - wanted ? low : high;
}

function between({t, s}, wanted) {
  if (wanted <= t[0]) return s[0];
  if (wanted >= t.at(-1)) return s.at(-1);
  let i = nearest(t, wanted);
  if (t[i] > wanted) i -= 1;
  const step = t[i + 1] - t[i];
  return step > 0 ? s[i] + (s[i + 1] - s[i]) * (wanted - t[i]) / step : s[i];
}

class Reader {
  constructor(section, data) {
    this.section = section;
    this.reader = section.querySelector("#reader");
    this.data = data;
    this.record = section.dataset.record;
    this.sign = this.reader.dataset.decimal || ".";
    this.plots = [...this.reader.querySelectorAll(".plot")].map(plot => this.plot(plot));
    const {start, end} = this.plots[0];
    this.start = start;
    this.end = end;
    const inside = data.t.map((t, i) => i).filter(i => data.t[i] >= start - 1e-9 && data.t[i] <= end + 1e-9);
    this.first = inside[0] ?? 0;
    this.last = inside.at(-1) ?? data.t.length - 1;
    const steps = data.t.slice(1).map((t, i) => t - data.t[i]).sort((a, b) => a - b);
    this.step = steps[steps.length >> 1] || 0.05;
    if (!kept.has(this.record)) kept.set(this.record, {at: null, a: null, b: null, free: false});
    this.state = kept.get(this.record);
    if (this.state.at !== null) this.state.at = Math.min(Math.max(this.state.at, start), end);
    this.hover = null;
    this.build();
    this.show();
  }

  number(value, digits) { return value.toFixed(digits).replace("-", "−").replace(".", this.sign); }

  plot(element) {
    const of = Object.fromEntries(Object.entries(element.dataset).map(([name, value]) => [name, Number(value)]));
    const layer = document.createElementNS(SVG, "g");
    layer.setAttribute("class", "cross");
    layer.setAttribute("aria-hidden", "true");
    element.querySelector("svg").append(layer);
    element.classList.add("live");
    element.tabIndex = 0;
    element.setAttribute("role", "slider");
    element.setAttribute("aria-label", `Time on the trace of ${this.reader.dataset.name}`);
    element.setAttribute("aria-describedby", "trace-keys");
    const time = event => {
      const box = element.querySelector("svg").getBoundingClientRect();
      const x = (event.clientX - box.left) / box.width * of.width;
      return of.start + (Math.min(Math.max(x, of.left), of.right) - of.left) / (of.right - of.left) * (of.end - of.start);
    };
    element.addEventListener("pointermove", event => {
      if (event.buttons & 1) { this.go(time(event)); return; }
      if (event.pointerType === "mouse") { this.hover = this.snapped(time(event)); this.show(); }
    });
    element.addEventListener("pointerdown", event => { if (event.button === 0) this.go(time(event)); });
    element.addEventListener("pointerleave", () => { this.hover = null; this.show(); });
    element.addEventListener("keydown", event => this.key(event));
    element.addEventListener("focus", () => { this.readout.setAttribute("aria-live", "off"); if (this.state.at === null) this.go(this.data.t[this.first]); });
    element.addEventListener("blur", () => this.readout.setAttribute("aria-live", "polite"));
    return {element, layer, ...of, x: t => of.left + (t - of.start) / (of.end - of.start) * (of.right - of.left),
      y: s => of.foot - (s - of.low) / (of.high - of.low) * (of.foot - of.top)};
  }

  snapped(t) {
    if (this.state.free) return t;
    const i = Math.min(Math.max(nearest(this.data.t, t), this.first), this.last);
    return this.data.t[i];
  }

  go(t) {
    this.state.at = this.snapped(Math.min(Math.max(t, this.start), this.end));
    this.hover = null;
    this.show();
  }

  key(event) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const {t} = this.data, by = n => this.beside(n);
    const keys = {ArrowRight: () => by(1), ArrowUp: () => by(1), ArrowLeft: () => by(-1), ArrowDown: () => by(-1), PageUp: () => by(10), PageDown: () => by(-10), Home: () => t[this.first], End: () => t[this.last]};
    if (keys[event.key]) { event.preventDefault(); this.go(keys[event.key]()); }
    else if (event.key === "a" || event.key === "b") { event.preventDefault(); this.mark(event.key); }
  }

  // The time of the sample that lies n samples on; between the samples one step is a fifth of that.
  beside(n) {
    const {t} = this.data, at = this.state.at;
    if (at === null) return t[this.first];
    if (this.state.free && Math.abs(n) === 1) return at + n * this.step / 5;
    return t[Math.min(Math.max(nearest(t, at) + n, this.first), this.last)];
  }

  build() {
    const tools = this.reader.querySelector("[data-tools]");
    tools.hidden = false;
    const button = (act, words) => {
      const made = make("button", {type: "button", "data-act": act}, words);
      made.addEventListener("click", () => this.act(act));
      return made;
    };
    this.readout = make("p", {class: "readout", "aria-live": "polite"});
    const step = (act, sign, words) => {
      const made = button(act, "");
      made.append(make("span", {"aria-hidden": "true"}, sign), make("span", {class: "visually-hidden"}, words));
      made.classList.add("step-by");
      return made;
    };
    this.slope = make("div", {class: "slope", hidden: true});
    this.slopeText = make("p", {"aria-live": "polite"});
    this.taken = make("p", {class: "quiet", role: "status"});
    const free = make("input", {type: "checkbox", id: "trace-free"});
    free.checked = this.state.free;
    free.addEventListener("change", () => { this.state.free = free.checked; if (this.state.at !== null) this.go(this.state.at); });
    this.takes = make("div", {class: "tools", role: "group", "aria-label": "Take this distance into the form"});
    const form = document.getElementById("readings-form");
    if (form) this.takes.append(button("take-start", "Take as distance at release"), button("take-apex", "Take as highest point"));
    this.slope.append(this.slopeText, make("div", {class: "tools"}, ...(form ? [button("take-speed", "Take its size as our speed")] : []), button("clear", "Clear A and B")));
    tools.replaceChildren(
      make("div", {class: "reading-line"}, step("back", "◂", "One sample back"), this.readout, step("on", "▸", "One sample on")),
      make("div", {class: "tools", role: "group", "aria-label": "Points and stretch"}, button("a", "Mark A here"), button("b", "Mark B here"), button("in", "Zoom in here"), ...(this.zoomed() ? [button("out", "Zoom out"), button("whole", "Whole record")] : [])),
      this.slope, this.takes, this.taken,
      make("p", {class: "choices"}, make("label", {for: "trace-free"}, free, "Read between the samples too")),
      make("p", {class: "quiet", id: "trace-keys"}, "Tap or click a place on the trace; ◂ and ▸ go one sample back or on. With a keyboard: arrows step from sample to sample, Page up and Page down by ten, Home and End go to the ends, A and B mark a point."),
    );
  }

  zoomed() { return this.end - this.start < this.data.t.at(-1) - this.data.t[0] - 1e-6; }

  mark(letter) {
    if (this.state.at === null) { this.readout.textContent = "First choose a place on the trace."; return; }
    this.state[letter] = this.state.at;
    this.show();
  }

  act(act) {
    if (act === "a" || act === "b") this.mark(act);
    else if (act === "back" || act === "on") this.go(this.beside(act === "on" ? 1 : -1));
    else if (act === "clear") { this.state.a = this.state.b = null; this.show(); this.visible().element.focus(); }
    else if (act === "in" || act === "out") this.zoom(act === "in" ? 0.4 : 2.5, act);
    else if (act === "whole") this.stretch("", act);
    else if (act === "take-start") this.take("readings-start_distance", this.value(), 4);
    else if (act === "take-apex") this.take("readings-apex_distance", this.value(), 4);
    else if (act === "take-speed") this.take("readings-release_speed", this.rate === null ? null : Math.abs(this.rate), 3);
  }

  value() { return this.state.at === null ? null : between(this.data, this.state.at); }

  take(id, value, digits) {
    const field = document.getElementById(id);
    if (!field) { this.taken.textContent = "This can no longer be changed."; return; }
    if (value === null) { this.taken.textContent = "First choose a place on the trace."; return; }
    field.value = value.toFixed(digits).replace(".", this.sign);
    field.dispatchEvent(new Event("input", {bubbles: true}));
    for (let up = field.closest("details"); up; up = up.parentElement.closest("details")) up.open = true;
    field.classList.add("just-taken");
    setTimeout(() => field.classList.remove("just-taken"), 4000);
    this.taken.textContent = `${field.value} now stands in “${field.dataset.label}”. Save it when you are ready.`;
  }

  zoom(factor, act) {
    const middle = this.state.at ?? 0.5 * (this.start + this.end), {t} = this.data;
    const width = Math.min((this.end - this.start) * factor, t.at(-1) - t[0]);
    let from = Math.max(t[0], middle - 0.5 * width);
    from = Math.min(from, t.at(-1) - width);
    this.stretch(`&from=${from.toFixed(4)}&to=${(from + width).toFixed(4)}`, act);
  }

  stretch(query, act) { load(`record=${this.record}${query}`, act); }

  visible() { return this.plots.find(plot => plot.element.checkVisibility()) || this.plots[0]; }

  show() {
    const at = this.hover ?? this.state.at, {a, b} = this.state;
    for (const plot of this.plots) {
      plot.layer.replaceChildren();
      const add = (tag, more, text) => {
        const made = document.createElementNS(SVG, tag);
        for (const [name, value] of Object.entries(more)) made.setAttribute(name, value);
        if (text) made.textContent = text;
        plot.layer.append(made);
      };
      const within = t => t !== null && t >= plot.start - 1e-9 && t <= plot.end + 1e-9;
      const level = t => Math.min(Math.max(plot.y(between(this.data, t)), plot.top), plot.foot);
      if (a !== null && b !== null && within(a) && within(b)) add("line", {class: "chord", x1: plot.x(a), y1: level(a), x2: plot.x(b), y2: level(b)});
      for (const [letter, t] of [["A", a], ["B", b]]) if (within(t)) {
        add("line", {class: "post", x1: plot.x(t), x2: plot.x(t), y1: plot.top, y2: plot.foot});
        add("circle", {class: "point", cx: plot.x(t), cy: level(t), r: 6});
        const left = letter === "A" ? t < (b ?? t) : t < (a ?? t);
        add("text", {class: "letter", x: plot.x(t) + (left ? -4 : 4), y: plot.top + 13, "text-anchor": left ? "end" : "start"}, letter);
      }
      if (within(at)) {
        add("line", {class: "hair", x1: plot.x(at), x2: plot.x(at), y1: plot.top, y2: plot.foot});
        add("line", {class: "hair", x1: plot.left, x2: plot.right, y1: level(at), y2: level(at)});
        add("circle", {class: "here", cx: plot.x(at), cy: level(at), r: 5});
      }
      const now = this.state.at ?? this.data.t[this.first];
      plot.element.setAttribute("aria-valuemin", this.start.toFixed(3));
      plot.element.setAttribute("aria-valuemax", this.end.toFixed(3));
      plot.element.setAttribute("aria-valuenow", now.toFixed(3));
      plot.element.setAttribute("aria-valuetext", this.words(now));
    }
    this.readout.textContent = at === null ? "Tap or point at the trace to read it." : this.words(at);
    this.rate = a !== null && b !== null && a !== b ? (between(this.data, b) - between(this.data, a)) / (b - a) : null;
    this.slope.hidden = a === null && b === null;
    if (this.rate !== null) {
      const text = `From A to B: Δt = ${this.number(b - a, 3)} s, Δs = ${this.number(between(this.data, b) - between(this.data, a), 4)} m, Δs/Δt = ${this.number(this.rate, 3)} m/s`;
      if (this.slopeText.textContent !== text) this.slopeText.textContent = text;
    } else this.slopeText.textContent = a === null ? "B is marked. Mark A too for the slope between them." : b === null ? "A is marked. Mark B too for the slope between them." : "A and B are the same point.";
    const speed = this.slope.querySelector("[data-act=take-speed]");
    if (speed) speed.hidden = this.rate === null;
  }

  words(t) {
    const on = Math.abs(this.data.t[nearest(this.data.t, t)] - t) < 1e-9;
    return `t = ${this.number(t, 3)} s, distance ${this.number(between(this.data, t), 4)} m${on ? "" : " (between two samples)"}`;
  }
}

async function load(query, act) {
  const old = document.getElementById("trace");
  try {
    const answer = await fetch(`/bench/trace?${query}`, {headers: {Accept: "text/html"}});
    if (!answer.ok || answer.redirected) throw new Error(String(answer.status));
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("trace");
    if (!fresh) throw new Error("none");
    const now = document.importNode(fresh, true);
    old.replaceWith(now);
    await begin();
    (now.querySelector(`[data-act="${act}"]`) || now.querySelector(".choose [aria-current]") || now.querySelector("[data-act=in]"))?.focus({preventScroll: true});
    return true;
  } catch {
    const told = old.querySelector(".readout");
    if (told) told.textContent = "Not connected: the picture stays as it is.";
    return false;
  }
}

async function begin() {
  const section = document.getElementById("trace"), reader = section?.querySelector("#reader");
  if (!reader || reader.dataset.live) return;
  reader.dataset.live = "yes";
  try {
    new Reader(section, await samples(reader.dataset.samples));
  } catch {
    delete reader.dataset.live;
  }
}

document.addEventListener("click", async event => {
  const link = event.target.closest?.("[data-trace]");
  if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
  event.preventDefault();
  if (await load(link.dataset.trace, "")) {
    history.replaceState(null, "", `/bench?${link.dataset.trace}`);
    document.getElementById("trace").scrollIntoView({block: "nearest"});
    document.dispatchEvent(new CustomEvent("bench:again"));
  } else location.assign(link.href);
});
document.addEventListener("bench:parts", begin);
begin();
