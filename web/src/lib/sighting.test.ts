import { describe, expect, it } from "vitest";
import { askedOf, blank, momentParts, point } from "./sighting";

describe("a sighting", () => {
  it("keeps day, hour and zone of a moment apart", () => {
    expect(momentParts("2031-06-14T18:04:12+01:00")).toEqual({
      day: "2031-06-14",
      time: "18:04:12",
      zone: "+01:00",
    });
    expect(momentParts("2031-06-14")).toEqual({ day: "2031-06-14", time: "", zone: "" });
    expect(momentParts("yesterday")).toEqual({ day: "", time: "", zone: "" });
  });
  it("without a day takes it from its pictures", () => {
    expect(askedOf(blank("Ana", [])).when).toBeNull();
  });
  it("that stays where it is asks for no place", () => {
    expect(askedOf({ ...blank("Ana", []), how: "as" }).place).toBeUndefined();
    expect(askedOf(blank("Ana", [])).place?.how).toBe("none");
  });
  it("has a point only once both numbers make one", () => {
    const draft = { ...blank("Ana", []), how: "hand" as const, latitude: "38,71" };
    expect(point(draft)).toBeNull();
    expect(point({ ...draft, longitude: "-9.14" })).toEqual({
      latitude_deg: 38.71,
      longitude_deg: -9.14,
    });
    expect(point({ ...draft, longitude: "-190" })).toBeNull();
  });
  it("is determined by its observer unless somebody else is named", () => {
    expect(askedOf(blank("Ana", [])).determined_by).toBe("Ana");
  });
});
