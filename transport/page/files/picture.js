// Pictures of the job, drawn by the service: where the leads go, the socket's face, the
// circuit.

import { h, button, fill } from "./dom.js";
import { drawing } from "./markup.js";

const KINDS = [["leads", "Leads"], ["socket", "Socket"], ["circuit", "Circuit"]];
// Pictures shows one picture at a time on the card.
export class Pictures {
  kind = "leads";
  #turn = 0;
  #there = true;

  constructor(job) { this.job = job; }

  leave() { this.#turn++; }

  // draw makes the place for the pictures of a test and fills it when they come.
  draw(test) {
    const purpose = this.job.view.opening.purpose ?? "diagnose";
    if (!this.#there || purpose !== "diagnose") return null; // the other jobs have no circuit
    const kinds = KINDS.filter(([k]) => k !== "leads" || test.leads.length);
    const kind = kinds.some(([k]) => k === this.kind) ? this.kind : kinds[0][0];
    const place = h("div.drawing", { role: "region", tabindex: "0", "aria-label": "Picture" });
    const tabs = kinds.map(([k, text]) => button(text, () => { this.kind = k; press(k); this.#fill(place, k, test); }, { "data-kind": k }));
    const press = k => {
      tabs.forEach(b => b.setAttribute("aria-pressed", String(b.dataset.kind === k)));
      place.dataset.kind = k;
    };
    press(kind);
    const node = h("div.pictures", {}, h("div.row", { role: "group", "aria-label": "Which picture" }, tabs,
      button("Larger", () => enlarge(place), { class: "larger" })), place);
    requestAnimationFrame(() => setTimeout(() => this.#fill(place, kind, test, node)));
    return node;
  }

  async #fill(place, kind, test, node) {
    const turn = ++this.#turn;
    try {
      const picture = await this.job.app.wire.call("job.picture", { job: this.job.id, kind, test: test.id });
      if (turn === this.#turn) fill(place, drawing(picture.svg));
    } catch (error) {
      if (turn !== this.#turn) return;
      if (error.code === -32601) { // a service without pictures
        this.#there = false;
        node?.remove();
      } else fill(place, h("p.soft", {}, error.message));
    }
  }
}

// enlarge shows a picture over the whole screen.
function enlarge(place) {
  const svg = place.querySelector("svg")?.cloneNode(true);
  if (!svg) return;
  const name = svg.querySelector("title")?.textContent ?? "Picture";
  for (const node of [svg, ...svg.querySelectorAll("[id]")]) node.removeAttribute("id");
  svg.removeAttribute("aria-labelledby");
  svg.setAttribute("aria-label", name);
  const dialog = h("dialog.large", { "aria-label": name, onclose: () => dialog.remove() },
    button("Close", () => dialog.close(), { class: "big" }), h("div.drawing", { tabindex: "0", role: "region", "aria-label": name, "data-kind": place.dataset.kind }, svg));
  document.body.append(dialog);
  dialog.showModal();
}
