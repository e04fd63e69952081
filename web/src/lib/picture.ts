/** Asks of a merged picture: its patches, the planes under one, its depth. */
import { client, said, type JobSaid, type Schemas } from "./api";

export type Patches = Schemas["PatchesSaid"];
export type Patch = Schemas["PatchSaid"];
export type Under = Schemas["UnderSaid"];
export type Sharpest = Schemas["SharpestSaid"];
export type InDepth = Schemas["DepthSaid"];
export type Corner = [number, number];

export interface Sweep {
  outing: number;
  run: string;
}

const at = (where: Sweep) => ({ params: { path: { outing: where.outing, run: where.run } } });
const PLACE = "/api/outings/{outing}/runs/{run}/patches";

export const patches = (where: Sweep) => said<Patches>(client.GET(PLACE, at(where)));
export const putPatch = (where: Sweep, around: Corner[], frame: number) =>
  said<Patches>(client.POST(PLACE, { ...at(where), body: { around, frame } }));
export const undoPatch = (where: Sweep) => said<Patches>(client.POST(`${PLACE}/undo`, at(where)));
export const redoPatch = (where: Sweep) => said<Patches>(client.POST(`${PLACE}/redo`, at(where)));
export const writePatches = (where: Sweep) =>
  said<JobSaid>(client.POST(`${PLACE}/write`, at(where)));
export const under = (where: Sweep, around: Corner[]) =>
  said<Under>(client.POST(`${PLACE}/under`, { ...at(where), body: { around } }));
export const sharpest = (where: Sweep, around: Corner[]) =>
  said<Sharpest>(client.POST(`${PLACE}/sharpest`, { ...at(where), body: { around } }));
export const placeAt = (where: Sweep, x: number, y: number) =>
  said<Schemas["PlaceSaid"]>(
    client.GET(`${PLACE}/place`, { params: { path: { outing: where.outing, run: where.run }, query: { x, y } } }),
  );

/** A short mark of anything that may change; no secret is kept by it. */
export function mark(of: unknown): string {
  let sum = 5381;
  for (const sign of JSON.stringify(of)) sum = ((sum * 33) ^ (sign.codePointAt(0) ?? 0)) >>> 0;
  return sum.toString(36);
}

const base = (where: Sweep) => `/api/outings/${where.outing}/runs/${where.run}/patches`;

export const previewUrl = (where: Sweep, around: Corner[], frame: number, rev: string) =>
  `${base(where)}/preview?around=${around.map(([x, y]) => `${x},${y}`).join(";")}&frame=${frame}&rev=${rev}`;
export const patchUrl = (where: Sweep, number: number, rev: string) =>
  `${base(where)}/${number}/look?rev=${rev}`;

const DEPTH = "/api/outings/{outing}/runs/{run}/depth";
export const inDepth = (where: Sweep) => said<InDepth>(client.GET(DEPTH, at(where)));
export const makeInDepth = (where: Sweep) => said<JobSaid>(client.POST(DEPTH, at(where)));
export const depthUrl = (where: Sweep, which: "pair" | "red-cyan" | "relief", rev: string) =>
  `/api/outings/${where.outing}/runs/${where.run}/depth/${which}?rev=${rev}`;
export const sideUrl = (where: Sweep, side: number, rev: string) =>
  `/api/outings/${where.outing}/runs/${where.run}/depth/sides/${side}?rev=${rev}`;
