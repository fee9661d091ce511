// Reads the guide out of its page and draws it in place of the plain form.
import { render } from "preact";
import { useCallback, useEffect, useMemo, useRef, useState } from "preact/hooks";
import { Bar } from "./bar";
import { Behind } from "./behind";
import { cursor, DeskContext, isLapKey, lapIn, lapKey, moveCursor, type Choice, type Desk } from "./desk";
import { LedgerSection } from "./ledger";
import { Opening } from "./opening";
import { PossibleSection } from "./possible";
import { SaidPart } from "./said";
import { Sheet, sheetId } from "./sheet";
import { readView } from "./unpack";
import { VideoSection } from "./video";
import type { View } from "./view";
import "./main.css";

function useDeskState(view: View): Desk {
  const [choice, setChoice] = useState<Choice>({
    units: view.units.chosen,
    shown: view.pictures.chosen_lap,
    against: view.pictures.compare_lap,
    held: firstHeld(view),
  });
  const choose = useCallback((change: Partial<Choice>) => setChoice((old) => chosen(old, change)), []);
  return useMemo(
    () => ({ ...choice, view, system: view.units.systems[choice.units]!, choose }),
    [view, choice, choose],
  );
}

/** The ledger's first choice where it has an account, or the lap that the guide compares with. */
function firstHeld({ ledger, pictures }: View): string | null {
  const first = ledger?.against[0]?.key;
  if (ledger?.accounts.some((a) => a.lap === pictures.chosen_lap && a.against === first)) return first ?? null;
  return pictures.compare_lap === null ? null : lapKey(pictures.compare_lap);
}

function chosen(old: Choice, change: Partial<Choice>): Choice {
  const next = { ...old, ...change };
  const { held } = change;
  if (held !== undefined) {
    if (held === null) next.against = null;
    else if (isLapKey(held)) next.against = lapIn(held);
  }
  // A lap cannot be held against itself: the two change places.
  if (next.against === next.shown) next.against = change.shown !== undefined ? old.shown : null;
  if (next.held !== null && isLapKey(next.held)) next.held = next.against === null ? null : lapKey(next.against);
  return next;
}

/** Draw the sheets one after another, so that the opening stands at once. */
function useStaged(count: number): number {
  const [ready, setReady] = useState(0);
  useEffect(() => {
    if (ready < count) {
      const timer = setTimeout(() => setReady(ready + 1));
      return () => clearTimeout(timer);
    }
    document.documentElement.dataset["drawn"] = "all";
    performance.mark("drawn");
    return undefined;
  }, [ready, count]);
  return ready;
}

function Page({ view }: { view: View }) {
  const desk = useDeskState(view);
  const { corners } = view.guide;
  const ready = useStaged(corners.length);
  // The same nodes each time: a sheet draws itself again only when the desk changes.
  const sheets = useMemo(() => corners.map((corner) => <Sheet key={corner.id} corner={corner} />), [corners]);
  const [current, setCurrent] = useState(-1);
  // Keys may come faster than the page is drawn: they count from here, not from what is drawn.
  const latest = useRef(-1);
  // What a smooth scroll passes on its way to a corner is not where the reader goes.
  const onTheWay = useRef(false);
  const settle = useCallback((index: number) => setCurrent((latest.current = index)), []);
  const go = useCallback(
    (index: number) => {
      const corner = corners[Math.max(-1, Math.min(index, corners.length - 1))];
      const section = document.getElementById(corner ? sheetId(corner) : "top");
      onTheWay.current = true;
      section?.scrollIntoView();
      section?.querySelector<HTMLElement>("h1, h2")?.focus({ preventScroll: true });
      settle(corner ? corners.indexOf(corner) : -1);
    },
    [corners, settle],
  );
  useEffect(() => {
    const seen = () => onTheWay.current || settle(sheetInView(corners.length));
    const arrived = () => (onTheWay.current = false);
    addEventListener("scroll", seen, { passive: true });
    for (const name of ARRIVALS) addEventListener(name, arrived, { passive: true });
    return () => {
      removeEventListener("scroll", seen);
      for (const name of ARRIVALS) removeEventListener(name, arrived);
    };
  }, [corners, settle]);
  useKeys(view, latest, go);
  return (
    <DeskContext.Provider value={desk}>
      <Hatches />
      <Bar current={current} go={go} />
      <main>
        <Opening />
        <VideoSection />
        <SaidPart topic="stints" />
        <LedgerSection />
        <PossibleSection />
        <SaidPart topic="sight" />
        {sheets.slice(0, ready)}
        <Behind />
        <footer>
          <p>
            Keys: j and k go to the next and the previous corner; the arrows left and right move the cursor, with
            shift in larger steps; a cause of the ledger leads to its place on the road.
          </p>
        </footer>
      </main>
    </DeskContext.Provider>
  );
}

/** The end of a scroll, or the reader's own hand in it. */
const ARRIVALS = ["scrollend", "wheel", "touchmove", "pointerdown"];

/** The last sheet that begins above the upper third of the window. */
function sheetInView(count: number): number {
  const sheets = document.querySelectorAll(".sheet");
  let current = -1;
  for (let i = 0; i < Math.min(count, sheets.length); i++) {
    if (sheets[i]!.getBoundingClientRect().top < innerHeight / 3) current = i;
  }
  return current;
}

function useKeys(view: View, current: { current: number }, go: (index: number) => void): void {
  useEffect(() => {
    const press = (event: KeyboardEvent) => {
      const target = event.target as HTMLElement;
      if (event.ctrlKey || event.metaKey || event.altKey || /^(SELECT|INPUT|TEXTAREA)$/.test(target.tagName)) return;
      if (event.key === "j") go(Math.min(current.current + 1, view.guide.corners.length - 1));
      else if (event.key === "k") go(Math.max(current.current - 1, -1));
      else if (event.key === "ArrowLeft" || event.key === "ArrowRight") {
        const sign = event.key === "ArrowLeft" ? -1 : 1;
        const apex = view.guide.corners[Math.max(current.current, 0)]?.apex_m ?? 0;
        const place = cursor();
        moveCursor(place === null ? apex : place + sign * (event.shiftKey ? 10 : 1));
        event.preventDefault();
      }
    };
    addEventListener("keydown", press);
    return () => removeEventListener("keydown", press);
  }, [view, current, go]);
}

/** Hatchings that every picture uses. */
function Hatches() {
  return (
    <svg class="hatches" width="0" height="0" aria-hidden="true">
      <pattern id="kerbhatch" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">
        <rect class="kerbground" width="6" height="6" />
        <rect class="kerbline" width="2.4" height="6" />
      </pattern>
      <pattern id="lackhatch" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">
        <rect class="lackline" width="1" height="7" />
      </pattern>
      <pattern id="gainhatch" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">
        <rect class="gainground" width="5" height="5" />
        <rect class="gainline" width="2" height="5" />
      </pattern>
      <pattern id="presshatch" width="5" height="5" patternUnits="userSpaceOnUse">
        <rect class="loadline" width="5" height="1.2" />
      </pattern>
      <pattern id="lighthatch" width="7" height="7" patternUnits="userSpaceOnUse">
        <circle class="loadline" cx="2" cy="2" r="1.1" />
      </pattern>
      <pattern id="turnhatch" width="4" height="4" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">
        <rect class="turnline" width="1.3" height="4" />
      </pattern>
      <pattern id="veilhatch" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(-45)">
        <rect class="veilline" width="1.4" height="6" />
      </pattern>
    </svg>
  );
}

async function start(root: HTMLElement): Promise<void> {
  try {
    const view = await readView();
    root.replaceChildren();
    performance.mark("read");
    render(<Page view={view} />, root);
    performance.mark("opened");
  } catch (reason) {
    const words = document.createElement("p");
    words.className = "failed";
    words.textContent = `The pictures could not be drawn (${String(reason)}). This is the guide in plain form; a newer browser may draw it.`;
    root.prepend(words);
  }
}

const root = document.getElementById("guide");
if (root) void start(root);
