// The tally desk's seat field: "3B" is complete with its letter and opens the sheet at once.
"use strict";

const seat = document.getElementById("go");
if (seat) {
  seat.addEventListener("input", () => {
    if (/^\d{1,2}[a-z]$/i.test(seat.value.trim())) seat.form.requestSubmit();
  });
}
