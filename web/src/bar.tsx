// The bar that stays: corner before and after, lap, against, units, light or dark.
import { useState } from "preact/hooks";
import { isLapKey, lapKey, lapOf, useDesk } from "./desk";
import { cornerTitle } from "./topics";

interface Props {
  /** Number of the sheet in view, -1 on the opening. */
  current: number;
  go: (index: number) => void;
}

/** Go to a part of the opening; reading goes on from there. */
export function jump(id: string): void {
  const section = document.getElementById(id);
  section?.scrollIntoView();
  section?.querySelector<HTMLElement>("h2")?.focus({ preventScroll: true });
}

export function Bar({ current, go }: Props) {
  const desk = useDesk();
  const { corners } = desk.view.guide;
  return (
    <nav class="bar" aria-label="the guide">
      <div class="steps">
        <button type="button" aria-label="previous corner" onClick={() => go(current - 1)} disabled={current < 0}>
          ‹
        </button>
        <select
          aria-label="corner"
          value={String(current)}
          onChange={(event) => {
            const { value } = event.currentTarget;
            if (Number.isNaN(Number(value))) jump(value);
            else go(Number(value));
          }}
        >
          <option value="-1">Opening</option>
          {desk.view.ledger && <option value="ledger">Where the time went</option>}
          {desk.view.words.possible && <option value="possible">What is possible</option>}
          {corners.map((corner, i) => (
            <option key={corner.id} value={String(i)}>
              {cornerTitle(desk, corner)}
            </option>
          ))}
        </select>
        <button type="button" aria-label="next corner" onClick={() => go(current + 1)} disabled={current >= corners.length - 1}>
          ›
        </button>
      </div>
      <Laps />
      <div class="looks">
        <Units />
        <Theme />
      </div>
    </nav>
  );
}

function Laps() {
  const desk = useDesk();
  return (
    <div class="which">
      <label>
        <span>lap</span>
        <select value={desk.shown} onChange={(event) => desk.choose({ shown: event.currentTarget.value })}>
          <LapOptions />
        </select>
      </label>
      <label>
        <span>against</span>
        <select
          value={desk.held ?? ""}
          onChange={(event) => desk.choose({ held: event.currentTarget.value || null })}
        >
          <AgainstOptions />
        </select>
      </label>
    </div>
  );
}

export function LapOptions() {
  const desk = useDesk();
  const laps = desk.view.guide.laps.filter((lap) => lap.used && lapOf(desk, lap.id));
  return (
    <>
      {laps.map((lap) => <option key={lap.id} value={lap.id}>{lap.number}</option>)}
    </>
  );
}

/** Everything that a lap can be held against: what the ledger offers, then the other laps. */
export function AgainstOptions() {
  const desk = useDesk();
  const offered = (desk.view.ledger?.against ?? []).filter((one) => !isLapKey(one.key));
  const laps = desk.view.guide.laps.filter((lap) => lap.used && lap.id !== desk.shown && lapOf(desk, lap.id));
  return (
    <>
      <option value="">nothing</option>
      {offered.map((one) => <option key={one.key} value={one.key}>{one.label}</option>)}
      {laps.map((lap) => <option key={lap.id} value={lapKey(lap.id)}>lap {lap.number}</option>)}
    </>
  );
}

function Units() {
  const desk = useDesk();
  const names = Object.keys(desk.view.units.systems);
  if (names.length < 2) return null;
  return (
    <select
      aria-label="units"
      value={Object.entries(desk.view.units.systems).find(([, system]) => system === desk.system)?.[0] ?? ""}
      onChange={(event) => desk.choose({ units: event.currentTarget.value })}
    >
      {names.map((name) => <option key={name} value={name}>{desk.view.units.systems[name]!.name}</option>)}
    </select>
  );
}

function Theme() {
  const [dark, setDark] = useState(() => matchMedia("(prefers-color-scheme: dark)").matches);
  const turn = () => {
    document.documentElement.dataset["theme"] = dark ? "light" : "dark";
    setDark(!dark);
  };
  return (
    <button type="button" class="theme" onClick={turn}>
      {dark ? "light" : "dark"}
    </button>
  );
}
