// What was found and what became of it: the repair, and the end of the job.

import { h, button, newID } from "./dom.js";
import { capital, percent } from "./words.js";

const RESULTS = [["gone", "It is gone"], ["still_there", "It is still there"], ["changed", "It changed"]];
const OUTCOMES = [["fixed", "Fixed"], ["unproven", "Not proven"], ["abandoned", "Given up"]];
const SOUND = "none.found";

// found shows a conclusion, or null where no test is left, in the assistant's lines.
export function found(card, conclusion, lines) {
  const [first, ...rest] = lines.filter(l => !/^Then tell me what became/.test(l)); // the buttons ask it
  const job = card.job;
  const suspects = conclusion?.suspects ?? [];
  const titles = { single: "Found", pair: "Two faults at once", tied: "These look alike" };
  const tag = conclusion ? `${titles[conclusion.kind] ?? "Mended"}${conclusion.probability ? " · " + percent(conclusion.probability) : ""}` : "Where we stand";
  card.put("found", tag, capital(first.replace(/^Found: /, "")), prose(rest), proofs(job, conclusion));
  if (suspects.length && !suspects.includes(SOUND)) card.node.append(repair(card, suspects));
  if (!conclusion && settled(job.view)) card.node.append(button("Close it as fixed", () => card.try("job.close", { outcome: "fixed" }, "done"), { class: "main big", "data-first": true }));
  if (card.mending) card.node.append(button("Back", () => card.mend(null)));
  else card.node.append(closing(card));
}

// prose shows lines, those that start with a dash as a list.
function prose(lines) {
  const items = lines.filter(l => l.startsWith("- ")).map(l => h("li", {}, l.slice(2)));
  const at = lines.findIndex(l => l.startsWith("- "));
  const text = lines.map((l, i) => i === at ? h("ul", {}, items) : l.startsWith("- ") ? null : line(l));
  return h("div.prose", {}, text.filter(Boolean));
}

function line(text) {
  const [, mark, rest] = /^(Do|Then prove it|Now prove it|Careful|Why|Next): (.*)$/.exec(text) ?? [];
  if (mark === "Careful") return h("p.caution", {}, h("strong", {}, "Careful "), rest);
  return mark ? h("p", {}, h("b", {}, mark + ": "), rest) : h("p", {}, text);
}

function proofs(job, conclusion) {
  if (!conclusion?.proof?.length) return null;
  const words = new Map(job.view.log.map(e => [e.entry, e.words]));
  return h("details.proof", {}, h("summary", {}, "What proves it"), h("ul", {}, conclusion.proof.map(n => h("li", {}, words.get(n)))));
}

function repair(card, suspects) {
  const { view } = card.job;
  const name = id => view.reply.suspects.find(s => s.suspect === id)?.words ?? card.job.suspects.words(id);
  const group = newID(), act = newID();
  const which = suspects.length > 1 && h("fieldset.which", {}, h("legend", {}, "What did you mend?"), suspects.map((id, i) =>
    h("label", {}, h("input", { type: "radio", name: group, value: id, checked: i === 0 }), h("span", {}, name(id)))));
  const form = h("form.repair", { onsubmit: event => event.preventDefault() }, which,
    h("label", { for: act }, "What did you do? (may stay empty)"),
    h("input", { id: act, type: "text", maxlength: "200", autocomplete: "off" }),
    h("div", { role: "group", "aria-labelledby": act + "q" }, h("p.ask", { id: act + "q" }, "It is mended. What became of the complaint?"),
      h("div.choices", {}, RESULTS.map(([result, text]) => button(text, () => {
        const suspect = which ? form.querySelector(":checked").value : suspects[0];
        return card.try("job.repair", { suspect, action: form.querySelector("input[type=text]").value.trim(), result }, text.toLowerCase());
      }, { class: "big", "data-answer": result })))));
  return form;
}

// closing ends the job, in two steps.
export function closing(card) {
  return h("details.closing", {}, h("summary", {}, settled(card.job.view) ? "Close it otherwise" : "Close the job"),
    h("p", {}, "Nothing can be added to it afterwards. How did it end?"),
    h("div.choices", {}, OUTCOMES.map(([outcome, text]) => button(text, () => card.try("job.close", { outcome }, text.toLowerCase()), { "data-answer": outcome }))));
}

// ended shows a job that is closed.
export function ended(card) {
  const { view, id } = card.job;
  const words = Object.fromEntries(OUTCOMES)[view.outcome] ?? view.outcome;
  card.put("ended", "The job is closed", words,
    h("p.row", {}, h("a.main.big", { href: `#/job/${encodeURIComponent(id)}/record` }, "The record, to read or print"), h("a.big", { href: "#/" }, "All jobs")));
}

// settled tells that the last repair helped.
export function settled(view) {
  const gone = new Set(view.log.flatMap(e => e.retracted ?? []));
  const last = view.log.findLast(e => e.kind === "repaired" && !gone.has(e.entry));
  return last?.repaired.result === "gone";
}
