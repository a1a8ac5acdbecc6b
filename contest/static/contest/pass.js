// A QR code carries the pass word in the fragment, which never reaches a server's log: fill it in and post it.
const word = decodeURIComponent(location.hash.slice(1));
if (word) {
  history.replaceState(null, "", location.pathname);
  document.getElementById("id_word").value = word;
  document.getElementById("pass-form").submit();
}
