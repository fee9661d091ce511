// A section that is words alone.
import { useDesk } from "./desk";
import { say } from "./sentences";

export function SaidPart({ topic }: { topic: "stints" | "sight" }) {
  const { view, system } = useDesk();
  const said = view.words[topic];
  if (!said || (!said.sentences.length && !said.why_null)) return null;
  return (
    <section class="part said" id={topic} aria-labelledby={`${topic}-title`}>
      <h2 id={`${topic}-title`} tabIndex={-1}>
        {said.title}
      </h2>
      {said.sentences.map((text, i) => <p key={i} class="partwords">{say(text, system)}</p>)}
      {said.why_null && <p class="empty">{say(said.why_null, system)}</p>}
    </section>
  );
}
