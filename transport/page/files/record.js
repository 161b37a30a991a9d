// The record of a job, to read or print: what the service writes, shown as it is.

import { h, button, fill } from "./dom.js";

export function recordScreen(app, id) {
  app.title("Record");
  const place = h("article.record", { "aria-busy": "true" });
  load(app, id, place);
  return { name: "record", node: h("div.alone", {}, h("p.row.unprinted", {}, button("Print", () => print(), { class: "main big" }),
    h("a.big", { href: "#/job/" + encodeURIComponent(id) }, "Back to the job")), place), work: () => place };
}

async function load(app, id, place) {
  try {
    const { text } = await app.wire.call("job.report", { job: id, format: "markdown" });
    fill(place, read(text));
  } catch (error) {
    fill(place, h("p.error", { role: "alert" }, error.message));
  }
  place.setAttribute("aria-busy", "false");
}

// read makes elements of the markup that the service writes: headings, lists with
// one step of indent, paragraphs, tables.
function read(text) {
  const out = [];
  let lists = [];
  for (const line of text.split("\n")) {
    const heading = /^(#+) (.*)$/.exec(line);
    const item = /^( *)(?:-|\d+\.) (.*)$/.exec(line);
    if (item) lists = addItem(out, lists, item[1].length ? 1 : 0, /^ *\d/.test(line) ? "ol" : "ul", item[2], line);
    else if (/^\s*\|/.test(line)) addRow(out, line);
    else if (line.trim()) {
      lists = [];
      out.push(heading ? h(heading[1].length === 1 ? "h2" : "h3", {}, inline(heading[2])) : h("p", {}, inline(line)));
    } else if (!item) lists = lists.length && lists[0].tagName === "OL" ? lists : [];
  }
  return out;
}

function addItem(out, lists, depth, kind, words, line) {
  const node = h("li", { value: /^\s*(\d+)\./.exec(line)?.[1] }, inline(words));
  if (depth && lists[0]) {
    lists[1] ??= lists[0].lastElementChild.appendChild(h(kind));
    lists[1].append(node);
    return lists;
  }
  if (lists[0]?.localName !== kind) out.push((lists = [h(kind)])[0]);
  lists[0].append(node);
  return [lists[0]];
}

function addRow(out, line) {
  const cells = line.trim().replace(/^\||\|$/g, "").split(/(?<!\\)\|/).map(c => c.trim());
  if (cells.every(c => /^:?-+:?$/.test(c))) return;
  let table = out.at(-1);
  const head = table?.localName !== "table";
  if (head) out.push(table = h("table"));
  table.append(h("tr", {}, cells.map(c => h(head ? "th" : "td", head ? { scope: "col" } : {}, inline(c)))));
}

// inline reads ~~struck~~, **strong** and `code`, and what is escaped.
function inline(text) {
  const out = [];
  const plain = t => t.replace(/\\([\\*_`\[\]#~|])/g, "$1").replaceAll("&lt;", "<").replaceAll("&amp;", "&");
  const marks = /(?<!\\)(?:~~(.+?)(?<!\\)~~|\*\*(.+?)(?<!\\)\*\*|`([^`]+)`)/g;
  let from = 0;
  for (const m of text.matchAll(marks)) {
    out.push(plain(text.slice(from, m.index)));
    out.push(m[1] !== undefined ? h("s", {}, plain(m[1])) : m[2] !== undefined ? h("b", {}, plain(m[2])) : h("code", {}, m[3]));
    from = m.index + m[0].length;
  }
  out.push(plain(text.slice(from)));
  return out;
}
