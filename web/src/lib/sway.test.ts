import { expect, test } from "vitest";
import { secondsOf, sideAt } from "./sway";

test("a sway begins in the middle and reaches both sides", () => {
  expect(sideAt(0, 17)).toBe(8);
  const seen = new Set(Array.from({ length: 500 }, (_, i) => sideAt(i / 100, 17)));
  expect([...seen].sort((a, b) => a - b)).toEqual(Array.from({ length: 17 }, (_, i) => i));
});

test("no view is left out on the way, so that nothing jumps", () => {
  let last = sideAt(0, 17);
  for (let i = 1; i < 600; i++) {
    const now = sideAt(i / 60, 17);
    expect(Math.abs(now - last)).toBeLessThanOrEqual(1);
    last = now;
  }
});

test("a sway goes on from the view that is shown", () => {
  for (const side of [0, 3, 8, 16]) expect(sideAt(secondsOf(side, 17), 17)).toBe(side);
});
