// A corner's sheet read aloud by the browser, where it can speak.
import { useEffect, useState } from "preact/hooks";
import { useDesk } from "./desk";
import { say } from "./sentences";
import type { Corner } from "./view";

/** What is read just now: one corner at a time. */
let stopOther: (() => void) | null = null;

export function ReadAloud({ corner }: { corner: Corner }) {
  const { view, system } = useDesk();
  const [speaking, setSpeaking] = useState(false);
  const words = view.words.corners[corner.id];
  useEffect(() => () => stopOther?.(), []);
  if (!words || !("speechSynthesis" in window)) return null;
  const stop = () => {
    stopOther = null;
    speechSynthesis.cancel();
    setSpeaking(false);
  };
  const start = () => {
    stopOther?.();
    const said = [words.title, words.why, ...words.instructions].map((text) => say(text, system)).filter(Boolean);
    said.forEach((text, i) => {
      const part = new SpeechSynthesisUtterance(text);
      part.lang = document.documentElement.lang;
      part.onerror = stop;
      if (i === said.length - 1) part.onend = stop;
      speechSynthesis.speak(part);
    });
    stopOther = stop;
    setSpeaking(true);
  };
  return (
    <button type="button" class="aloud" aria-pressed={speaking} onClick={speaking ? stop : start}>
      {speaking ? "stop reading" : "read aloud"}
    </button>
  );
}
