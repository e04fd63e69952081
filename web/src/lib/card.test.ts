import { describe, expect, it } from "vitest";
import type { CardHere, Visit } from "./api";
import { held, isSafe, lastPart, megabytes, strata, thickness, timeLeft } from "./card";

const day = (name: string, files: number, first = 0, second = 0) => ({
  day: name, files, bytes: files * 1000, first, second, bad: 0,
});
const card = (...days: ReturnType<typeof day>[]) => ({ days }) as unknown as CardHere;
const visit = (...days: ReturnType<typeof day>[]) => ({ days, verdict: { code: "keep", text: "" } }) as unknown as Visit;

describe("the days of a card", () => {
  it("keep their files while only a part has arrived", () => {
    expect(strata(card(day("2031-06-01", 9)), visit(day("2031-06-01", 4, 4, 3)))).toEqual([
      { ...day("2031-06-01", 9), first: 4, second: 3 },
    ]);
  });
  it("never count more than lies on the card now", () => {
    const [one] = strata(card(day("a", 3)), visit(day("a", 5, 5, 5), day("b", 2, 2, 2)));
    expect(strata(card(day("a", 3)), visit(day("a", 5, 5, 5), day("b", 2, 2, 2)))).toHaveLength(1);
    expect([one?.files, one?.first, one?.second]).toEqual([3, 3, 3]);
  });
  it("are those of the book where the card is gone", () => {
    expect(strata(undefined, visit(day("b", 2, 2), day("a", 1, 1))).map((one) => one.day)).toEqual(["a", "b"]);
  });
  it("are drawn thick enough to be read", () => {
    expect(thickness(1, 1e9, 3)).toBe(30);
    expect(thickness(5e8, 1e9, 2)).toBe(120);
  });
});

describe("words", () => {
  it("call a card safe for two codes only", () => {
    const codes = ["safe-to-format", "safe-to-empty", "two-copies", "one-copy", "keep"] as const;
    expect(codes.filter(isSafe)).toEqual(["safe-to-format", "safe-to-empty"]);
    expect(isSafe(undefined)).toBe(false);
  });
  it("never say of a card that was unloaded before that it may be formatted", () => {
    const codes = ["safe-to-format", "safe-to-empty", "two-copies", "one-copy", "keep"] as const;
    for (const code of codes) expect(held({ verdict: { code } } as Visit)).not.toMatch(/format|safe/i);
  });
  it("are short for folders and sizes", () => {
    expect([lastPart("/media/me/CARD/"), lastPart("E:\\"), megabytes(2.54e9), megabytes(3.2e6)]).toEqual(["CARD", "E:", "2.5 GB", "3.2 MB"]);
  });
  it("tell the time left once it can be known", () => {
    expect(timeLeft(10, 100, { done: 0, seconds: 1 })).toBe("");
    expect(timeLeft(50, 100, { done: 0, seconds: 10 })).toBe("about 10 s left");
    expect(timeLeft(10, 1000, { done: 0, seconds: 10 })).toBe("about 17 min left");
    expect(timeLeft(100, 100, { done: 0, seconds: 10 })).toBe("");
  });
});
