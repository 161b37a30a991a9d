// One job on the screen: what the service last said of it, the calls that change it,
// and the parts that show it.

import { h, button, fill, newID } from "./dom.js";
import { CONFLICT, NOT_FOUND, newKey } from "./wire.js";
import { Talk } from "./talk.js";
import { Card } from "./card.js";
import { Suspects, Readings } from "./panels.js";

const VIEWS = [["now", "Now"], ["suspects", "Suspects"], ["readings", "Readings"]];

export function jobScreen(app, id) {
  const job = new Job(app, id);
  return { name: "job", node: job.node, changed: c => job.changed(c), leave: () => job.leave(), work: () => job.card.heading() };
}

// Job holds view, what job.show answered, and the calls on it.
export class Job {
  view = null;
  pending = null; // the write that waits for its answer
  #gone = false;
  #behind = false;

  constructor(app, id) {
    this.app = app;
    this.id = id;
    this.talk = new Talk(this);
    this.card = new Card(this);
    this.suspects = new Suspects(this);
    this.readings = new Readings(this);
    this.cautions = h("div.cautions", { role: "region", "aria-label": "Cautions", hidden: true });
    this.node = this.#layout();
    this.show("now");
    this.app.title("Job " + id);
    this.refresh();
  }

  #layout() {
    const middle = newID();
    this.tabs = VIEWS.map(([view, text]) => button(text, () => this.show(view), { "data-view": view }));
    return h("div.job", {},
      h("nav.views", { "aria-label": "Parts of the job" }, this.tabs, h("a", { href: `#/job/${encodeURIComponent(this.id)}/record` }, "Record")),
      this.suspects.node,
      h("section.talk", { "aria-labelledby": middle }, h("h2.unseen", { id: middle }, "Conversation and next test"),
        h("div.flow", {}, this.talk.log, this.cautions, this.card.node), this.talk.form),
      this.readings.node);
  }

  show(view) {
    this.node.dataset.view = view;
    for (const tab of this.tabs) tab.setAttribute("aria-pressed", String(tab.dataset.view === view));
  }

  leave() { this.#gone = true; }

  // refresh reads the job anew.
  async refresh() {
    try {
      this.#take(await this.app.wire.call("job.show", { job: this.id }));
    } catch (error) {
      if (!this.#gone) this.#cannot(error);
    }
  }

  #cannot(error) {
    fill(this.node, h("div.alone", {}, h("h2", {}, error.code === NOT_FOUND ? "There is no such job" : "This job cannot be shown"),
      h("p", {}, error.message), h("p", {}, h("a", { href: "#/" }, "All jobs"))));
  }

  // changed hears that the job has moved on, here or on another screen.
  async changed({ job, seq }) {
    if (job !== this.id || !this.view || seq === this.view.seq) return;
    if (this.pending) {
      this.#behind = true; // our own answer may be what it is about
      return;
    }
    await this.refresh();
    if (!this.#gone) this.app.tell("The job moved on. " + this.view.reply.speech);
  }

  // write makes a call that changes the job and reads it again in the same message.
  // It gives the reply, or null where the job had moved on; refusals are thrown.
  async write(method, params, said) {
    if (this.pending) return null;
    performance.mark("coilside-start");
    this.pending = { said };
    const full = { ...params, job: this.id, key: newKey(), if_seq: this.view.seq };
    const answer = this.app.wire.batch([[method, full], ["job.show", { job: this.id }]]);
    this.#update(); // while the service works
    const [done, shown] = await answer;
    performance.measure("coilside-answer", "coilside-start");
    this.pending = null;
    if (shown.result && !this.#gone) this.#take(shown.result, done.result, said);
    if (done.error) {
      this.#update();
      if (done.error.code === CONFLICT) done.error.message = "Another screen changed this job meanwhile, so nothing was stored. Look at what is asked now.";
      throw done.error;
    }
    return done.result;
  }

  // take shows a new view; reply is the answer to our own call, said what it was.
  #take(view, reply, said) {
    if (this.#gone || this.view && view.seq < this.view.seq) return;
    const first = !this.view;
    this.view = view;
    this.#behind = false;
    if (reply) this.talk.answered(reply, said);
    this.app.title(view.label || "Job " + this.id);
    if (first) this.app.wire.watch(this.id, () => this.view.seq);
    this.#update();
    if (reply) {
      this.card.focus(this.talk.told());
      this.app.voice.say(reply.speech);
      painted();
    }
  }

  #update() {
    const r = this.view.reply;
    const own = r.next && !r.conclusion ? r.next.cautions : [];
    const over = !r.next && !r.conclusion; // nothing is left to be careful of
    const rest = over ? [] : r.cautions.filter(c => !own.includes(c));
    this.cautions.hidden = !rest.length;
    fill(this.cautions, rest.map(c => h("p.caution", {}, h("strong", {}, "Careful "), c)));
    this.card.update();
    this.suspects.update();
    this.readings.update();
    this.talk.update(); // last: it scrolls, and the page is laid out for that
    if (this.#behind && !this.pending) this.refresh();
  }
}

// painted notes when an answer is on the screen: the frame after the one that is
// being made has begun.
function painted() {
  requestAnimationFrame(() => setTimeout(() => performance.measure("coilside-reading", "coilside-start")));
}
