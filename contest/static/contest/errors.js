// A page that comes back with something wrong begins there: a reader hears it, a keyboard stands in it. Where the page
// has put the focus somewhere itself, it stays.
if (document.activeElement === null || document.activeElement === document.body) {
  const summary = document.querySelector("main .error[role=alert], main [role=alert]");
  const field = document.querySelector("main [aria-invalid=true]");
  for (let fold = (summary || field)?.closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
  if (summary) summary.tabIndex = -1;
  (summary || field)?.focus();
}
