// The cursor and a video of the lap follow each other.
import { useCallback, useRef } from "preact/hooks";
import { leadCursor, moveCursor, useCursor } from "./desk";
import { placeAt, timeAt, wrap } from "./places";
import type { Lap } from "./view";

/** The lap that the video shows, and the second of the video at which it begins. */
export interface Shown {
  lap: Lap;
  step: number;
  offset: number;
}

/** A video that came so close to where it was sent has arrived, s. */
const ARRIVED = 0.005;

/** Tie the cursor to a video; what is returned are the video's own handlers, and a way to send it to a place. */
export function useVideoCursor(video: { current: HTMLVideoElement | null }, shown: Shown, moved: (place: number | null) => void) {
  const latest = useRef({ shown, moved });
  latest.current = { shown, moved };
  // The cursor's last place that video and cursor agree on: it comes back as news and is none.
  const agreed = useRef<number | null>(null);
  // Where the video was sent and has not arrived; keys and pointers are faster than it.
  const wanted = useRef<number | null>(null);
  const sent = useRef<number | null>(null);

  const send = useCallback((second: number) => {
    sent.current = second;
    video.current!.currentTime = second;
  }, []);
  const seek = useCallback((place: number) => {
    const { lap, step, offset } = latest.current.shown;
    const player = video.current;
    if (!player || player.readyState < HTMLMediaElement.HAVE_METADATA) return;
    const second = offset + timeAt(lap, wrap(place, step * (lap.time.length - 1)), step);
    wanted.current = Math.min(Math.max(second, 0), player.duration || Infinity);
    if (!player.seeking) send(wanted.current);
  }, []);
  const lead = useCallback(() => {
    const { shown: { lap, step, offset }, moved } = latest.current;
    const place = placeAt(lap, video.current!.currentTime - offset, step);
    moved(place);
    if (place === null) return;
    agreed.current = place;
    moveCursor(place);
  }, []);
  useCursor((place) => {
    if (place === agreed.current) return;
    agreed.current = place;
    seek(place);
  });

  const onSeeked = useCallback(() => {
    const goal = wanted.current;
    if (goal !== null && Math.abs(video.current!.currentTime - goal) > ARRIVED && sent.current !== goal) {
      send(goal);
      return;
    }
    const arrived = goal !== null && Math.abs(video.current!.currentTime - goal) <= ARRIVED;
    wanted.current = null;
    if (!arrived) lead();
  }, []);
  const onPlay = useCallback(() => {
    leadCursor(true);
    const follow = () => {
      if (!video.current || video.current.paused) return;
      if (wanted.current === null) lead();
      requestAnimationFrame(follow);
    };
    follow();
  }, []);
  const onPause = useCallback(() => leadCursor(false), []);
  return { seek, handlers: { onSeeked, onPlay, onPause } };
}
