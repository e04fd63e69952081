import { describe, expect, it } from "vitest";
import { NOWHERE, readPlace, writePlace } from "./place";

describe("an address", () => {
  it("leads back to where it was written", () => {
    const place = {
      ...NOWHERE,
      outing: 3,
      run: "run-02",
      frame: 17,
      open: "whole" as const,
      at: null,
      as: "patch",
      pins: [17, 18],
    };
    expect(readPlace(writePlace(place))).toEqual(place);
  });
  it("of a plan keeps its words", () => {
    const said = { depth_mm: "3.5", shutter_s: "1/160", kit: "2" };
    expect(readPlace(writePlace({ room: "plan", said }))).toEqual({ ...NOWHERE, room: "plan", said });
  });
  it("of one thing in a room leads back there", () => {
    const place = { ...NOWHERE, room: "sightings" as const, item: "new", said: { of: "2.run-01" } };
    expect(readPlace(writePlace(place))).toEqual(place);
    expect(readPlace("#/sightings/<b>")).toEqual({ ...NOWHERE, room: "sightings" });
  });
  it("that nobody wrote leads to the outings", () => {
    for (const odd of ["", "#", "#/", "#/x/..%2f", "#/-1", "#/<script>"])
      expect(readPlace(odd)).toEqual(NOWHERE);
  });
  it("with half of its words is read as far as it goes", () => {
    expect(readPlace("#/2/run-01/fx/whole?pins=a.5").open).toBe("whole");
    expect(readPlace("#/2/run-01/fx?pins=a.5").pins).toEqual([5]);
  });
});
