// A corner's sheet read aloud by the browser, where it can speak.
import { useEffect, useState } from "preact/hooks";
import { useDesk } from "./desk";
import { say } from "./sentences";
import type { Corner } from "./view";

/** What is read just now: one corner at a time. */
let stopOther: (() => void) | null = null;

export function ReadAloud({ corner }: { corner: Corner }) {
  const { view, system } = useDesk();
  const voice = useVoice();
  const [state, setState] = useState<"silent" | "speaks" | "waits">("silent");
  const words = view.words.corners[corner.id];
  useEffect(() => () => stopOther?.(), []);
  if (!words || !voice) return null;
  const stop = () => {
    stopOther = null;
    speechSynthesis.cancel();
    setState("silent");
  };
  const start = () => {
    stopOther?.();
    // A voice that waits would keep what comes next waiting.
    speechSynthesis.resume();
    const said = [words.title, words.why, ...words.instructions].map((text) => say(text, system));
    const parts = [...said, ...corner.notes].filter(Boolean).map((text) => partOf(text, voice));
    // What is cancelled reports an error of its own, when another corner may be read already.
    const ifStill = () => stopOther === stop && stop();
    for (const part of parts) part.onerror = ifStill;
    parts[parts.length - 1]!.onend = ifStill;
    stopOther = stop;
    setState("speaks");
    for (const part of parts) speechSynthesis.speak(part);
  };
  const wait = () => {
    if (state === "waits") speechSynthesis.resume();
    else speechSynthesis.pause();
    setState(state === "waits" ? "speaks" : "waits");
  };
  const on = state !== "silent";
  return (
    <div class="reader">
      <button type="button" class="aloud" aria-pressed={on} onClick={on ? stop : start}>
        {on ? "stop reading" : "read aloud"}
      </button>
      {on && <button type="button" onClick={wait}>{state === "waits" ? "go on" : "pause"}</button>}
    </div>
  );
}

function partOf(text: string, voice: SpeechSynthesisVoice): SpeechSynthesisUtterance {
  const part = new SpeechSynthesisUtterance(text);
  part.lang = document.documentElement.lang;
  part.voice = voice;
  return part;
}

/** A voice of this machine for the page's language: others would be sent the words. */
function findVoice(): SpeechSynthesisVoice | null {
  const primary = (tag: string) => tag.toLowerCase().split(/[-_]/)[0];
  const fits = speechSynthesis
    .getVoices()
    .filter(({ localService, lang }) => localService && primary(lang) === primary(document.documentElement.lang));
  return fits.find((voice) => voice.default) ?? fits[0] ?? null;
}

function useVoice(): SpeechSynthesisVoice | null {
  const [voice, setVoice] = useState<SpeechSynthesisVoice | null>(null);
  useEffect(() => {
    if (!("speechSynthesis" in window)) return;
    const look = () => setVoice(findVoice());
    look();
    speechSynthesis.addEventListener("voiceschanged", look);
    return () => speechSynthesis.removeEventListener("voiceschanged", look);
  }, []);
  return voice;
}
