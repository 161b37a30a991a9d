// The list of jobs, and the form that opens one.

import { h, button, fill, newID } from "./dom.js";
import { newKey } from "./wire.js";
import { capital, when } from "./words.js";
import { FIELDS, MORE, PURPOSE } from "./fields.js";

export function jobsScreen(app) {
  app.title("Jobs");
  const list = h("ul.jobs", { "aria-label": "Jobs" });
  const node = h("div.alone", {}, h("p.row", {}, h("a.main.big", { href: "#/new" }, "New job")), list);
  show(app, list);
  return { name: "jobs", node };
}

async function show(app, list) {
  try {
    const { jobs } = await app.wire.call("job.list", { limit: 200 });
    fill(list, jobs.length === 0 ? h("li.soft", {}, "No jobs yet. Open one, and the assistant asks what it needs.") : jobs.map(item));
  } catch (error) {
    fill(list, h("li", {}, error.message));
  }
}

function item(j) {
  const purpose = PURPOSE.of.find(([id]) => id === j.purpose)?.[1];
  const complaint = j.complaint ? capital(j.complaint.replaceAll("_", " ")) : purpose ?? "";
  const state = { open: "Open", closed: { fixed: "Closed: fixed", unproven: "Closed: not proven", abandoned: "Closed: given up" }[j.outcome] ?? "Closed", damaged: "Damaged" }[j.state];
  if (j.state === "damaged") return h("li.damaged", {}, h("b", {}, j.job), " ", state, h("small", {}, j.problem));
  return h("li", {}, h("a", { href: "#/job/" + encodeURIComponent(j.job) },
    h("b", {}, capital(j.label || complaint)), h("span", {}, j.label ? complaint : "No name"),
    h("small", { class: j.state }, state), h("small", {}, when(j.opened), " · ", j.job)));
}

export function openScreen(app) {
  app.title("New job");
  const error = h("p.error", { role: "alert" });
  const complaint = choice({ name: "complaint", text: "What does it do wrong?", of: [] });
  const purpose = choice({ ...PURPOSE, needed: true, first: true });
  purpose.onchange = event => { // a job beside diagnosis asks for what it needs
    for (const part of form.querySelectorAll(".told, [data-field=complaint]")) part.hidden = event.target.value !== "diagnose";
  };
  const form = h("form.open", { novalidate: true, onsubmit: event => { event.preventDefault(); open(app, form, error); } },
    text({ name: "label", text: "What is it about?", hint: "The vehicle and the load, such as: delivery van, radiator fan" }),
    purpose, complaint, h("div.told", {}, FIELDS.map(field),
      h("details", {}, h("summary", {}, "More, if you know it"), MORE.map(field))),
    h("p.soft", {}, "What you leave out stays unknown; nothing is assumed."), error,
    h("p.row", {}, h("button.main.big", { type: "submit" }, "Open the job"), h("a.big", { href: "#/" }, "Back")));
  app.wire.call("rules.show").then(r => {
    complaint.replaceWith(choice({ name: "complaint", text: "What does it do wrong?", of: r.complaints.map(c => [c.id, capital(c.words)]), needed: true }));
  }).catch(e => { error.textContent = e.message; });
  return { name: "new", node: h("div.alone", {}, form), work: () => form.querySelector("input") };
}

const field = f => f.of ? choice(f) : text(f);

function choice({ name, text, of, needed, first, hint }) {
  const all = needed ? of : [...of, ["", "Don't know"]];
  return h("fieldset.pick", { "data-field": name }, h("legend", {}, text), hint && h("small", {}, hint), h("div.options", {}, all.map(([value, words], i) =>
    h("label", {}, h("input", { type: "radio", name, value, checked: first ? i === 0 : !needed && value === "" }), h("span", {}, words)))));
}

function text({ name, text: words, hint, unit }) {
  const id = newID();
  return h("div.text", { "data-field": name }, h("label", { for: id }, words), hint && h("small", { id: id + "h" }, hint),
    h("div.line", {}, h("input", { id, name, type: "text", inputmode: unit ? "decimal" : null, maxlength: "200", autocomplete: "off", "aria-describedby": hint && id + "h" }), unit && h("span", {}, unit)));
}

// request makes job.open's parameters of what was filled in. A value that is JSON of an
// object fills in several.
function request(form) {
  const purpose = new FormData(form).get("purpose");
  if (purpose !== "diagnose") return { purpose, label: new FormData(form).get("label").trim() || undefined };
  const out = {};
  for (const f of [{ name: "label" }, { name: "complaint" }, ...FIELDS, ...MORE]) {
    const value = new FormData(form).get(f.name)?.trim();
    if (!value) continue;
    for (const [path, v] of f.values ? Object.entries(f.values[value]) : [[f.name, f.number ? Number(value.replace(",", ".")) : value]]) put(out, path, v);
  }
  return out;
}

function put(out, path, value) {
  const names = path.split(".");
  const last = names.pop();
  for (const name of names) out = out[name] ??= {};
  out[last] = value;
}

async function open(app, form, error) {
  const params = request(form);
  error.textContent = "";
  const number = [...FIELDS, ...MORE].find(f => f.unit && Number.isNaN(f.name.split(".").reduce((o, n) => o?.[n], params) ?? 0));
  if (!params.complaint && !params.purpose) return wrong(form, error, "complaint", "Say what it does wrong.");
  if (number) return wrong(form, error, number.name, `${number.text} takes a number.`);
  try {
    form.key ??= newKey();
    const { job } = await app.wire.call("job.open", { ...params, key: form.key });
    app.go("#/job/" + encodeURIComponent(job));
  } catch (e) {
    form.key = undefined;
    wrong(form, error, e.data?.field, e.message);
  }
}

// wrong shows what is wrong beside the field it is about.
function wrong(form, error, name, message) {
  error.textContent = message;
  const at = name && (form.querySelector(`[data-field="${CSS.escape(name)}"]`) ?? form.querySelector(`[data-field="circuit.load.moves"]`));
  const input = at?.querySelector("input:checked") ?? at?.querySelector("input");
  if (!input) return;
  input.closest("details")?.setAttribute("open", "");
  input.focus();
}
