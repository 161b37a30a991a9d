// The record of a job, to read or print: what the service writes, shown as it is.

import { h, button, fill } from "./dom.js";
import { article } from "./markup.js";

const FOR = [["file", "For the shop's file"], ["customer", "For the customer"]];

export function recordScreen(app, id) {
  app.title("Record");
  const place = h("article.record", { "aria-label": "Record", tabindex: "-1" });
  const ways = FOR.map(([whom, text]) => button(text, () => show(whom), { "data-for": whom }));
  const show = whom => {
    for (const b of ways) b.setAttribute("aria-pressed", String(b.dataset.for === whom));
    load(app, id, whom, place);
  };
  show("file");
  return { name: "record", work: () => place, node: h("div.alone", {},
    h("div.row.unprinted", {}, button("Print", () => print(), { class: "main big" }), h("a.big", { href: "#/job/" + encodeURIComponent(id) }, "Back to the job")),
    h("div.row.unprinted", { role: "group", "aria-label": "Which record" }, ways), place) };
}

async function load(app, id, whom, place) {
  place.setAttribute("aria-busy", "true");
  try {
    const { text } = await app.wire.call("job.report", { job: id, format: "html", for: whom });
    fill(place, article(text));
  } catch (error) {
    fill(place, h("p.error", { role: "alert" }, error.message));
  }
  place.setAttribute("aria-busy", "false");
}
