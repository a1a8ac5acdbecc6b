// The browser knows where it is: its zone stands in the field until somebody chooses another.
const field = document.querySelector("select[data-zone]");
const named = document.querySelector("[data-zone-name]");
const here = Intl.DateTimeFormat().resolvedOptions().timeZone;
const untouched = field && !document.querySelector("[role=alert]");
if (untouched && [...field.options].some((option) => option.value === here)) {
  field.value = here;
}
function show() {
  if (field && named) {
    named.textContent = field.options[field.selectedIndex].text;
  }
}
if (field) {
  field.addEventListener("change", show);
  show();
}
