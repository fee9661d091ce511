// The bar that stays: corner before and after, lap, against, units, light or dark.
import { useState } from "preact/hooks";
import { lapOf, useDesk } from "./desk";
import { cornerTitle } from "./sheet";

interface Props {
  /** Number of the sheet in view, -1 on the opening. */
  current: number;
  go: (index: number) => void;
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
          onChange={(event) => go(Number(event.currentTarget.value))}
        >
          <option value="-1">Opening</option>
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
  const laps = desk.view.guide.laps.filter((lap) => lap.used && lapOf(desk, lap.id));
  return (
    <div class="which">
      <label>
        <span>lap</span>
        <select value={desk.shown} onChange={(event) => desk.choose({ shown: event.currentTarget.value })}>
          {laps.map((lap) => <option key={lap.id} value={lap.id}>{lap.number}</option>)}
        </select>
      </label>
      <label>
        <span>against</span>
        <select
          value={desk.against ?? ""}
          onChange={(event) => desk.choose({ against: event.currentTarget.value || null })}
        >
          <option value="">none</option>
          {laps
            .filter((lap) => lap.id !== desk.shown)
            .map((lap) => <option key={lap.id} value={lap.id}>{lap.number}</option>)}
        </select>
      </label>
    </div>
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
