// The card: the one thing to do now. A caution to accept, a question, a test with its
// answers, what was found, or the end.

import { h, button, fill, newID } from "./dom.js";
import { capital, minutes, percent, setup } from "./words.js";
import { answers } from "./answer.js";
import { found, ended, settled } from "./proof.js";
import { Pictures } from "./picture.js";

const LEADS = { red: "Red", black: "Black", jumper: "Jumper", clamp: "Clamp", look: "Look at" };
const REASONS = ["I can't reach it", "I have no tool for it", "It is not safe here", "I'd rather do another first"];

export class Card {
  #chosen = null; // a test other than the one proposed
  #accepted = null; // id of a chosen test whose caution was accepted
  #shown = "";
  mending = null; // a suspect that was mended unasked

  constructor(job) {
    this.job = job;
    this.pictures = new Pictures(job);
    this.node = h("article.card", { "aria-busy": "true" }, h("h2", { tabindex: "-1" }, "Reading the job"));
  }

  heading() { return this.node.querySelector("h2"); }

  // focus goes to where the next answer is given: to the field where there are keys to
  // type with, else to the heading. What was told to the last answer, if anything, comes into
  // view with it.
  focus(told) {
    const keys = matchMedia("(pointer: fine)").matches;
    const field = keys && (this.node.querySelector("[data-first]") ?? (this.node.dataset.kind === "question" && this.job.talk.field));
    (field || this.heading()).focus({ preventScroll: true });
    const tall = this.node.offsetHeight > this.node.parentNode.clientHeight;
    this.node.scrollIntoView({ block: tall ? "start" : "nearest" });
    told?.scrollIntoView({ block: tall ? "start" : "nearest" });
  }

  // choose puts another test in the place of the one proposed.
  choose(test) {
    this.#chosen = test && { test, seq: this.job.view.seq };
    this.update();
    this.focus();
  }

  mend(suspect) {
    this.mending = suspect && { ...suspect, seq: this.job.view.seq };
    this.update();
    if (suspect) this.job.show("now");
    this.focus();
  }

  update() {
    const { view, pending } = this.job;
    if (this.#chosen?.seq !== view.seq) this.#chosen = null;
    if (this.mending?.seq !== view.seq) this.mending = null;
    const shape = JSON.stringify([view.seq, view.reply.question, this.#chosen, this.#accepted, this.mending]);
    this.node.setAttribute("aria-busy", String(Boolean(pending)));
    if (shape !== this.#shown) this.#draw();
    this.#shown = shape;
    for (const control of this.node.querySelectorAll("button, input, textarea")) control.disabled = Boolean(pending);
    const waits = this.node.querySelector(".waits") ?? this.node.appendChild(h("p.waits", { role: "status" }));
    waits.textContent = pending && this.job.app.wire.state !== "open" ? "Kept here. It is sent once the connection is back." : "";
  }

  #draw() {
    const { view } = this.job;
    const r = view.reply;
    const test = this.#chosen?.test ?? r.next;
    this.pictures.leave();
    this.node.dataset.kind = "";
    if (view.state !== "open") return ended(this);
    if (this.mending) return found(this, { suspects: [this.mending.suspect] }, [`You mended: ${this.mending.words}`]);
    if (this.#chosen) return test.accept && this.#accepted !== test.id ? this.#caution(test) : this.#test(test);
    if (r.question && !(test?.accept && r.question.choices.includes("ready"))) return this.#question(r.question);
    if (r.conclusion) return found(this, r.conclusion, r.text.split("\n"));
    if (!test) return found(this, null, r.text.split("\n"));
    return test.accept ? this.#caution(test) : this.#test(test);
  }

  // put replaces the card.
  put(kind, tag, title, ...parts) {
    this.node.dataset.kind = kind;
    const id = newID();
    this.node.setAttribute("aria-labelledby", id);
    fill(this.node, h("p.tag", {}, tag), h("h2", { id, tabindex: "-1" }, title), ...parts);
    return id;
  }

  // try makes a call and shows a refusal on the card.
  async try(method, params, said) {
    try {
      await this.job.write(method, params, said);
      return true;
    } catch (error) {
      this.fail(error.message);
      return false;
    }
  }

  fail(text) {
    const place = this.node.querySelector(".error") ?? this.node.appendChild(h("p.error", { role: "alert" }));
    place.textContent = text;
  }

  // caution stands before a test that makes the load run: no answer can be given until
  // it is accepted.
  #caution(test) {
    const ready = () => {
      if (!this.#chosen) return this.try("job.tell", { text: "ready" }, "ready");
      this.#accepted = test.id;
      this.update();
      this.focus();
    };
    this.put("caution", "Stop and look", "Is everything clear?",
      h("p.hazard", { role: "alert" }, h("span.sign", { "aria-hidden": "true" }, "!"), test.accept),
      h("div.choices", {},
        button("All clear, go on", ready, { class: "main big", "data-first": true }),
        button("Not now", () => this.#chosen ? this.choose(null) : this.try("job.skip", { test: test.id, reason: "not clear" }, "not now"), { class: "big" })),
      h("p.then", {}, "Then: ", test.say));
  }

  #question(q) {
    this.put("question", "Which did you mean?", q.text,
      h("div.choices", {}, q.choices.map((c, i) => button(capital(c), () => this.try("job.tell", { text: c }, c), { class: "big", "data-first": i === 0 }))),
      q.choices.length === 0 && h("p", {}, "Say it below."),
      h("p", {}, button("Never mind", () => this.try("job.tell", { text: "never mind" }, "never mind"))));
  }

  #test(test) {
    const before = this.job.view.log.findLast(e => e.kind === "reading")?.reading.setup;
    const id = this.put("test", `${settled(this.job.view) ? "Prove the repair" : "Next test"} · ${minutes(test.minutes)}`, test.say,
      this.#chosen && h("p.soft", {}, "Your choice. ", button("Back to the one proposed", () => this.choose(null), { class: "link" })),
      h("dl.setup", {}, setup(test.setup, before).map(([name, value, changes]) =>
        h("div", { class: changes && before ? "changes" : null }, h("dt", {}, name), h("dd", {}, value, changes && before && h("small", {}, " change this"))))),
      test.cautions.length > 0 && h("div.own", {}, test.cautions.map(c => h("p.caution", {}, h("strong", {}, "Careful "), c))));
    this.node.append(h("div.body", {}, this.#leads(test),
      h("div.give", {}, answers(this, test, id), h("p.error", { role: "alert" }), this.#aside(test)), this.pictures.draw(test)));
  }

  #leads(test) {
    if (!test.leads.length) return h("div");
    return h("dl.leads", {}, test.leads.map(l => h("div", {}, h("dt", { class: "lead " + l.lead }, LEADS[l.lead] ?? l.lead), h("dd", {}, l.words))));
  }

  // aside has what may be done instead of answering.
  #aside(test) {
    const more = h("div.more");
    const toggle = (text, make) => {
      const b = button(text, async () => {
        const open = b.getAttribute("aria-expanded") === "true";
        for (const other of b.parentNode.querySelectorAll("[aria-expanded]")) other.setAttribute("aria-expanded", "false");
        b.setAttribute("aria-expanded", String(!open));
        fill(more, open ? null : await make());
      }, { "aria-expanded": "false" });
      return b;
    };
    return h("div.aside", {},
      h("div.row", {},
        button("Can't tell", () => this.try("job.record", { test: test.id, answer: "unsure" }, "can't tell")),
        toggle("Skip", () => this.#skip(test)), toggle("Why", () => this.#why(test)), toggle("Others", () => this.#others(test))),
      more);
  }

  #skip(test) {
    return h("div", {}, h("h3", {}, "Why not?"), h("div.choices", {},
      REASONS.map(reason => button(reason, () => this.try("job.skip", { test: test.id, reason }, reason)))));
  }

  async #why(test) {
    const parts = [h("h3", {}, "Why this test"), test.why && h("p", {}, test.why)];
    try {
      const { outcomes } = await this.job.app.wire.call("job.explain", { job: this.job.id, test: test.id });
      parts.push(h("ul.outcomes", {}, (outcomes ?? []).map(o => h("li", {}, h("b", {}, o.words), ` (${percent(o.probability)})`,
        o.then[0] && `: then ${o.then[0].words} leads with ${percent(o.then[0].probability)}`))));
    } catch (error) {
      parts.push(h("p", {}, error.message));
    }
    return h("div", {}, parts.filter(Boolean));
  }

  async #others(test) {
    try {
      const { tests } = await this.job.app.wire.call("job.next", { job: this.job.id, limit: 8 });
      const rest = tests.filter(t => t.id !== test.id);
      return h("div", {}, h("h3", {}, "Other tests, best first"), rest.length === 0 ? h("p", {}, "There is no other now.") :
        h("ul.others", {}, rest.map(t => h("li", {}, button(t.say, () => this.choose(t)), h("small", {}, minutes(t.minutes))))));
    } catch (error) {
      return h("p", {}, error.message);
    }
  }
}
