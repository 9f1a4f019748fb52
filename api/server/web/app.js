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

async function show() {
  const [, page, id, place, more] = location.hash.replace(/^#/, "").split("/").map(decodeURIComponent);
  if (page === "jobs" && view && view.id === id) { view.show(place, more); return; } // it goes on listening
  if (view) view.close();
  view = null;
  leaveState();
  say("");
  try {
    if (page === "jobs" && id) {
      view = await jobView(main, where, id, place, more);
      await showState(main, id);
    } else if (onlyLooks() && (page === "edit" || page === "new")) fill(main, onlyLooksCard());
    else if (page === "about" && id) await aboutView(main, where, id);
    else if (page === "edit" && id) await editView(main, where, id);
    else if (page === "new") await newJobView(main, where);
    else if (page === "devices") await devicesView(main, where);
    else await jobsView(main, where);
  } catch (error) {
    fill(main, el("div.card", {}, el("h1", {}, "That did not work"), el("p", {}, error.message), error.status === 401 ? el("a.button.main", { href: "/pair" }, "Pair this device") : el("a.button", { href: "#/" }, "To the list of jobs")));
  }
  window.scrollTo(0, 0);
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
