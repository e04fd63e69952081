/** Geometry of the plan's drawing, and how its numbers are written; the numbers are the server's. */
import type { Drawn } from "./api";

export type Answer = Record<string, unknown>;
type Place = Drawn["track"][number];

/** Takes a number or word from an answer by its key: "flash.power". */
export function at(answer: Answer, key: string): unknown {
  let value: unknown = answer;
  for (const part of key.split("."))
    value = value !== null && typeof value === "object" ? (value as Answer)[part] : undefined;
  return value;
}

const STEPS = [1, 1.25, 1.6, 2, 2.5, 3.2, 4, 5, 6.3, 8];

/** The next smaller of few scales, so that a drawing seldom jumps while its handles move. */
export function calmScale(perMm: number): number {
  if (!(perMm > 0)) return 0.01;
  const tens = 10 ** Math.floor(Math.log10(perMm));
  const step = [...STEPS].reverse().find((one) => one * tens <= perMm * (1 + 1e-9));
  return (step ?? 1) * tens;
}

/** A round length for a scale bar that is at most `px` wide. */
export function barLength(perMm: number, px: number): number {
  const most = px / perMm;
  const tens = 10 ** Math.floor(Math.log10(most));
  return ([5, 2, 1].find((one) => one * tens <= most) ?? 1) * tens;
}

/** Where the lens stands at a magnification, between the places that the server gave. */
export function placeAt(track: Place[], magnification: number): Place {
  return between(track, (one) => one.magnification, magnification);
}

/** What the lens shows when its glass is so far away. */
export function magnificationAt(track: Place[], glassMm: number): number {
  return between([...track].reverse(), (one) => one.glass_mm, glassMm).magnification;
}

function between(track: Place[], by: (place: Place) => number, value: number): Place {
  const after = track.findIndex((one) => by(one) >= value);
  const high = track[after === -1 ? track.length - 1 : after] as Place;
  const low = track[Math.max(after === -1 ? track.length - 1 : after - 1, 0)] as Place;
  const span = by(high) - by(low);
  const part = span > 0 ? Math.min(Math.max((value - by(low)) / span, 0), 1) : 0;
  const mix = (a: number, b: number) => a + part * (b - a);
  return {
    magnification: mix(low.magnification, high.magnification),
    glass_mm: mix(low.glass_mm, high.glass_mm),
    pupil_mm: mix(low.pupil_mm, high.pupil_mm),
  };
}

/** The marked f-number whose opening is nearest to a width. */
export function stopAt(openings: Drawn["openings"], widthMm: number): number {
  const far = (one: Drawn["openings"][number]) =>
    Math.abs(Math.log(one.width_mm / Math.max(widthMm, 0.01)));
  return openings.reduce((best, one) => (far(one) < far(best) ? one : best)).f_number;
}

/** The mark so many steps further on the ring. */
export function stopBeside(openings: Drawn["openings"], fNumber: number, steps: number): number {
  const near = (one: Drawn["openings"][number]) => Math.abs(Math.log(one.f_number / fNumber));
  const at = openings.reduce((best, one, k) => (near(one) < near(openings[best]!) ? k : best), 0);
  return openings[Math.min(Math.max(at + steps, 0), openings.length - 1)]!.f_number;
}

/** The flash's place one power step nearer (-1) or farther (+1) than where it stands. */
export function powerBeside(places: Drawn["flash_places"], mm: number, steps: 1 | -1): number {
  const beyond = places.filter((one) =>
    steps > 0 ? one.distance_mm > mm * 1.001 : one.distance_mm < mm / 1.001,
  );
  return (steps > 0 ? beyond[0] : beyond.at(-1))?.distance_mm ?? mm;
}

/** A length as a hand can set it: two figures. */
export function rounded(value: number, figures = 2): number {
  return Number(value.toPrecision(figures));
}

/** A number with so many figures, never as a power of ten; none: a dash. */
export function figures(value: unknown, digits = 2): string {
  if (typeof value !== "number" || !Number.isFinite(value)) return "\u2013";
  if (value === 0) return "0";
  const places = Math.max(0, digits - 1 - Math.floor(Math.log10(Math.abs(value))));
  const text = Number(value.toPrecision(digits)).toFixed(Math.min(places, 6));
  return (text.includes(".") ? text.replace(/\.?0+$/, "") : text).replace("-", "\u2212");
}

/** A time as on the dial: "1/200 s". */
export function seconds(value: unknown): string {
  if (typeof value !== "number") return "\u2013";
  return value < 0.3 ? `1/${figures(1 / value, value < 0.001 ? 2 : 4)} s` : `${figures(value)} s`;
}

/** Stops over or under. */
export function stops(value: unknown): string {
  if (typeof value !== "number") return "\u2013";
  const size = Math.abs(value).toFixed(1);
  if (size === "0.0") return "even";
  return `${size} ${size === "1.0" ? "stop" : "stops"} ${value > 0 ? "over" : "under"}`;
}

/** A chance, never as sure. */
export function chance(value: unknown): string {
  if (typeof value !== "number") return "\u2013";
  if (value > 0.99) return "> 99 %";
  return value < 0.01 ? "< 1 %" : `${Math.round(100 * value)} %`;
}

/** A share of full power as the dial shows it, by whole and third stops. */
export function power(value: unknown): string {
  if (typeof value !== "number") return "\u2013";
  const low = Math.log2(value);
  const whole = Math.floor(low + 0.02);
  const third = Math.round(3 * (low - whole));
  const base = whole >= 0 ? "full" : `1/${2 ** -whole}`;
  return third > 0 && third < 3 ? `${base} +${third}/3` : base;
}
