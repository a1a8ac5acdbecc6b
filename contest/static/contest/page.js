// A page that comes back with something wrong begins there: a reader hears it, a keyboard stands in it. Where the page
// has put the focus somewhere itself, it stays.
if (document.activeElement === null || document.activeElement === document.body) {
  const summary = document.querySelector("main .error[role=alert], main [role=alert]");
  const field = document.querySelector("main [aria-invalid=true]");
  for (let fold = (summary || field)?.closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
  if (summary) summary.tabIndex = -1;
  (summary || field)?.focus();
}

// On a phone the rooms stand in one row that scrolls: the one that is open is in sight, at first and when the row gets
// another width. Whoever scrolls it stays where they are: a phone's window changes its height all the time.
{
  const room = document.querySelector(".rooms [aria-current]");
  const row = room?.closest("ul");
  const show = () => {
    const from = room.getBoundingClientRect().left - row.getBoundingClientRect().left + row.scrollLeft;
    row.scrollLeft = from - (row.clientWidth - room.offsetWidth) / 2;
  };
  if (row) new ResizeObserver(show).observe(row);
}
