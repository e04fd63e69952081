/** Days and hours of a season, as the calendar and the strips draw them. */
import type { OutingSaid } from "./api";

/** Hour of the day of a moment as written, 0 to 24; the zone is the photographer's own. */
export function hourOf(moment: string): number {
  const parts = /T(\d{2}):(\d{2}):(\d{2})/.exec(moment);
  return parts ? Number(parts[1]) + Number(parts[2]) / 60 + Number(parts[3]) / 3600 : 0;
}

/** Moments of a strip in its own time: from the first exposure to the last, and a margin. */
export function outingSpan(outing: OutingSaid): { from: number; to: number } {
  const hours = outing.runs
    .flatMap((run) => [run.begins, run.ends])
    .filter((moment): moment is string => !!moment)
    .map(hourOf);
  if (!hours.length) return { from: 5, to: 21 };
  const length = Math.max(0.1, Math.max(...hours) - Math.min(...hours));
  return { from: Math.min(...hours) - 0.04 * length, to: Math.max(...hours) + 0.04 * length };
}

export function clockOf(hour: number): string {
  const minutes = Math.round(hour * 60);
  return `${String(Math.floor(minutes / 60)).padStart(2, "0")}:${String(minutes % 60).padStart(2, "0")}`;
}

export interface Month {
  year: number;
  month: number;
  days: number;
}

/** All months from the first outing to the last, newest first; at most two years of them. */
export function monthsOf(outings: OutingSaid[]): Month[] {
  const known = outings
    .map((one) => /^(\d{4})-(\d{2})-\d{2}$/.exec(one.day))
    .filter((parts) => parts !== null)
    .map((parts) => Number(parts[1]) * 12 + Number(parts[2]) - 1);
  if (!known.length) return [];
  const last = Math.max(...known);
  const first = Math.max(Math.min(...known), last - 23);
  return Array.from({ length: last - first + 1 }, (_, i) => {
    const [year, month] = [Math.floor((last - i) / 12), ((last - i) % 12) + 1];
    return { year, month, days: new Date(Date.UTC(year, month, 0)).getUTCDate() };
  });
}
