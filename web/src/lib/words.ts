/** Small phrases that the page needs beside those that the server says. */
import type { Block, JobSaid, Word } from "./api";

export const WORD_SIGN: Record<Word, string> = {
  keep: "\u25C6",
  maybe: "\u25C7",
  drop: "\u2715",
  undecided: "\u00B7",
};

export const KIND: Record<Block["kind"], string> = {
  burst: "burst",
  sweep: "sweep",
  single: "single frame",
};

export function counted(count: number, one: string, many = `${one}s`): string {
  return `${count} ${count === 1 ? one : many}`;
}

/** A signed length as one reads it: "+0.12 mm". */
export function signed(value: number, digits = 2): string {
  const text = Math.abs(value).toFixed(digits);
  if (Number(text) === 0) return text;
  return `${value < 0 ? "\u2212" : "+"}${text}`;
}

const WORK: Record<JobSaid["kind"], string> = {
  demo: "Made-up outing",
  evening: "Working the outing",
  judge: "Judging",
  cover: "Placing the planes",
  merge: "Merging",
  patch: "Writing the patched picture of",
  depth: "Views in depth of",
  export: "Handing sightings on",
  finish: "Finishing",
  unload: "Unloading",
  verify: "Reading all originals again",
};

export function workTitle(job: JobSaid): string {
  return job.run ? `${WORK[job.kind]} ${job.run}` : WORK[job.kind];
}

const MONTHS =
  "January February March April May June July August September October November December".split(
    " ",
  );

export function monthName(month: number): string {
  return MONTHS[month - 1] ?? "";
}

/** "14 June 2031" from "2031-06-14"; as it is when it is no date. */
export function dayWords(day: string): string {
  const parts = /^(\d{4})-(\d{2})-(\d{2})$/.exec(day);
  if (!parts) return day || "no date";
  return `${Number(parts[3])} ${monthName(Number(parts[2]))} ${parts[1]}`;
}

/** A sentence as it stands on its own: a capital first, a full stop last. */
export function said(text: string): string {
  if (!text) return "";
  return `${text.charAt(0).toUpperCase()}${text.slice(1)}${/[.!?]$/.test(text) ? "" : "."}`;
}

/** The mark of a file that is gone. */
export const isGone = (rev: string) => rev === "0-0";

const BRING = "Plug the disk in, or bring back what was moved, and load the page anew. What was found still stands.";

/** Says that pictures are not where they were; "" while all are. */
export function goneWords(gone: number, of: number): string {
  if (!gone) return "";
  const which = gone === of && of > 1 ? "The pictures are" : of === 1 ? "The picture is" : `${gone} of ${of} pictures ${gone === 1 ? "is" : "are"}`;
  return `${which} not where the book noted ${gone === 1 ? "it" : "them"}. ${BRING}`;
}

/** The same where not all were looked at. */
export const SOME_GONE = `Pictures of this outing are not where the book noted them. ${BRING}`;
