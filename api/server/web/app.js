// Chooses the view by the address after #.

import { aboutView, editView } from "./about.js";
import { devicesView, onlyLooks, onlyLooksCard, rememberRole, whoAmI } from "./devices.js";
import { el, fill, say } from "./dom.js";
import { jobView } from "./job.js";
import { leaveState, showState } from "./job-state.js";
import { keepPage } from "./install.js";
import { jobsView, newJobView } from "./jobs.js";
import { onLink, watchLink } from "./link.js";
import { beginSending } from "./outbox.js";
import "./theme.js";
import { askToPersist } from "./waiting.js";

const ROLE_MS = 1500; // a server that does not answer holds nothing up

rememberRole();
const main = document.getElementById("main");
const where = document.getElementById("where");
let view = null; // of a job
let turns = 0;

/** Where a view draws itself as long as nobody has gone on to another: one that comes late changes nothing. */
function roomOf(turn) {
  const current = () => turn === turns;
  return {
    room: { current, replaceChildren: (...nodes) => { if (current()) main.replaceChildren(...nodes); } },
    title: { set textContent(words) { if (current()) where.textContent = words; } },
    current,
  };
}

async function show() {
  const [, page, id, place, more] = location.hash.replace(/^#/, "").split("/").map(decodeURIComponent);
  if (page === "jobs" && view && view.id === id) { view.show(place, more); return; } // it goes on listening
  if (view) view.close();
  view = null;
  const { room, title, current } = roomOf(turns += 1);
  leaveState();
  say("");
  try {
    if (page === "jobs" && id) {
      const made = await jobView(room, title, id, place, more);
      if (!made) return;
      if (!current()) { made.close(); return; }
      view = made;
      await showState(made.node, id);
    } else if (onlyLooks() && (page === "edit" || page === "new")) fill(room, onlyLooksCard());
    else if (page === "about" && id) await aboutView(room, title, id);
    else if (page === "edit" && id) await editView(room, title, id);
    else if (page === "new") await newJobView(room, title);
    else if (page === "devices") await devicesView(room, title);
    else await jobsView(room, title);
  } catch (error) {
    fill(room, el("div.card", {}, el("h1", {}, "That did not work"), el("p", {}, error.message), error.status === 401 ? el("a.button.main", { href: "/pair" }, "Pair this device") : el("a.button", { href: "#/" }, "To the list of jobs")));
  }
  if (current()) window.scrollTo(0, 0);
}

// Whatever nobody caught is at least said: a silent failure would look as if it had worked.
window.addEventListener("unhandledrejection", (event) => say((event.reason && event.reason.message) || "That did not work.", "error"));
window.addEventListener("hashchange", show);
onLink((isAway) => { if (!isAway && !view && !main.querySelector("form")) show(); }); // a view that could not be opened, or a list that is old
watchLink();
askToPersist();
beginSending();
keepPage();
const known = whoAmI(document.getElementById("top")).catch(() => {}); // the page works without it as well
// Nothing that a reader may not use is shown even for a moment.
(document.body.dataset.role ? Promise.resolve() : Promise.race([known, new Promise((late) => { setTimeout(late, ROLE_MS); })])).then(show);
