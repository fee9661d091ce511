// A video of the lap from the reader's own disk: it and the cursor follow each other.
import { useEffect, useRef, useState } from "preact/hooks";
import { fillTrack, moveCues, type VideoCaptions } from "./cues";
import { cursor, lapName, moveCursor, useDesk, type Desk } from "./desk";
import { timeAt } from "./places";
import { useVideoCursor } from "./video-cursor";
import type { Lap } from "./view";

export function VideoSection() {
  const desk = useDesk();
  const { captions, pictures } = desk.view;
  const lap = captions ? pictures.laps[captions.lap] : undefined;
  if (!captions || !lap) return null;
  return <Player desk={desk} captions={captions} lap={lap} />;
}

function Player({ desk, captions, lap }: { desk: Desk; captions: VideoCaptions; lap: Lap }) {
  const [url, setUrl] = useState<string | null>(null);
  const name = lapName(desk.view, captions.lap);
  const take = (file: File | undefined) => {
    if (url) URL.revokeObjectURL(url);
    setUrl(file ? URL.createObjectURL(file) : null);
  };
  return (
    <section class="watch" aria-labelledby="watch-title">
      <h2 id="watch-title">A video of {name}</h2>
      <p>
        <label>
          Video file{" "}
          <input type="file" accept="video/*" onChange={(event) => take(event.currentTarget.files?.[0])} />
        </label>
      </p>
      <p class="soft">It stays on this computer. Video and cursor follow each other; the captions are the guide's.</p>
      {url && <Watch key={url} url={url} desk={desk} captions={captions} lap={lap} name={name} />}
    </section>
  );
}

interface Watched {
  url: string;
  desk: Desk;
  captions: VideoCaptions;
  lap: Lap;
  name: string;
}

function Watch({ url, desk, captions, lap, name }: Watched) {
  const video = useRef<HTMLVideoElement>(null);
  const track = useRef<TextTrack | null>(null);
  const [offset, setOffset] = useState(captions.offset_s);
  const [marked, setMarked] = useState(false);
  const [outside, setOutside] = useState(false);
  const [failed, setFailed] = useState(false);
  const step = desk.view.pictures.step_m;
  const { handlers } = useVideoCursor(video, { lap, step, offset }, (place) => setOutside(place === null));
  useEffect(() => {
    track.current ??= video.current!.addTextTrack("captions", "Guide", "en");
    track.current.mode = "showing";
    fillTrack(track.current, moveCues(captions, offset));
  }, [captions, offset]);
  const begin = (second: number) => {
    setOffset(hundredths(second));
    setMarked(true);
  };
  const atLine = () => {
    begin(video.current!.currentTime);
    moveCursor(0);
  };
  const stepBy = (seconds: number) => {
    video.current!.pause();
    video.current!.currentTime = Math.max(video.current!.currentTime + seconds, 0);
  };
  const here = () => {
    const place = cursor();
    if (place !== null) begin(video.current!.currentTime - timeAt(lap, place, step));
  };
  return (
    <div class="player">
      <video ref={video} controls muted playsInline src={url} aria-label={`video of ${name}`}
        onError={() => setFailed(true)} {...handlers} />
      <p>
        <button type="button" aria-label="a frame back" onClick={() => stepBy(-FRAME_S)}>‹</button>{" "}
        <button type="button" aria-label="a frame on" onClick={() => stepBy(FRAME_S)}>›</button>{" "}
        <button type="button" onClick={atLine}>The car crosses the start line now</button>
      </p>
      <p>
        <label>
          The lap begins at{" "}
          <input type="number" step="0.05" value={offset}
            onInput={(event) => { setMarked(false); setOffset(event.currentTarget.valueAsNumber || 0); }} />
          {" "}s
        </label>{" "}
        <button type="button" onClick={here}>It shows the cursor's place now</button>
      </p>
      <p class="soft" role="status">
        {failed ? "This browser cannot play the file." : outside ? "The video is before or after the lap." : marked ? `The lap begins at ${offset.toFixed(2)}\u00a0s of the video.` : ""}
      </p>
    </div>
  );
}

/** A frame of most videos, s: the step in which the moment at the line is looked for. */
const FRAME_S = 0.04;

function hundredths(seconds: number): number {
  return Math.round(100 * seconds) / 100;
}
