// A corner in words: what it repeats with, the road, room to be wrong, what is seen, hands and pedals.
import type { ComponentChildren } from "preact";
import type { Desk } from "./desk";
import { spreadWords } from "./flags";
import { KerbCharts } from "./kerb-chart";
import { Rotation } from "./rotation";
import { say } from "./sentences";
import type { Corner, CornerWords, ReferenceTable } from "./view";

type Topic = "references" | "road" | "room" | "sight" | "hands";

/** What is possible stands beside the instructions: see sheet.tsx. */
const TOPICS: string[] = ["references", "road", "room", "sight", "hands"] satisfies Topic[];

/** The title of what is said of a corner. */
export function topicTitle({ view }: Desk, topic: string): string {
  return view.words.marks.topics.find(({ key }) => key === topic)?.title ?? "";
}

export function Topics({ desk, corner }: { desk: Desk; corner: Corner }) {
  const words = desk.view.words.corners[corner.id];
  const said = desk.view.words.marks.topics.filter((one): one is { key: Topic; title: string } => TOPICS.includes(one.key) && !!words?.[one.key as Topic]?.length);
  const tables = (words?.reference_tables ?? []).filter((table) => table.rows.length);
  if (!words || (!said.length && !tables.length)) return null;
  return (
    <div class="topics">
      {said.map(({ key, title }) => (
        <TopicWords key={key} desk={desk} words={words} topic={key} title={title}>
          {key === "road" && <KerbCharts desk={desk} corner={corner} />}
          {key === "hands" && <Rotation desk={desk} corner={corner} />}
        </TopicWords>
      ))}
      {tables.length > 0 && <Tables desk={desk} tables={tables} />}
    </div>
  );
}

interface TopicProps {
  desk: Desk;
  words: CornerWords;
  topic: Topic;
  title: string;
  children?: ComponentChildren;
}

/** The title that the guide gives a corner, or its number and name. */
export function cornerTitle(desk: Desk, corner: Corner): string {
  const words = desk.view.words.corners[corner.id];
  return say(words?.title, desk.system) || ["Corner", corner.id, corner.name].filter(Boolean).join(" ");
}

function TopicWords({ desk, words, topic, title, children }: TopicProps) {
  return (
    <div class="topic" data-topic={topic}>
      <h3>{title}</h3>
      {words[topic]!.map((text, i) => <p key={i}>{say(text, desk.system)}</p>)}
      {children}
    </div>
  );
}

function Tables({ desk, tables }: { desk: Desk; tables: ReferenceTable[] }) {
  return (
    <details class="actions references">
      <summary>How each action scatters about what it may be done on ({tables.length})</summary>
      <p class="soft">
        The shorter the bar, the better the action repeats with it. Filled bars cannot be told apart from the first;
        hollow ones are wider. The upright line is what {"\u00b1\u00a010\u00a0ms"} of timing makes.
      </p>
      {tables.map((table) => <Table key={table.action} desk={desk} table={table} />)}
    </details>
  );
}

const WIDE = 150;

function Table({ desk, table }: { desk: Desk; table: ReferenceTable }) {
  const most = Math.max(...table.rows.map((row) => row.scatter_m));
  return (
    <>
      <table role="table">
        <caption>
          {table.label}, {table.laps.length} laps
        </caption>
        <thead role="rowgroup">
          <tr role="row">
            <th role="columnheader" scope="col">done on</th>
            <th role="columnheader" scope="col">scatter</th>
            <th role="columnheader" scope="col" class="each">against the others</th>
          </tr>
        </thead>
        <tbody role="rowgroup">
          {table.rows.map((row, i) => (
            <tr role="row" key={i}>
              <th role="rowheader" scope="row">{say(row.text, desk.system)}</th>
              <td role="cell">{`\u00b1\u00a0${spreadWords(row.scatter_m, "offset", desk.system)}`}</td>
              <td role="cell" class="each">
                <svg class="dots" width={WIDE} height={14} viewBox={`0 0 ${WIDE} 14`} aria-hidden="true">
                  <rect class={row.as_good ? "scatter" : "scatter wider"} x={1} y={3} width={Math.max((row.scatter_m / most) * (WIDE - 4), 1)} height={8} />
                  {row.scatter_s > 0 && <path class="median" d={`M${1 + (((table.human_s / row.scatter_s) * row.scatter_m) / most) * (WIDE - 4)} 1v12`} />}
                </svg>
                <span class="unseen">{row.as_good ? "as good as the first" : "wider"}</span>
              </td>
            </tr>
          ))}
        </tbody>
      </table>
      {table.time && <p class="unknown">{say(table.time, desk.system)}</p>}
    </>
  );
}
