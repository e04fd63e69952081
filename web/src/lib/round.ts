/** A round of the bench in five steps, each at a real thing on a real view. */
import type { OutingSaid } from "./api";
import type { Place } from "./place";

export interface Round {
  outing: number;
  burst: string | null;
  sweep: string | null;
}

export interface Step {
  /** what is pointed at */
  title: string;
  says: string;
  /** what a person may try there */
  tries: string;
  place: Partial<Place>;
  /** where it lies on the page */
  find: string;
}

/** The steps that an outing offers: without a burst or a sweep, theirs are left out. */
export function stepsOf({ outing, burst, sweep }: Round): Step[] {
  const steps: Step[] = [
    {
      title: "An outing is a strip of its day",
      says: "Each sign on it is a run: upright strokes are a burst, slanted ones a sweep, a dot is a single frame. A diamond above waits for your word.",
      tries: "Open the outing by its date.",
      place: {},
      find: `main .days a[href="#/${outing}"]`,
    },
    {
      title: "The evening, run after run",
      says: "Along the clock stands what haltere found: the best eye of a burst, the planes of a sweep with what they missed, the merged picture.",
      tries: "Walk with \u2193 and \u2191 and open a run with Enter, or click on it.",
      place: burst ? { outing, at: burst } : { outing },
      find: burst ? `main li:has(a[href="#/${outing}/${burst}"])` : "main ol li",
    },
  ];
  if (burst)
    steps.push({
      title: "A burst hangs where its planes lie",
      says: "Every crop is the same eye at one picture pixel a screen pixel. Left is in front of the eye, right behind it; within the shaded band it is sharp. What is faulty hangs below, with the fault.",
      tries: "Decide by k, m and d or by the buttons: keep, maybe, drop. u takes it back.",
      place: { outing, run: burst },
      find: "main .axis",
    });
  if (sweep)
    steps.push(
      {
        title: "A sweep is a ladder of planes",
        says: "Each bar is the depth that one frame holds, in order of time, near at the top. Hatched is animal that no frame holds: one more pass, if it still sits there.",
        tries: "Point at a bar or tap it: what is in focus in that frame lights up on the animal.",
        place: { outing, run: sweep },
        find: 'main section[aria-label="Planes over time"]',
      },
      {
        title: "The picture, and where to doubt it",
        says: "The sweep merged into one picture, down to its last pixel. Numbers mark the places to check first; maps of depth, origin and confidence can be laid over it.",
        tries: "Walk the places with \u2192, and lay the depth over it with 2.",
        place: { outing, run: sweep, open: "picture" },
        find: 'main [role="img"][aria-label^="The merged picture"]',
      },
    );
  return steps;
}

/** The round that an outing offers; null where nothing was worked yet. */
export function roundOf(outing: OutingSaid): Round | null {
  const first = (kind: string) => outing.runs.find((run) => run.kind === kind)?.id ?? null;
  if (!outing.runs.length) return null;
  return { outing: outing.id, burst: first("burst"), sweep: first("sweep") };
}

/** Which step a place belongs to; -1 where it is none of them. */
export function stepAt(steps: Step[], place: Place): number {
  return steps.findIndex(
    (step) =>
      !place.room &&
      (step.place.outing ?? null) === place.outing &&
      (step.place.run ?? null) === place.run &&
      (step.place.open === "picture") === (place.open === "picture"),
  );
}
