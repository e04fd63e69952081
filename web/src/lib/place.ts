/** The address says where one is: #/1/run-02/f17?pins=17.18, #/plan?depth_mm=3, #/sightings/3 */

const ROOMS = ["plan", "unload", "sightings", "season", "hand"] as const;

export interface Place {
  /** a room of its own beside the outings; its words are in `said` */
  room: "" | (typeof ROOMS)[number];
  /** one thing of that room: a number, "new" */
  item: string;
  said: Record<string, string>;
  outing: number | null;
  run: string | null;
  frame: number | null;
  /** what of it is laid open */
  open: "" | "whole" | "together" | "picture";
  /** what is being done on it */
  as: string;
  /** a run to come back to, frames pinned */
  at: string | null;
  pins: number[];
}

export const NOWHERE: Place = {
  room: "",
  item: "",
  said: {},
  outing: null,
  run: null,
  frame: null,
  open: "",
  as: "",
  at: null,
  pins: [],
};

const OPENS = ["whole", "together", "picture"] as const;

/** Reads an address; what it does not understand is left out. */
export function readPlace(hash: string): Place {
  const [path = "", query = ""] = hash.replace(/^#\/?/, "").split("?");
  const parts = path.split("/").filter((part) => part !== "");
  const words = new URLSearchParams(query);
  const place: Place = { ...NOWHERE, pins: [] };
  const room = ROOMS.find((one) => one === parts[0]);
  if (room) {
    const item = /^[a-z0-9]{1,12}$/.exec(parts[1] ?? "")?.[0] ?? "";
    return { ...place, room, item, said: Object.fromEntries(words) };
  }
  const outing = Number(parts[0]);
  if (Number.isInteger(outing) && outing > 0) place.outing = outing;
  else return place;
  if (/^[a-z0-9-]{1,40}$/.test(parts[1] ?? "")) place.run = parts[1] ?? null;
  for (const part of parts.slice(2)) {
    if (/^f[0-9]{1,12}$/.test(part)) place.frame = Number(part.slice(1));
    const open = OPENS.find((one) => one === part);
    if (open) place.open = open;
  }
  const as = words.get("as") ?? "";
  if (/^[a-z]{1,12}$/.test(as)) place.as = as;
  const at = words.get("at");
  if (at !== null && /^[a-z0-9-]{1,40}$/.test(at)) place.at = at;
  place.pins = (words.get("pins") ?? "")
    .split(".")
    .map(Number)
    .filter((pin) => Number.isInteger(pin) && pin > 0)
    .slice(0, 4);
  return place;
}

/** Writes an address that `readPlace` reads. */
export function writePlace(place: Partial<Place>): string {
  if (place.room) {
    const said = new URLSearchParams(place.said ?? {}).toString();
    const item = place.item ? `/${place.item}` : "";
    return `#/${place.room}${item}${said ? `?${said}` : ""}`;
  }
  const parts: string[] = [];
  if (place.outing) {
    parts.push(String(place.outing));
    if (place.run) {
      parts.push(place.run);
      if (place.frame) parts.push(`f${place.frame}`);
      if (place.open) parts.push(place.open);
    }
  }
  const words: string[] = [];
  if (place.as && place.open) words.push(`as=${place.as}`);
  if (place.at) words.push(`at=${place.at}`);
  if (place.pins?.length) words.push(`pins=${place.pins.join(".")}`);
  return `#/${parts.join("/")}${words.length ? `?${words.join("&")}` : ""}`;
}
