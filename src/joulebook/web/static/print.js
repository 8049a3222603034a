// Buttons that print the page they stand on; without script the browser's own menu does it.
for (const button of document.querySelectorAll("button[data-print]")) {
  button.hidden = false;
  button.addEventListener("click", () => print());
}
