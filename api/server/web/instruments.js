// What the job's instruments can show: one of the generic profiles, or a file of one's own.

import { el, fill, say } from "./dom.js";
import { get, put } from "./server.js";

const ORIGINS = { set: "given here", described: "given with the job", learnt: "learnt from confirmed photos, only asks", "": "none: photos are not held against it" };

/** A folded card with the profile of each instrument; filled when it is opened. */
export function instrumentsPart(jobPath) {
  const list = el("div");
  const part = el("details.card", { id: "instruments" }, el("summary", {}, "What the meters can show"), list);
  part.addEventListener("toggle", () => { if (part.open) draw().catch((error) => say(error.message, "error")); });

  async function draw() {
    const [generic, own] = await Promise.all([get("/api/profiles"), get(`${jobPath}/profiles`)]);
    fill(list, own.length ? own.map((one) => row(one, generic)) : el("p", {}, "This job has no instruments."));
  }

  function row(one, generic) {
    const give = async (profile) => {
      try {
        await put(`${jobPath}/instruments/${encodeURIComponent(one.instrument)}/profile`, profile);
        await draw();
        say(`${one.instrument}: photos are now held against it.`);
      } catch (error) { say(error.message, "error"); }
    };
    const names = el("select", { "aria-label": `Profile of ${one.instrument}`, onchange: (event) => event.target.value && give(event.target.value) },
      el("option", { value: "" }, "choose a class"), generic.map((g) => el("option", { value: g.name }, g.title)));
    return el("div", { "data-instrument": one.instrument },
      el("p.place", {}, `${one.instrument}: ${one.profile ? one.profile.title : "no profile"}`),
      el("p.soft", {}, ORIGINS[one.origin]),
      el("div.row", {}, names, el("label.button", {}, "Own file (JSON)", el("input", { type: "file", accept: "application/json,.json", onchange: async (event) => {
        const file = event.target.files[0];
        event.target.value = "";
        if (!file) return;
        let profile = null;
        try { profile = JSON.parse(await file.text()); } catch { say("That file is no JSON.", "error"); }
        if (profile !== null) await give(profile);
      } }))));
  }
  return part;
}
