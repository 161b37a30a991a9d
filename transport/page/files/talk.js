// The conversation: what was said and recorded, from the job's log, with what the
// assistant answered here; and the line to say more.

import { h, button, fill, keyed, newID } from "./dom.js";
import { dotted, when } from "./words.js";

const QUIET_KINDS = new Set(["retracted"]);

export class Talk {
  #answers = []; // {seq, said, lines}: replies to this screen, for as long as it stands
  #turns = 0;

  constructor(job) {
    this.job = job;
    this.log = h("div.log", { role: "log", "aria-label": "Conversation", "aria-live": "polite", tabindex: "0" });
    this.form = this.#makeForm();
  }

  #makeForm() {
    const id = newID();
    this.error = h("p.error", { id: id + "e", role: "alert" });
    this.field = h("input", { id, type: "text", autocomplete: "off", autocapitalize: "none", enterkeyhint: "send", maxlength: "600",
      placeholder: "no click · 12.6 at 86 · why · undo", "aria-describedby": id + "e" });
    this.send = h("button.main", { type: "submit" }, "Say");
    const voice = this.job.app.voice;
    this.ear = voice.listens && button("Listen", () => this.#listen(), { "aria-pressed": "false" });
    return h("form.say", { onsubmit: event => { event.preventDefault(); this.#say(this.field.value, false); } },
      h("label", { for: id }, "Say it in your own words"), h("div.line", {}, this.field, this.ear, this.send), this.error);
  }

  async #listen() {
    const voice = this.job.app.voice;
    if (this.ear.getAttribute("aria-pressed") === "true") return voice.stop();
    this.ear.setAttribute("aria-pressed", "true");
    this.error.textContent = "";
    try {
      const text = await voice.listen(soFar => { this.field.value = soFar; });
      if (text) await this.#say(text, true);
    } catch (error) {
      this.error.textContent = error.message;
    } finally {
      this.ear.setAttribute("aria-pressed", "false");
    }
  }

  async #say(text, spoken) {
    text = text.trim();
    if (!text || this.job.pending) return;
    this.error.textContent = "";
    try {
      await this.job.write("job.tell", spoken ? { text, spoken } : { text }, text);
      this.field.value = "";
    } catch (error) {
      this.error.textContent = error.message;
    }
  }

  // answered keeps what the assistant said to this screen beside the next step, which
  // the card shows.
  answered(reply, said) {
    const step = new Set(this.job.view.reply.text.split("\n"));
    const read = new Set(reply.understood.map(u => same(u.words)));
    const lines = reply.text.split("\n").filter(l => l && !step.has(l) && !read.has(same(l)));
    this.#answers.push({ seq: reply.seq, made: reply.entries, said, lines });
  }

  // told is where the last answer was told more than what was understood, undefined if it was not.
  told() {
    return this.#answers.at(-1)?.lines.length ? this.log.lastElementChild : undefined;
  }

  // turns are what is shown: the log's turns, and the answers that made no entry.
  #list() {
    const turns = new Map();
    const gone = new Set(this.job.view.log.flatMap(e => e.retracted ?? []));
    for (const e of this.job.view.log) {
      if (!turns.has(e.turn)) turns.set(e.turn, { key: e.turn, at: e.turn, said: e.said, time: e.time, entries: [], lines: [] });
      if (e.words && !QUIET_KINDS.has(e.kind)) turns.get(e.turn).entries.push({ words: e.words, notes: e.notes ?? [], gone: gone.has(e.entry), kind: e.kind });
    }
    this.#answers.forEach((a, i) => {
      const turn = turns.get(a.made[0]);
      if (turn) {
        turn.lines = a.lines;
        turn.said ??= a.said;
      } else turns.set("a" + i, { key: "a" + i, at: a.seq + 0.5, said: a.said, entries: [], lines: a.lines });
    });
    return [...turns.values()].filter(t => t.said || t.entries.length || t.lines.length).sort((a, b) => a.at - b.at);
  }

  update() {
    const list = this.#list();
    keyed(this.log, list, t => t.key, () => h("div.turn"), (node, turn) => this.#turn(node, turn));
    const busy = Boolean(this.job.pending), closed = this.job.view.state !== "open";
    this.form.hidden = closed;
    this.send.disabled = busy;
    this.send.textContent = busy ? "Sending" : "Say";
    if (list.length !== this.#turns) this.log.scrollTop = this.log.scrollHeight;
    this.#turns = list.length;
  }

  #turn(node, turn) {
    const shape = JSON.stringify(turn);
    if (node.shape === shape) return;
    node.shape = shape;
    const heard = turn.entries.map(e => h(e.gone ? "s.heard" : "p.heard", {}, turn.said || e.kind === "opened" ? null : h("span.unseen", {}, "Recorded: "), dotted(e.words),
      e.gone && h("small", {}, " taken back"), e.notes.map(n => h("small.note", {}, n))));
    fill(node,
      turn.said && h("p.said", {}, h("span.unseen", {}, "You: "), turn.said),
      heard.length + turn.lines.length > 0 && h("div.reply", {}, h("span.unseen", {}, "Coilside: "), heard, turn.lines.map(l => h(l.startsWith("Careful:") ? "p.warned" : "p", {}, l))),
      turn.time && h("time", { datetime: turn.time }, when(turn.time)));
  }
}

const same = text => text.toLowerCase().replace(/[.\s]+$/, "");
