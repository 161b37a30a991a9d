#!/usr/bin/env python3
"""Plays a whole job by sound: a technician with both hands busy.

    voice.py SERVICE BENCH

SERVICE is where coilside serves, such as http://127.0.0.1:7285; BENCH stands for
the vehicle: a small HTTP service that is told what to measure and answers with
what the meter shows. What the assistant says is spoken from reply.ssml. What the
technician says is spoken by another voice, recognised with the grammar of the
moment (speech.grammar) and sent as text with spoken: true. Numbers are read back;
the technician listens and says yes, or no and the number again.

Needs espeak-ng, sox, pocketsphinx and pocketsphinx-en-us, all packages of Debian.
Prints the job, what was proven, and how many words were recognised right. With
COILSIDE_SOUND=DIR the sounds are kept there, numbered.
"""
import difflib
import json
import os
import subprocess
import sys
import tempfile
import urllib.request

from play import Service, post

MODEL = "/usr/share/pocketsphinx/model/en-us/"
MOST_TURNS = 250

SMALL = ("zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen "
         "fifteen sixteen seventeen eighteen nineteen").split()
TENS = "- - twenty thirty forty fifty sixty seventy eighty ninety".split()

# The technician's voice, by espeak-ng's name and words a minute, and how it is changed
# to say again what was misheard. The first was the best understood of two dozen.
VOICES = [("en-us+f5", "150"), ("en-us+klatt", "140"), ("en-us+f2", "140"), ("en-us+klatt4", "150"), ("en-us+f5", "130")]

# How this technician says the choices of a test.
SAYS = {
    "runs": "it runs", "weak": "it runs slow", "off": "it stays off", "trips": "the fuse blows",
    "comes_and_goes": "it comes and goes", "bright": "the lamp is bright", "dim": "it glows dim",
    "dark": "the lamp stays dark", "click": "it clicks", "silent": "no click", "buzz": "it is buzzing",
    "sound": "looks good", "blown": "it is blown", "corroded": "it is corroded", "burnt": "it is burnt",
    "loose": "it is loose", "wet": "it is wet", "wrong_part": "wrong part", "yes": "yes", "no": "no",
    "gone": "it is fixed", "still_there": "still there", "changed": "something else now",
}


def whole(n):
    if n < 20:
        return SMALL[n]
    if n < 100:
        return TENS[n // 10] + (" " + SMALL[n % 10] if n % 10 else "")
    return SMALL[n // 100] + " hundred" + (" and " + whole(n % 100) if n % 100 else "")


def number(value, places):
    """Says a reading as the meter shows it, with so many decimals at most."""
    text = f"{abs(value):.{places}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    left, _, right = text.partition(".")
    words = "minus " if value < 0 and float(text) else ""
    words += whole(int(left))
    return words + (" point " + " ".join(SMALL[int(d)] for d in right) if right else "")


def reading(answer, unit):
    """The words for what the bench answered."""
    if answer == "OL":
        return "over range"
    if isinstance(answer, dict):
        low, high = (round(2 * answer[k]) / 2 for k in ("min", "max"))
        return f"steady {number(low, 1)}" if low == high else f"{number(low, 1)} to {number(high, 1)}"
    if unit == "volt":
        return number(answer, 2) + " volts"
    if unit == "ohm" and answer >= 1000:
        return number(answer / 1000, 1) + " k"
    if unit == "ohm":
        return number(answer, 0 if answer >= 100 else 2) + " ohms"
    return number(answer, 2) + " amperes"


class Sound:
    """Speaks and hears, and counts the words that were heard right."""

    def __init__(self):
        self.dir = os.environ.get("COILSIDE_SOUND") or tempfile.mkdtemp()
        os.makedirs(self.dir, exist_ok=True)
        self.files = self.said = self.right = self.utterances = self.whole = 0

    def _file(self, who):
        self.files += 1
        return os.path.join(self.dir, f"{self.files:03d}-{who}.wav")

    def assistant(self, ssml):
        """Speaks what the assistant says; the wave file is its loudspeaker."""
        wave = self._file("assistant")
        subprocess.run(["espeak-ng", "-m", "-v", "en-gb", "-w", wave], input=ssml, text=True, check=True)
        if os.path.getsize(wave) < 5000:
            raise RuntimeError("nothing was to be heard of " + ssml)

    def hear(self, phrase, jsgf, again):
        """Speaks the technician's phrase and gives what the recogniser makes of it.
        Who was misheard says it again in another way."""
        voice, speed = VOICES[again % len(VOICES)]
        raw, wave = self._file("technician"), os.path.join(self.dir, "heard.wav")
        subprocess.run(["espeak-ng", "-v", voice, "-s", speed, "-a", "80", "-w", raw, phrase], check=True)
        subprocess.run(["sox", raw, "-r", "16000", "-b", "16", "-c", "1", wave, "pad", "0.3", "0.5"], check=True)
        with tempfile.NamedTemporaryFile("w", suffix=".jsgf") as grammar:
            grammar.write(jsgf)
            grammar.flush()
            heard = subprocess.run(
                ["pocketsphinx_continuous", "-infile", wave, "-jsgf", grammar.name, "-hmm", MODEL + "en-us",
                 "-dict", MODEL + "cmudict-en-us.dict", "-logfn", os.devnull],
                capture_output=True, text=True, check=True).stdout.strip().replace("\n", " ")
        self._count(phrase.split(), heard.split())
        return heard

    def _count(self, said, heard):
        match = difflib.SequenceMatcher(None, said, heard, autojunk=False)
        self.said += len(said)
        self.right += sum(block.size for block in match.get_matching_blocks())
        self.utterances += 1
        self.whole += said == heard
        if said != heard:
            print("said:", " ".join(said), "| heard:", " ".join(heard), file=sys.stderr)


class Conversation:
    def __init__(self, service, sound, job):
        self.service, self.sound, self.job = service, sound, job
        self.turns = 0

    def say(self, phrase, again=0):
        """Says one phrase, hears the answer."""
        self.turns += 1
        if self.turns > MOST_TURNS:
            raise RuntimeError("the conversation does not end")
        jsgf = self.service.call("speech.grammar", job=self.job, format="jsgf")["text"]
        heard = self.sound.hear(phrase, jsgf, again)
        reply = self.service.call("job.tell", job=self.job, text=heard, spoken=True)
        self.sound.assistant(reply["ssml"])
        return reply

    def tell(self, phrase, meant):
        """Says a reading and sees that it is kept as it was meant: meant is the test's
        choice, or None for a number, which is read back before it is kept."""
        reply = self.say(phrase)
        for again in range(1, 12):
            if reading_back(reply):
                listened = " ".join(reply["speech"].split())
                reply = self.say("yes") if heard_as(number_of(phrase), listened) else self.say("no " + phrase, again)
            elif meant and reply["understood"] and reply["understood"][-1].get("answer") != meant:
                self.say("scratch that", again)
                reply = self.say(phrase, again)
            elif not reply["understood"] and not reply["question"]:
                reply = self.say(phrase, again)  # it took something else for a command
            else:
                return reply
        return self.say("skip it")


def reading_back(reply):
    return reply["question"] is not None and "Right?" in reply["speech"]


def number_of(phrase):
    for unit in (" volts", " ohms", " amperes", " k"):
        phrase = phrase.removesuffix(unit)
    return phrase


def heard_as(said, speech):
    """Whether the read-back is the number meant: in its own words, or in thousandths."""
    if speech.startswith(said + " ") or " " + said + " " in " " + speech:
        return True
    words = said.split()
    if words[:2] == ["zero", "point"]:  # 0.02 V is read back as twenty millivolts
        digits = (words[2:] + ["zero"] * 3)[:3]
        thousandths = int("".join(str(SMALL.index(d)) for d in digits))
        return speech.startswith(whole(thousandths) + " milli")
    return False


def play(service, bench, sound):
    with urllib.request.urlopen(bench + "/job", timeout=60) as answer:
        opened = service.call("job.open", **json.load(answer))
    talk, reply, proven, fixed = Conversation(service, sound, opened["job"]), opened["reply"], [], False
    sound.assistant(reply["ssml"])
    while True:
        question = reply["question"]
        if question and "ready" in question["choices"]:
            reply = talk.say("ready")
        elif question and question["choices"]:
            reply = talk.say("the first")
        elif reply["conclusion"] and not fixed:
            proven = reply["conclusion"]["suspects"]
            reply, fixed = mend(talk, bench, proven)
        elif reply["next"]:
            test = reply["next"]
            shown = post(bench + "/measure", {"measure": test["measure"], "setup": test["setup"]})["answer"]
            if shown == "unsure":
                reply = talk.say("not sure")
            elif test["answers"]["kind"] == "choice":
                reply = talk.tell(SAYS.get(shown, str(shown).replace("_", " ")), shown)
            else:
                reply = talk.tell(reading(shown, test["answers"].get("unit")), None)
        else:
            break
    talk.say("close the job")
    return opened["job"], proven


def mend(talk, bench, suspects):
    """Mends one suspect after the other until the complaint is gone, and says it until
    it is understood."""
    reply = None
    for suspect in suspects:
        result = post(bench + "/repair", {"suspect": suspect})["result"]
        phrase = SAYS[result]
        if len(suspects) > 1:
            element = " ".join(whole(int(w)) if w.isdigit() else w for w in suspect.split(".")[0].split("_"))
            phrase = "replaced the " + element + " " + SAYS[result]
        for again in range(10):
            reply = talk.say(phrase, again)
            if reply["understood"]:
                break
        if result == "gone":
            return reply, True
    return reply, False


if __name__ == "__main__":
    ear = Sound()
    played, found = play(Service(sys.argv[1]), sys.argv[2], ear)
    print(played, *found)
    print(f"{ear.right} of {ear.said} words and {ear.whole} of {ear.utterances} utterances recognised right")
