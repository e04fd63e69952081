import { describe, expect, it } from "vitest";
import { ends, fit, hang, ticks } from "./axis";

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

  it("closes ranks in a tier before it begins another one", () => {
    // beside and between two there is too little room for a third, and enough when they move
    const hung = hang(items(140, 290, 200), 380, 100, 1).sort((a, b) => a.x - b.x);
    expect(hung.map((one) => one.tier)).toEqual([0, 0, 0]);
    expect(hung.map((one) => one.anchor)).toEqual([140, 200, 290]);
    for (let i = 1; i < 3; i++) expect((hung[i]?.x ?? 0) - (hung[i - 1]?.x ?? 0)).toBeGreaterThan(99.99);
    expect(hung[2]?.x).toBeLessThan(330.01);
  });

  it("hangs no picture before one whose plane lies nearer", () => {
    const onOneSide = Array.from({ length: 11 }, (_, i) => 300 + ((i * 7) % 11) * 25);
    const hung = hang(items(...onOneSide), 860, 130, 2);
    for (const a of hung)
      for (const b of hung) if (a.tier === b.tier && a.anchor < b.anchor) expect(a.x).toBeLessThan(b.x);
  });

  it("lets the best give way least", () => {
    const [best, other] = hang(items(500, 501), 1000, 100, 1);
    expect(Math.abs((best?.x ?? 0) - 500)).toBeLessThan(Math.abs((other?.x ?? 0) - 501));
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

describe("fit", () => {
  const near = (count: number) => () => items(...Array.from({ length: count }, (_, i) => 300 + 40 * i));
  it("takes the largest crops where there is room", () => {
    expect(fit(() => items(200, 600), 900, 12, 56, 560)).toEqual({ side: 208, tiers: 1 });
  });
  it("takes smaller crops rather than hang them far from their places", () => {
    const { side, tiers } = fit(near(11), 860, 12, 56, 560);
    const size = side + 12;
    const off = hang(near(11)(), 860, size, tiers).map((one) => Math.abs(one.x - Math.min(Math.max(one.anchor, size / 2), 860 - size / 2)));
    expect(Math.max(off[0] ?? 0, off.reduce((a, b) => a + b, 0) / off.length)).toBeLessThan(0.51 * size);
    expect(tiers * (side + 56)).toBeLessThanOrEqual(560);
  });
  it("hangs more than there is room for, too", () => {
    const { side, tiers } = fit(near(60), 500, 12, 56, 560);
    expect(side).toBe(104);
    expect(tiers).toBeGreaterThan(4);
  });
});

describe("ends", () => {
  it("hold the frames of either side and always the band about the eye", () => {
    const { near, far } = ends([0.1, 0.3, 0.5], 0.1);
    expect(near).toBeCloseTo(-0.15);
    expect(far).toBeGreaterThan(0.5);
  });
  it("are not stretched by one stray", () => {
    expect(ends([0.1, 0.12, 0.2, 0.22, 0.25, 0.3, 9], 0.05).far).toBeLessThan(0.7);
  });
});

describe("ticks", () => {
  it("are round numbers between the ends", () => {
    expect(ticks(-0.31, 1.02, 6).map((one) => Number(one.toFixed(6)))).toEqual([0, 0.5, 1]);
  });
});
