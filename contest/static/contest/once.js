// A second press on a form that is on its way does nothing; a form that takes a while says so on its button.
for (const form of document.querySelectorAll("form[data-once]")) {
  form.addEventListener("submit", (event) => {
    if (form.dataset.sent) event.preventDefault();
    form.dataset.sent = "yes";
    const button = form.querySelector("button.go");
    if (form.dataset.busy && button) {
      form.dataset.idle ||= button.textContent;
      button.textContent = form.dataset.busy;
      button.setAttribute("aria-live", "polite");
    }
  });
}
// Coming back by the browser's own button shows the page as it was left: the forms are open again.
window.addEventListener("pageshow", () => {
  for (const form of document.querySelectorAll("form[data-once]")) {
    delete form.dataset.sent;
    if (form.dataset.idle) form.querySelector("button.go").textContent = form.dataset.idle;
  }
});
