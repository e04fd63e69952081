/** Asks the bench's server; what it says no to comes back as one sentence. */
import createClient from "openapi-fetch";
import type { components, paths } from "./schema";

export type Schemas = components["schemas"];
export type AllOutings = Schemas["AllOutings"];
export type OutingSaid = Schemas["OutingSaid"];
export type Block = Schemas["Block"];
export type EveningSaid = Schemas["EveningSaid"];
export type RunCard = Schemas["RunCard"];
export type RunSaid = Schemas["RunSaid"];
export type FrameSaid = Schemas["FrameSaid"];
export type JudgedFrame = Schemas["JudgedFrame"];
export type JobSaid = Schemas["JobSaid"];
export type Grid = Schemas["Grid"];
export type Layer = Schemas["Layer"];
export type Ladder = Schemas["SmallLadder"];
export type Word = FrameSaid["verdict"];
export type Desk = Schemas["Desk"];
export type PlanSaid = Schemas["PlanSaid"];
export type Drawn = Schemas["Drawn"];
export type Drawing = Schemas["Drawing"];
export type Why = Schemas["Why"];
export type Said = Record<string, string>;
export type Cards = Schemas["Cards"];
export type CardHere = Schemas["CardHere"];
export type Visit = Schemas["Visit"];

export const client = createClient<paths>({ baseUrl: "/" });

export const GONE = "The bench does not answer. Is haltere open still running in its window?";

/** What the server, or the lack of one, said instead of an answer. */
export class Refused extends Error {}

interface Answer {
  data?: unknown;
  error?: unknown;
}

// openapi-fetch widens pairs to lists; the schema's own types are exact, so those are given
export async function said<T>(asked: Promise<Answer>): Promise<T> {
  let answer: Answer;
  try {
    answer = await asked;
  } catch {
    throw new Refused(GONE);
  }
  if (answer.data !== undefined) return answer.data as T;
  const sentence = (answer.error as { error?: string } | undefined)?.error;
  throw new Refused(sentence ?? GONE);
}

/** Words of whatever was thrown. */
export function sentence(error: unknown): string {
  return error instanceof Refused ? error.message : `The page failed: ${String(error)}`;
}

export const allOutings = () => said<AllOutings>(client.GET("/api/outings"));
export const evening = (outing: number) =>
  said<EveningSaid>(client.GET("/api/outings/{outing}", { params: { path: { outing } } }));
export const oneRun = (outing: number, run: string) =>
  said<RunSaid>(client.GET("/api/outings/{outing}/runs/{run}", { params: { path: { outing, run } } }));
export const origin = (outing: number, run: string) =>
  said<Grid>(
    client.GET("/api/outings/{outing}/runs/{run}/origin", { params: { path: { outing, run } } }),
  );
export const decide = (outing: number, frames: string[], verdict: Word) =>
  said<Schemas["ActSaid"]>(
    client.POST("/api/outings/{outing}/decisions", {
      params: { path: { outing } },
      body: { frames, verdict },
    }),
  );
export const undo = () => said<Schemas["ActSaid"]>(client.POST("/api/undo"));
export const demo = () => said<JobSaid>(client.POST("/api/demo"));
export const workEvening = (outing: number) =>
  said<JobSaid>(client.POST("/api/outings/{outing}/evening", { params: { path: { outing } } }));
export const work = (outing: number, run: string, body: Schemas["WorkAsked"]) =>
  said<JobSaid>(
    client.POST("/api/outings/{outing}/runs/{run}/work", {
      params: { path: { outing, run } },
      body,
    }),
  );
export const eyeBack = (outing: number, run: string) =>
  said<JobSaid>(
    client.POST("/api/outings/{outing}/runs/{run}/eye/back", { params: { path: { outing, run } } }),
  );
export const cancel = (job: number) =>
  said<JobSaid>(client.POST("/api/jobs/{job}/cancel", { params: { path: { job } } }));
export const phone = () => said<Schemas["PhoneSaid"]>(client.GET("/api/phone"));
export const invite = () => said<Schemas["PhoneSaid"]>(client.POST("/api/phone/invite"));

/** Answers of planning are asked for by the words of the address, as a person may type them. */
async function planned<T>(path: string, said: Said): Promise<T> {
  let answer: Response;
  try {
    answer = await fetch(planUrl(path, said));
  } catch {
    throw new Refused(GONE);
  }
  const told = (await answer.json().catch(() => ({}))) as { error?: string };
  if (!answer.ok) throw new Refused(told.error ?? GONE);
  return told as T;
}
export const planUrl = (path: string, said: Said) => `/api/plan${path}?${new URLSearchParams(said)}`;
export const desk = () => said<Desk>(client.GET("/api/plan/desk"));
export const plan = (words: Said) => planned<PlanSaid>("", words);
export const why = (words: Said, key: string) => planned<Why>("/why", { ...words, key });
export const curves = (words: Said) => planned<Drawing>("/curves", words);
export const card = (words: Said) => planned<Drawing>("/card", words);
export const keepPlan = (name: string, words: Said) =>
  said<Schemas["KeptSaid"]>(client.POST("/api/plan/kept", { body: { name, said: words } }));
export const forgetPlan = (number: number) =>
  said<Schemas["ActSaid"]>(
    client.POST("/api/plan/kept/{number}/forget", { params: { path: { number } } }),
  );
export const restorePlan = (number: number) =>
  said<Schemas["ActSaid"]>(
    client.POST("/api/plan/kept/{number}/restore", { params: { path: { number } } }),
  );
export const keepKit = (name: string, words: Said) =>
  said<Schemas["KitSaid"]>(client.POST("/api/kits", { body: { name, said: words } }));
export const cards = () => said<Cards>(client.GET("/api/cards"));
export const lookAtCard = (source: string) =>
  said<CardHere>(client.POST("/api/cards/look", { body: { source } }));
export const unloadCard = (source: string, second: string, name: string) =>
  said<JobSaid>(client.POST("/api/cards/unload", { body: { source, second, name } }));
export const verifyAll = () => said<JobSaid>(client.POST("/api/verify"));

export const lookUrl = (frame: number, rev: string, longest: 160 | 320 | 640 | 1280 = 320) =>
  `/api/frames/${frame}/look?longest=${longest}&rev=${rev}`;
export const cropUrl = (frame: number, rev: string, x: number, y: number, side: number) =>
  `/api/frames/${frame}/crop?x=${Math.round(x)}&y=${Math.round(y)}&side=${side}&rev=${rev}`;
export const frameTiles = (frame: number, rev: string) => (level: number, x: number, y: number) =>
  `/api/frames/${frame}/tiles/${level}/${x}/${y}?rev=${rev}`;
/** The picture inside a raw file, cut as its own tiles are. */
export const previewTiles = (frame: number, rev: string) => (level: number, x: number, y: number) =>
  `/api/frames/${frame}/preview/${level}/${x}/${y}?rev=${rev}`;
export const layerTiles =
  (outing: number, run: string, which: Layer["which"], rev: string) =>
  (level: number, x: number, y: number) =>
    `/api/outings/${outing}/runs/${run}/layers/${which}/tiles/${level}/${x}/${y}?rev=${rev}`;
export const layerLook = (outing: number, run: string, which: Layer["which"], rev: string) =>
  `/api/outings/${outing}/runs/${run}/layers/${which}/look?rev=${rev}`;
