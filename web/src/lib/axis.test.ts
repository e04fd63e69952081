import { describe, expect, it } from "vitest";
import { hang, reach, ticks } from "./axis";

const items = (...places: number[]) => places.map((at, id) => ({ id, at, rank: id }));

describe("hang", () => {
  it("hangs a picture that has room at its own place", () => {
    expect(hang(items(300), 1000, 100, 2)).toEqual([{ id: 0, x: 300, tier: 0, anchor: 300 }]);
  });

  it("never hangs one picture over another", () => {
    const many = Array.from({ length: 25 }, (_, i) => (i * 373) % 700);
    const hung = hang(items(...many), 700, 90, 3);
    expect(hung).toHaveLength(25);
    for (const a of hung)
      for (const b of hung)
        if (a.id < b.id && a.tier === b.tier) expect(Math.abs(a.x - b.x)).toBeGreaterThan(89.99);
  });

  it("gives the best the place next to the axis", () => {
    const hung = hang(items(400, 402, 398), 1000, 100, 3);
    expect(hung[0]).toMatchObject({ id: 0, x: 400, tier: 0 });
    expect(hung[1]?.tier).toBe(1);
  });

  it("keeps every picture within the axis and its thread at the true place", () => {
    const [left] = hang(items(2), 500, 100, 1);
    expect(left).toMatchObject({ x: 50, anchor: 2 });
  });
});

describe("reach", () => {
  it("holds most of the frames, and is not stretched by one stray", () => {
    const near = [0.1, -0.2, 0.3, 0.2, -0.1, 0.25, 0.15, -0.3, 0.1, 9];
    expect(reach(near, 1)).toBeGreaterThan(0.3);
    expect(reach(near.slice(0, 9), 1)).toBeLessThan(1);
  });
});

describe("ticks", () => {
  it("are round and hold zero in the middle", () => {
    const all = ticks(0.75, 6);
    expect(all[(all.length - 1) / 2]).toBe(0);
    expect(all[1]! - all[0]!).toBeCloseTo(0.5);
  });
});
