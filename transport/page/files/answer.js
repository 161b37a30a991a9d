// The ways to answer a test: a number, two numbers, or one of some words.

import { h, button, newID } from "./dom.js";
import { SIZES, choice, number, unit } from "./words.js";

// answers makes what a test is answered with; label is the id of what it asks.
export function answers(card, test, label) {
  const give = (answer, said) => card.try("job.record", { test: test.id, answer }, said);
  switch (test.answers.kind) {
    case "choice":
      return choices(test.answers.of, give, label);
    case "min_max":
      return numbers(["Lowest", "Highest"], test, ([min, max]) => give({ min, max }), label, card);
  }
  return numbers(["Reading"], test, ([one]) => give(one), label, card);
}

function choices(of, give, label) {
  return h("div.choices", { role: "group", "aria-labelledby": label }, of.map((id, i) => {
    const [word, more] = choice(id);
    return button(word, () => give(id, word), { class: "big", "data-first": i === 0, "data-answer": id }, more && h("small", {}, more));
  }));
}

// numbers makes one field or two, with a pad that fills the one in use, the sizes the
// meter may show, and OL where it may be over range.
function numbers(names, test, give, label, card) {
  const over = test.measure.mode === "ohms" || test.measure.mode === "pull_in";
  const sizes = sizeChoice(test.answers.unit);
  const fields = names.map((name, i) => field(name, i, test, label));
  let at = 0;
  fields.forEach((f, i) => f.input.addEventListener("focus", () => { at = i; mark(); }));
  const mark = () => fields.forEach((f, i) => f.node.classList.toggle("in-use", fields.length > 1 && i === at));
  const submit = () => {
    const read = fields.map(f => readField(f.input.value, over, sizes.factor()));
    const wrong = read.findIndex(v => v === null);
    if (wrong >= 0) {
      at = wrong;
      mark();
      fields[wrong].input.setAttribute("aria-invalid", "true");
      fields[wrong].input.focus();
      return card.fail(`Enter a number${over ? ", or OL" : ""}, such as 12.6.`);
    }
    return give(read);
  };
  mark();
  const next = () => {
    if (at < fields.length - 1 && fields[at].input.value) {
      fields[++at].input.focus();
    } else submit();
  };
  const form = h("form.number", { onsubmit: event => { event.preventDefault(); next(); } },
    h("div.fields", {}, fields.map(f => f.node)), sizes.node,
    pad(() => fields[at].input, over, () => give(["OL"])),
    h("button.main.big.enter", { type: "submit" }, "Enter"));
  return form;
}

function field(name, i, test, label) {
  const id = newID();
  const input = h("input", { id, type: "text", inputmode: "decimal", autocomplete: "off", maxlength: "16", enterkeyhint: "done",
    "data-first": i === 0, "aria-labelledby": `${id}l ${label}`,
    oninput: () => input.removeAttribute("aria-invalid") });
  return { input, node: h("div.field", {}, h("label", { for: id, id: id + "l" }, name), h("div.meter", {}, input, h("span.unit", { "aria-hidden": "true" }, unit(test.answers.unit)))) };
}

function readField(text, over, factor) {
  if (over && /^\s*(ol|open|∞)\s*$/i.test(text)) return "OL";
  const value = number(text);
  return value === null ? null : Number((value * factor).toPrecision(12));
}

// sizeChoice is V or mV and the like, as the meter shows it.
function sizeChoice(name) {
  const sizes = SIZES[name] ?? [];
  if (sizes.length < 2) return { node: null, factor: () => 1 };
  const group = newID();
  let factor = 1;
  const node = h("fieldset.sizes", {}, h("legend.unseen", {}, "The meter shows"), sizes.map(([text, by], i) => h("label", {},
    h("input", { type: "radio", name: group, checked: i === 0, onchange: event => {
      factor = by;
      event.target.form.querySelectorAll(".unit").forEach(u => { u.textContent = text; });
    } }), h("span", {}, text))));
  return { node, factor: () => factor };
}

// pad types into the field in use. Who has keys uses those, so it is not in the order
// of the Tab key.
function pad(input, over, giveOver) {
  const type = key => {
    const field = input();
    field.removeAttribute("aria-invalid");
    if (key === "⌫") field.value = field.value.slice(0, -1);
    else if (key === "±") field.value = field.value.startsWith("-") ? field.value.slice(1) : "-" + field.value;
    else if (key !== "." || !field.value.includes(".")) field.value += key;
  };
  const names = { "⌫": "delete", "±": "plus or minus", ".": "point" };
  const key = k => button(k, () => type(k), { tabindex: "-1", "aria-label": names[k], "data-key": k });
  return h("div.pad", { role: "group", "aria-label": "Number pad" },
    ["7", "8", "9", "⌫", "4", "5", "6", "±", "1", "2", "3"].map(key),
    over ? button("OL", giveOver, { tabindex: "-1", "aria-label": "OL, over range" }) : h("span", { "aria-hidden": "true" }),
    key("0"), key("."));
}

