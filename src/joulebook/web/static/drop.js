// Lets files and folders be dropped on the panel; the fields of the form do the same without this.
const panel = document.getElementById("drop");

async function filesOf(entry, path = "") {
  if (entry.isFile) {
    const file = await new Promise((done, failed) => entry.file(done, failed));
    return [[path + file.name, file]];
  }
  const reader = entry.createReader(), found = [];
  for (;;) {
    const some = await new Promise((done, failed) => reader.readEntries(done, failed));
    if (!some.length) break;
    for (const each of some) found.push(...await filesOf(each, `${path}${entry.name}/`));
  }
  return found;
}

for (const each of panel.querySelectorAll(".scripted")) each.hidden = false;
for (const kind of ["dragenter", "dragover"]) panel.addEventListener(kind, event => { event.preventDefault(); panel.classList.add("over"); });
panel.addEventListener("dragleave", () => panel.classList.remove("over"));
panel.addEventListener("drop", async event => {
  event.preventDefault();
  panel.classList.remove("over");
  const entries = [...event.dataTransfer.items].map(item => item.webkitGetAsEntry()).filter(Boolean);
  const body = new FormData();
  for (const entry of entries) for (const [path, file] of await filesOf(entry)) body.append("files", file, path);
  const answer = await fetch(panel.action, {method: "POST", body});
  location.assign(answer.ok ? answer.url : panel.action);
});
