// The guide's captions, moved to where the lap begins in the reader's video.

/** WebVTT of one lap, which begins at `begins_s` of it, and where the video is thought to begin the lap. */
export interface VideoCaptions {
  lap: string;
  offset_s: number;
  begins_s: number;
  vtt: string;
}

export interface Timed {
  start: number;
  end: number;
  text: string;
}

const TIMES = /^(\S+) --> (\S+)/;

/** The cues of a WebVTT text: blocks with a line of times; everything else is no cue. */
export function readCues(vtt: string): Timed[] {
  return vtt.split(/\n{2,}/).flatMap((block) => {
    const lines = block.split("\n");
    const row = lines.findIndex((line) => TIMES.test(line));
    if (row < 0) return [];
    const [, start, end] = TIMES.exec(lines[row]!)!;
    return [{ start: seconds(start!), end: seconds(end!), text: lines.slice(row + 1).join("\n") }];
  });
}

function seconds(stamp: string): number {
  return stamp.split(":").reduce((sum, part) => 60 * sum + Number(part), 0);
}

/** Cues in the time of a video in which the lap begins at `offset`; what ends before the video is left out. */
export function moveCues({ vtt, begins_s }: VideoCaptions, offset: number): Timed[] {
  const move = offset - begins_s;
  return readCues(vtt)
    .map(({ start, end, text }) => ({ start: Math.max(start + move, 0), end: end + move, text }))
    .filter((cue) => cue.end > 0);
}

/** Put other cues into a track. */
export function fillTrack(track: TextTrack, cues: Timed[]): void {
  for (const cue of [...(track.cues ?? [])]) track.removeCue(cue);
  for (const { start, end, text } of cues) track.addCue(new VTTCue(start, end, text));
}
