// The order of work: what to do first, on what evidence, and what it is worth.
import { useDesk } from "./desk";
import { say } from "./sentences";
import { sheetId } from "./sheet";
import { cornerTitle } from "./topics";
import type { Sentence, WorkItem } from "./view";

export function OrderOfWork() {
  const { view } = useDesk();
  const items = view.order_of_work;
  if (!items || (!items.length && !view.ledger)) return null;
  return (
    <section class="work" aria-labelledby="work-title">
      <h2 id="work-title">Order of work</h2>
      {items.length === 0 && <p class="soft">These laps support no item of work.</p>}
      <ol class="orders">
        {items.map((item, i) => <Item key={i} item={item} />)}
      </ol>
    </section>
  );
}

function Item({ item }: { item: WorkItem }) {
  const desk = useDesk();
  const { view, system } = desk;
  const corner = view.guide.corners.find((c) => c.id === item.corner);
  const join = (texts: (Sentence | null)[], mark: string) =>
    texts.map((text) => say(text, system).replace(/\.$/, "")).filter(Boolean).join(mark);
  const evidence = join([item.evidence, item.reference], "; ");
  const goal = join([item.goal, item.tolerance, item.so_far ?? null], ", ");
  return (
    <li>
      <p class="what">{say(item.what, system)}</p>
      {evidence && <p>{evidence.charAt(0).toUpperCase() + evidence.slice(1)}.</p>}
      {goal && <p>Goal: {goal}.</p>}
      <p class="soft">
        {corner && <a href={`#${sheetId(corner)}`}>{cornerTitle(desk, corner)}</a>}
        {item.worth && ` · ${say(item.worth, system)}`}
      </p>
    </li>
  );
}
