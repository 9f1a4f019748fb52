// Pairs this device by a code. A scanned address brings the code behind its #, which no server is ever sent.

const form = document.getElementById("pair");
const refused = document.getElementById("refused");

/** The fields as an object. */
const fields = () => Object.fromEntries([...new FormData(form)].map(([name, value]) => [name, String(value).trim()]));

async function ask(path, options) {
  try {
    return await fetch(path, { credentials: "same-origin", cache: "no-store", ...options });
  } catch {
    return null;
  }
}

async function pair() {
  const answer = await ask("/api/pair", { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(fields()) });
  if (answer && answer.ok) {
    location.replace("/");
    return;
  }
  const said = answer ? await answer.json().catch(() => null) : null;
  refused.textContent = said ? `${said.message} ${said.what_to_do}` : "The laptop does not answer. Check that both are on the same network.";
}

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  refused.textContent = "";
  const button = form.querySelector("button");
  button.disabled = true;
  await pair();
  button.disabled = false;
});

// Out of the address bar and the history at once: it works for somebody else as well.
if (/^#\d{8}$/.test(location.hash)) form.elements.code.value = location.hash.slice(1);
if (location.hash) history.replaceState(null, "", location.pathname);
form.elements[form.elements.code.value ? "person" : "code"].focus();

// Who came by a link from another page was sent without the cookie, and may be paired already.
const known = await ask("/api/access", {});
if (known && known.ok) location.replace("/");
