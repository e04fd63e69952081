/** A sighting as it is typed, and as the book is asked to write it. */
import type { PictureAsked, SightingAsked, SightingSaid } from "./records";

export interface Draft {
  name: string;
  certainty: SightingSaid["certainty"];
  observer: string;
  determined_by: string;
  life_stage: string;
  sex: string;
  count: number;
  behaviour: string;
  plant: string;
  note: string;
  locality: string;
  country: string;
  sensitive: boolean;
  evidence: PictureAsked[];
  day: string;
  time: string;
  zone: string;
  how: "as" | "none" | "exif" | "track" | "hand";
  latitude: string;
  longitude: string;
  within: string;
  datum: string;
  track: string;
  track_name: string;
  another: boolean;
}

export const PLACE_SIGN = { exact: "\u25CF", vague: "\u25CC", none: "\u2013" } as const;
export const CERTAIN: Record<SightingSaid["certainty"], string> = {
  certain: "",
  likely: "likely",
  unsure: "not sure",
};

/** "2031-06-14T18:04:12+01:00" in three parts; hour and zone may be missing. */
export function momentParts(when: string): { day: string; time: string; zone: string } {
  const parts =
    /^(\d{4}-\d{2}-\d{2})(?:T(\d{2}:\d{2}(?::\d{2})?)(?:\.\d+)?(Z|[+-]\d{2}:\d{2})?)?$/.exec(when);
  return {
    day: parts?.[1] ?? "",
    time: parts?.[2] ?? "",
    zone: parts?.[3] === "Z" ? "+00:00" : (parts?.[3] ?? ""),
  };
}

export function blank(observer: string, evidence: PictureAsked[]): Draft {
  return {
    name: "", certainty: "certain", observer, determined_by: "", life_stage: "", sex: "",
    count: 1, behaviour: "", plant: "", note: "", locality: "", country: "", sensitive: false,
    evidence, day: "", time: "", zone: "", how: evidence.length ? "exif" : "none", latitude: "",
    longitude: "", within: "", datum: "", track: "", track_name: "", another: false,
  };
}

/** What was said before, ready to be changed. */
export function draftOf(row: SightingSaid): Draft {
  return {
    ...blank(row.observer, []),
    name: row.name, certainty: row.certainty, determined_by: row.determined_by,
    life_stage: row.life_stage, sex: row.sex, count: row.count, behaviour: row.behaviour,
    plant: row.plant, note: row.note, locality: row.locality, country: row.country,
    sensitive: row.sensitive,
    evidence: row.evidence.map(({ kind, outing, name }) => ({ kind, outing, name })),
    ...momentParts(row.when),
    how: "as",
  };
}

function number(words: string): number | null {
  const text = words.trim().replace(",", ".");
  return text === "" || !Number.isFinite(Number(text)) ? null : Number(text);
}

/** The point that is being typed, once it is one. */
export function point(draft: Draft): { latitude_deg: number; longitude_deg: number } | null {
  const [latitude_deg, longitude_deg] = [number(draft.latitude), number(draft.longitude)];
  if (draft.how !== "hand" || latitude_deg === null || longitude_deg === null) return null;
  if (Math.abs(latitude_deg) > 90 || Math.abs(longitude_deg) > 180) return null;
  return { latitude_deg, longitude_deg };
}

/** What the book is asked to write; the place is left out where it stays as it is. */
export function askedOf(draft: Draft): SightingAsked {
  const when = draft.day && draft.time ? `${draft.day}T${draft.time}` : draft.day;
  const asked: SightingAsked = {
    name: draft.name, certainty: draft.certainty, observer: draft.observer,
    determined_by: draft.determined_by || draft.observer, life_stage: draft.life_stage,
    sex: draft.sex, count: draft.count, behaviour: draft.behaviour, plant: draft.plant,
    note: draft.note, locality: draft.locality, country: draft.country,
    sensitive: draft.sensitive, evidence: draft.evidence, when: when || null,
    time_zone: draft.zone.trim() || null, clock_s: 0, another: draft.another,
  };
  if (draft.how === "as") return asked;
  return {
    ...asked,
    place: {
      how: draft.how,
      track: draft.how === "track" ? draft.track : null,
      track_name: draft.track_name || "track.gpx",
      latitude_deg: number(draft.latitude),
      longitude_deg: number(draft.longitude),
      within_m: draft.how === "hand" ? number(draft.within) : null,
      datum: draft.datum.trim() || null,
    },
  };
}

/** The hour of a moment, empty where only the day is known. */
export function clock(when: string): string {
  return momentParts(when).time.slice(0, 5);
}

/** A place in words, as exactly as the book has it. */
export function placeWords(row: SightingSaid): string {
  const where = row.where;
  if (!where) return row.locality || "no place";
  const within = where.uncertainty_m;
  const error = within === null ? "" : ` within ${Math.round(within)} m`;
  return `${where.latitude_deg.toFixed(5)}, ${where.longitude_deg.toFixed(5)}${error}`;
}
