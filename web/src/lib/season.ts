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

/** A month of the calendar, or two and more in which nobody was out, newest first. */
export type Stretch = { months: [Month] | [Month, Month]; quiet: boolean };

const MOST = 24;

/** All months from the first outing to the last, newest first, quiet ones put together; two dozen rows at most. */
export function stretchesOf(days: string[]): Stretch[] {
  const known = new Set(
    days
      .map((day) => /^(\d{4})-(\d{2})-\d{2}$/.exec(day))
      .filter((parts) => parts !== null)
      .map((parts) => Number(parts[1]) * 12 + Number(parts[2]) - 1),
  );
  const month = (number: number): Month => {
    const [year, at] = [Math.floor(number / 12), (number % 12) + 1];
    return { year, month: at, days: new Date(Date.UTC(year, at, 0)).getUTCDate() };
  };
  const found: Stretch[] = [];
  let later: number | null = null;
  for (const out of [...known].sort((a, b) => b - a)) {
    const between: number = later === null ? 0 : later - out - 1;
    if (between === 1) found.push({ months: [month(out + 1)], quiet: false });
    if (between > 1) found.push({ months: [month(out + between), month(out + 1)], quiet: true });
    found.push({ months: [month(out)], quiet: false });
    later = out;
  }
  return found.slice(0, MOST);
}
