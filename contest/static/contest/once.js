// A second press on a form that is on its way does nothing.
for (const form of document.querySelectorAll("form[data-once]")) {
  form.addEventListener("submit", (event) => {
    if (form.dataset.sent) event.preventDefault();
    form.dataset.sent = "yes";
  });
}
// Coming back by the browser's own button shows the page as it was left: the forms are open again.
window.addEventListener("pageshow", () => {
  for (const form of document.querySelectorAll("form[data-once]")) delete form.dataset.sent;
});
