// The suspects, as bars with their reasons, and the readings, each of which can be
// taken back.

import { h, button, fill, keyed, newID } from "./dom.js";
import { capital, dotted, moved, percent, when } from "./words.js";

const MOST = 12;

export class Suspects {
  #all = new Map(); // words by id, of all that were ever listed
  #seq = -1;
  #want = MOST;

  constructor(job) {
    this.job = job;
    const id = newID();
    this.list = h("ol.bars");
    this.node = h("section.suspects.panel", { "aria-labelledby": id }, h("h2", { id }, "Suspects"), this.list,
      h("p.soft", {}, "Touch one for its reasons."));
  }

  words(id) { return this.#all.get(id) ?? id.replace(".", ": ").replaceAll("_", " "); }

  // update shows those of the reply at once and asks for the rest once they are on the
  // screen.
  update() {
    const { view } = this.job;
    if (view.seq === this.#seq) return;
    this.#seq = view.seq;
    this.#show(view.reply.suspects);
    this.node.classList.toggle("none", Boolean(view.opening.purpose) && view.opening.purpose !== "diagnose"); // nothing is suspected there
    if (view.state === "open") requestAnimationFrame(() => setTimeout(() => this.#more()));
  }

  async #more() {
    const seq = this.#seq;
    try {
      const { suspects } = await this.job.app.wire.call("job.suspects", { job: this.job.id, limit: this.#want });
      if (seq === this.#seq) this.#show(suspects);
    } catch { /* the first few stay */ }
  }

  #show(suspects) {
    const most = Math.max(...suspects.map(s => s.probability), 0.01);
    keyed(this.list, suspects.filter(s => s.probability >= 0.001), s => s.suspect, s => this.#make(s), (node, s) => {
      this.#all.set(s.suspect, s.words);
      const d = node.firstElementChild;
      d.querySelector(".name").textContent = capital(s.words);
      d.querySelector(".share").textContent = percent(s.probability);
      d.querySelector(".fill").style.width = `${100 * s.probability / most}%`;
      if (d.open && d.seq !== this.#seq) this.#reasons(d, s.suspect);
    });
  }

  #make({ suspect }) {
    const d = h("details", { ontoggle: () => d.open && d.seq !== this.#seq && this.#reasons(d, suspect) },
      h("summary", {}, h("span.name"), " ", h("span.share"), h("span.bar", { "aria-hidden": "true" }, h("span.fill"))), h("div.reasons", {}, h("p.soft", {}, "…")));
    return h("li", { "data-suspect": suspect }, d);
  }

  async #reasons(d, suspect) {
    d.seq = this.#seq;
    const place = d.querySelector(".reasons");
    try {
      const why = await this.job.app.wire.call("job.explain", { job: this.job.id, suspect });
      fill(place, why.reasons.length === 0 ? h("p", {}, "Nothing was read yet that moves it: this is how often it is behind such a complaint.") :
        h("ul", {}, why.reasons.slice(0, 8).map(r => h("li", {}, h("b", { class: r.bits > 0 ? "up" : "down" }, r.bits > 0 ? "▲ " : "▼ ", moved(r.bits)), " ", dotted(r.words),
          r.expected && h("small", {}, ` It would give ${r.expected}.`)))),
      this.job.view.state === "open" && !suspect.startsWith("none.") && !suspect.includes(" + ") &&
        button("I mended this", () => this.job.card.mend({ suspect, words: this.words(suspect) })));
    } catch (error) {
      fill(place, h("p", {}, error.message));
    }
  }
}

const KINDS = { reading: "Reading", fact: "Told", stands: "Stands", accepted: "Clear", skipped: "Skipped", repaired: "Repair" };

export class Readings {
  #seq = -1;

  constructor(job) {
    this.job = job;
    const id = newID();
    this.list = h("ol.entries");
    this.none = h("p.soft", {}, "Nothing yet.");
    this.gone = h("ol.entries.back");
    this.back = h("details", { hidden: true }, h("summary"), this.gone);
    this.node = h("section.readings.panel", { "aria-labelledby": id }, h("h2", { id }, "Readings so far"), this.none, this.list, this.back,
      h("p.records", {}, h("a", { href: `#/job/${encodeURIComponent(job.id)}/record` }, "The record, to print")));
  }

  update() {
    const { view } = this.job;
    if (view.seq === this.#seq) return this.#busy();
    this.#seq = view.seq;
    const back = new Set(view.log.flatMap(e => e.retracted ?? []));
    const proof = new Set(view.reply.conclusion?.proof ?? []);
    const shown = view.log.filter(e => KINDS[e.kind]).reverse();
    const now = shown.filter(e => !back.has(e.entry)), gone = shown.filter(e => back.has(e.entry));
    this.none.hidden = now.length > 0;
    keyed(this.list, now, e => e.entry, e => this.#make(e), (node, e) => node.classList.toggle("proof", proof.has(e.entry)));
    keyed(this.gone, gone, e => e.entry, e => h("li", {}, h("s", {}, capital(dotted(e.words)))), () => {});
    this.back.hidden = gone.length === 0;
    this.back.firstElementChild.textContent = `Taken back: ${gone.length}`;
    this.#busy();
  }

  #busy() {
    for (const b of this.list.querySelectorAll("button")) {
      b.disabled = Boolean(this.job.pending);
      b.parentNode.hidden = this.job.view.state !== "open";
    }
  }

  #make(e) {
    const actions = h("p.row");
    const words = capital(dotted(e.words));
    const idle = () => fill(actions, this.job.view.state === "open" && button("Take back", sure, { "aria-label": "Take back: " + words }));
    const sure = () => {
      const yes = button("Yes, take it back", () => this.#retract(e.entry), { class: "danger" });
      fill(actions, yes, button("Keep it", () => { idle(); actions.firstElementChild.focus(); }));
      yes.focus();
    };
    idle();
    return h("li", { "data-entry": e.entry }, h("p", {}, h("span.kind", {}, KINDS[e.kind]), " ", words, h("span.badge", {}, "proof")),
      (e.notes ?? []).map(n => h("small.note", {}, n)), h("time", { datetime: e.time }, when(e.time)), actions);
  }

  async #retract(entry) {
    try {
      await this.job.write("job.retract", { entry }, "take it back");
    } catch (error) {
      this.job.card.fail(error.message);
    }
  }
}
