/** Asks for a picture's crop and what it carries, for lengths on it, and for its file. */
import { client, said, type JobSaid, type Schemas } from "./api";
import type { Sweep } from "./picture";

export type FinishSaid = Schemas["FinishSaid"];
export type CarriedSaid = Schemas["CarriedSaid"];
export type LineSaid = Schemas["LineSaid"];
export type KeptLine = Schemas["KeptLine"];
export type LineAsked = Schemas["LineAsked"];
export type DeliverAsked = Schemas["DeliverAsked"];
export type DeliveredSaid = Schemas["DeliveredSaid"];

const PLACE = "/api/outings/{outing}/runs/{run}/finish";
const path = (where: Sweep) => ({ outing: where.outing, run: where.run });

export const stands = (where: Sweep) =>
  said<FinishSaid>(client.GET(PLACE, { params: { path: path(where) } }));
export const carries = (
  where: Sweep,
  query: { crop: string; viewing_mm: number; print_mm?: number; bar_mm?: number },
) => said<CarriedSaid>(client.GET(`${PLACE}/carries`, { params: { path: path(where), query } }));
export const settle = (where: Sweep, body: Schemas["FinishAsked"]) =>
  said<FinishSaid>(client.POST(PLACE, { params: { path: path(where) }, body }));
export const unsettle = (where: Sweep) =>
  said<FinishSaid>(client.POST(`${PLACE}/undo`, { params: { path: path(where) } }));
export const measure = (where: Sweep, body: LineAsked) =>
  said<LineSaid>(client.POST(`${PLACE}/measure`, { params: { path: path(where) }, body }));
export const keepLine = (where: Sweep, body: Schemas["LineKept"]) =>
  said<FinishSaid>(client.POST(`${PLACE}/lines`, { params: { path: path(where) }, body }));
export const undoLine = (where: Sweep) =>
  said<FinishSaid>(client.POST(`${PLACE}/lines/undo`, { params: { path: path(where) } }));
export const deliver = (where: Sweep, body: DeliverAsked) =>
  said<JobSaid>(client.POST(`${PLACE}/deliver`, { params: { path: path(where) }, body }));
export const delivered = (where: Sweep, job: number) =>
  said<DeliveredSaid>(
    client.GET(`${PLACE}/delivered/{job}`, { params: { path: { ...path(where), job } } }),
  );
export const deliveredUrl = (where: Sweep, job: number) =>
  `/api/outings/${where.outing}/runs/${where.run}/finish/delivered/${job}/file`;

/** A length or an angle with the half width of its interval: "3.42 ± 0.05 mm". */
export function spanned(one: { value: number; low: number; high: number }, unit: string): string {
  const half = (one.high - one.low) / 2;
  const digits = half > 0 ? Math.min(6, Math.max(0, 1 - Math.floor(Math.log10(half)))) : 3;
  return `${one.value.toFixed(digits)} ± ${half.toFixed(digits)} ${unit}`;
}
