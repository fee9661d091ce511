// The opening page: who, what, when; the plan view; the laps; what is missing.
import { useDesk } from "./desk";
import { LapTable } from "./laps";
import { PlanView } from "./plan";
import { OrderOfWork } from "./work";
import { say, write } from "./sentences";

/** How a channel's unit came to be known, in words; the codes are those of guide.json. */
const HOW_KNOWN: Record<string, string> = {
  header: "unit from the file's header",
  mapping: "unit from the channel mapping",
  name: "unit from the channel's name",
  physics: "unit found from physics",
  assumed: "no unit given: the usual one assumed",
};

/** A fact of more letters takes a row of its own. */
const LONG = 64;

export function Opening() {
  const { view, system } = useDesk();
  const { words, guide } = view;
  return (
    <header class="opening" id="top">
      <h1 tabIndex={-1}>{words.title}</h1>
      <p class="lede">{say(words.lede, system)}</p>
      <div class="columns">
        <div class="first">
          <PlanView />
          <dl class="facts">
            {words.facts.map((fact) => (
              <div key={fact.label} class={say(fact.text, system).length > LONG ? "long" : ""}>
                <dt>{fact.label}</dt>
                <dd>{say(fact.text, system)}</dd>
              </div>
            ))}
          </dl>
        </div>
        <div class="beside">
          <OrderOfWork />
          <LapTable />
        </div>
        <div class="last">
          <Cautions texts={guide.cautions} />
          <Missing />
          <Unfit />
        </div>
      </div>
      <Log />
    </header>
  );
}

function Cautions({ texts }: { texts: string[] }) {
  if (!texts.length) return null;
  return (
    <section class="caution" aria-label="cautions">
      {texts.map((text, i) => <p key={i}>{text}</p>)}
    </section>
  );
}

function Missing() {
  const { view, system } = useDesk();
  if (!view.words.missing.length) return null;
  return (
    <section class="missing">
      <h2>What is missing, and what it costs</h2>
      <ul>
        {view.words.missing.map((text, i) => <li key={i}>{say(text, system)}</li>)}
      </ul>
    </section>
  );
}

/** The author's notes whose place the corners no longer have. */
function Unfit() {
  const { view, system } = useDesk();
  const unfit = view.words.notes?.unfit ?? [];
  if (!unfit.length) return null;
  return (
    <section class="missing unfit">
      <h2>Notes that no longer fit</h2>
      <ul>
        {unfit.map((text, i) => <li key={i}>{say(text, system)}</li>)}
      </ul>
    </section>
  );
}

/** How each channel was read, and what was mended. */
function Log() {
  const { view, system } = useDesk();
  const { channels = [], repairs = [] } = view.guide.recording ?? {};
  if (!channels.length && !repairs.length) return null;
  const delay = (s: number | null) => (s ? `, ${write(s, "time", system)} late` : "");
  return (
    <details class="log">
      <summary>How the log was read</summary>
      <ul>
        {channels.map((c, i) => (
          <li key={i}>
            {c.name.replaceAll("_", " ")} from “{c.original}”, {HOW_KNOWN[c.how_known] ?? c.how_known}
            {delay(c.delay_s)}
          </li>
        ))}
        {repairs.map((r, i) => (
          <li key={i}>
            mended: {r.channel}, {write(r.from_s, "time", system, 1)} to {write(r.to_s, "time", system, 1)}: {r.what}
          </li>
        ))}
      </ul>
    </details>
  );
}
