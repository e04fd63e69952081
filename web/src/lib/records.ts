/** Asks for sightings, exports, the season and the hand. */
import { client, said, type JobSaid, type Schemas } from "./api";

export type SightingSaid = Schemas["SightingSaid"];
export type SightingsSaid = Schemas["SightingsSaid"];
export type SightingAsked = Schemas["SightingAsked"];
export type PictureAsked = Schemas["PictureAsked"];
export type NamesSaid = Schemas["NamesSaid"];
export type Named = Schemas["Named"];
export type LeavingSaid = Schemas["LeavingSaid"];
export type ExportAsked = Schemas["ExportAsked"];
export type SeasonSaid = Schemas["SeasonSaid"];
export type HandSaid = Schemas["HandSaid"];
export type DrawingSaid = Schemas["DrawingSaid"];
export type Places = ExportAsked["places"];

export const sightings = (query: { text: string; outing: number; withdrawn: boolean }) =>
  said<SightingsSaid>(client.GET("/api/sightings", { params: { query } }));
export const versions = (sighting: number) =>
  said<SightingsSaid>(
    client.GET("/api/sightings/{sighting}", { params: { path: { sighting } } }),
  );
export const write = (body: SightingAsked, sighting: number | null) =>
  said<SightingsSaid>(
    sighting === null
      ? client.POST("/api/sightings", { body })
      : client.POST("/api/sightings/{sighting}", { params: { path: { sighting } }, body }),
  );
export const withdraw = (sighting: number, why: string) =>
  said<SightingsSaid>(
    client.POST("/api/sightings/{sighting}/withdraw", {
      params: { path: { sighting } },
      body: { why },
    }),
  );
export const restore = (sighting: number) =>
  said<SightingsSaid>(
    client.POST("/api/sightings/{sighting}/restore", { params: { path: { sighting } } }),
  );
export const names = (text: string, at: { latitude_deg: number; longitude_deg: number } | null) =>
  said<NamesSaid>(client.GET("/api/names", { params: { query: { text, ...at } } }));
export const keepVague = (body: Schemas["VagueAsked"]) =>
  said<SightingsSaid>(client.POST("/api/sensitive", { body }));
export const vagueNoLonger = (thing: number) =>
  said<SightingsSaid>(
    client.POST("/api/sensitive/{thing}/drop", { params: { path: { thing } } }),
  );

export const handOn = (body: ExportAsked) => said<JobSaid>(client.POST("/api/exports", { body }));
export const left = (job: number) =>
  said<LeavingSaid>(client.GET("/api/exports/{job}", { params: { path: { job } } }));
export const leftUrl = (job: number, name: string) => `/api/exports/${job}/${name}`;

export const season = (query: { year?: number; day: string; places: Places; grid_deg: number }) =>
  said<SeasonSaid>(client.GET("/api/season", { params: { query } }));
export const hand = () => said<HandSaid>(client.GET("/api/hand"));
export const support = (body: Schemas["SupportAsked"]) =>
  said<Schemas["ActSaid"]>(client.POST("/api/support", { body }));
