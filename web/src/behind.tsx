// On paper a corner's sheet is one page; what else is said of the corners stands behind them.
import { useDesk, usePaper } from "./desk";
import { say } from "./sentences";
import { Key } from "./sheet";
import { cornerTitle, Topics } from "./topics";

export function Behind() {
  const desk = useDesk();
  const { view, system } = desk;
  if (!usePaper()) return null;
  return (
    <section class="part behind">
      <h2>More of each corner</h2>
      <Key desk={desk} frame={null} all />
      {view.guide.corners.map((corner) => {
        const note = view.words.corners[corner.id]?.spread_note;
        return (
          <section key={corner.id}>
            <h3 class="whose">{cornerTitle(desk, corner)}</h3>
            {note && <p class="spreadnote">{say(note, system)}</p>}
            <Topics desk={desk} corner={corner} />
          </section>
        );
      })}
    </section>
  );
}
