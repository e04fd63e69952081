import { describe, expect, it } from "vitest";
import { stretchesOf } from "./season";

const told = (days: string[]) =>
  stretchesOf(days).map(({ months, quiet }) => `${quiet ? "quiet " : ""}${months.map((one) => `${one.year}-${one.month}`).join(" ")}`);

describe("months of the calendar", () => {
  it("are those from the first outing to the last, newest first", () => {
    expect(told(["2031-06-20", "2031-04-02", "2031-06-21"])).toEqual(["2031-6", "2031-5", "2031-4"]);
  });
  it("are put together where nobody was out for two and more", () => {
    expect(told(["2026-06-04", "2031-06-20", "2031-03-01"])).toEqual(["2031-6", "quiet 2031-5 2031-4", "2031-3", "quiet 2031-2 2026-7", "2026-6"]);
  });
  it("know how long each is, and none without a day", () => {
    expect(stretchesOf(["2028-02-11"])[0]?.months[0].days).toBe(29);
    expect(stretchesOf(["", "one day"])).toEqual([]);
  });
  it("are two dozen rows at most", () => {
    const years = Array.from({ length: 20 }, (_, i) => `${2010 + i}-05-01`);
    expect(stretchesOf(years)).toHaveLength(24);
  });
});
