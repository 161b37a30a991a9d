// Speaking and listening, as far as the browser can.

import { stored } from "./dom.js";

const Recognition = globalThis.SpeechRecognition ?? globalThis.webkitSpeechRecognition;
const LANGUAGE = "en-GB";

export class Voice {
  speaks = "speechSynthesis" in globalThis;
  listens = Boolean(Recognition);
  on = false;
  #heard = null;

  // wire makes a button switch speaking on and off.
  wire(button) {
    button.hidden = !this.speaks;
    const show = () => button.setAttribute("aria-pressed", String(this.on));
    this.on = this.speaks && stored("speak") === "on";
    show();
    button.onclick = () => {
      this.on = !this.on;
      stored("speak", this.on ? "on" : "off");
      show();
      if (this.on) this.say("I speak now.");
      else speechSynthesis.cancel();
    };
  }

  say(text) {
    if (!this.on || !text) return;
    speechSynthesis.cancel();
    const words = new SpeechSynthesisUtterance(text);
    words.lang = LANGUAGE;
    speechSynthesis.speak(words);
  }

  // listen hears one utterance; while is told of what is heard so far. It gives the
  // text, empty for none, and throws a sentence where it cannot.
  async listen(soFar) {
    speechSynthesis?.cancel();
    const ear = new Recognition();
    ear.lang = LANGUAGE;
    ear.interimResults = true;
    if (await onDevice()) ear.processLocally = true;
    else if (!askedFor()) return "";
    return new Promise((resolve, reject) => {
      let text = "";
      ear.onresult = event => {
        text = [...event.results].map(r => r[0].transcript).join(" ").trim();
        soFar(text);
      };
      ear.onerror = event => event.error === "no-speech" ? resolve("") : reject(new Error(why(event.error)));
      ear.onend = () => resolve(text);
      this.#heard = ear;
      ear.start();
    });
  }

  stop() { this.#heard?.stop(); }
}

async function onDevice() {
  try {
    return await Recognition.available({ langs: [LANGUAGE], processLocally: true }) === "available";
  } catch {
    return false;
  }
}

// askedFor asks, once, whether a voice may leave the machine: many browsers send it to
// their maker to be understood.
function askedFor() {
  if (stored("listen") === "yes") return true;
  const yes = confirm("To understand you, this browser may send your voice to its maker's servers. The service itself sends nothing anywhere. Listen?");
  if (yes) stored("listen", "yes");
  return yes;
}

function why(error) {
  return { "not-allowed": "The browser may not use the microphone. Allow it, or type.", "audio-capture": "There is no microphone. Type instead.",
    network: "The browser cannot reach what understands speech for it. Type instead." }[error] ?? "I could not listen. Type instead.";
}
