// A print button where scripts run; without them the page says to use the browser's own command.
for (const button of document.querySelectorAll("[data-print]")) {
  button.hidden = false;
  button.addEventListener("click", () => window.print());
}
for (const hint of document.querySelectorAll("[data-no-print]")) hint.hidden = true;
