import { describe, expect, it } from "vitest";
import { seenRows } from "./rows";

describe("seenRows", () => {
  it("gives the rows on the screen and a few more", () => {
    expect(seenRows(1000, 100, 5000, 800, 3)).toEqual({ first: 47, end: 61 });
  });
  it("never leaves the list", () => {
    expect(seenRows(5, 100, 0, 4000, 3)).toEqual({ first: 0, end: 5 });
    expect(seenRows(5, 100, 99999, 800, 3).first).toBeLessThan(5);
  });
  it("gives nothing of nothing", () => {
    expect(seenRows(0, 100, 0, 800, 3)).toEqual({ first: 0, end: 0 });
  });
});
