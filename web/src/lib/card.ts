/** A card's days, as they lie on it, in the book and on the second disk. */
import type { CardHere, Visit } from "./api";

export interface Stratum {
  day: string;
  files: number;
  bytes: number;
  first: number;
  second: number;
  bad: number;
}

/** Joins what lies on the card now with what the book took of it: the larger count of files wins. */
export function strata(card: CardHere | undefined, visit: Visit | undefined): Stratum[] {
  const found = new Map<string, Stratum>();
  for (const day of card?.days ?? [])
    found.set(day.day, { ...day, first: visit ? 0 : day.first, second: 0, bad: 0 });
  for (const day of visit?.days ?? []) {
    const there = found.get(day.day);
    // a card that holds less than was unloaded is another one, or was emptied: what is there counts
    if (card && !there) continue;
    found.set(day.day, {
      day: day.day,
      files: there?.files ?? day.files,
      bytes: there?.bytes ?? day.bytes,
      first: Math.min(day.first, there?.files ?? day.first),
      second: Math.min(day.second, there?.files ?? day.second),
      bad: day.bad,
    });
  }
  return [...found.values()].sort((a, b) => a.day.localeCompare(b.day));
}

/** How thick a day is drawn: by its bytes, never too thin to be read. */
export function thickness(bytes: number, total: number, count: number): number {
  const room = Math.max(240, 34 * count);
  return Math.round(Math.max(30, (room * bytes) / Math.max(total, 1)));
}

export function megabytes(bytes: number): string {
  if (bytes >= 1e9) return `${(bytes / 1e9).toFixed(1)} GB`;
  return `${(bytes / 1e6).toFixed(bytes < 1e7 ? 1 : 0)} MB`;
}

const SHORT: Record<Visit["verdict"]["code"], string> = {
  "safe-to-format": "every file twice, on two disks",
  "safe-to-empty": "every file twice, one of them on the card's own disk",
  "two-copies": "every file twice",
  "one-copy": "every file, on one disk",
  keep: "not all of it",
};

/** What the book holds of a card that may lie elsewhere by now; only the card itself may be called safe. */
export function held(visit: Visit): string {
  return SHORT[visit.verdict.code];
}

export function isSafe(code: Visit["verdict"]["code"] | undefined): boolean {
  return code === "safe-to-format" || code === "safe-to-empty";
}

/** The last part of a folder's name. */
export function lastPart(path: string): string {
  return path.split(/[\\/]/).filter((part) => part).at(-1) ?? path;
}

/** How long it will go on, in words, from what was done since it was first seen; "" while unknown. */
export function timeLeft(done: number, total: number, since: { done: number; seconds: number }): string {
  const rate = (done - since.done) / since.seconds;
  if (since.seconds < 2 || !(rate > 0) || done >= total) return "";
  const left = (total - done) / rate;
  if (left < 90) return `about ${Math.max(5, 5 * Math.round(left / 5))} s left`;
  return `about ${Math.round(left / 60)} min left`;
}
