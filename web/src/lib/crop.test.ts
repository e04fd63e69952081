import { describe, expect, it } from "vitest";
import { cropWords, fitted, gripAt, pulled, ratioOf, shifted, wholeOf, type Box, type Size } from "./crop";

const SIZE: Size = [600, 400];
const BOX: Box = { x0: 100, y0: 100, x1: 400, y1: 300 };

describe("a crop", () => {
  it("of a shape is the largest that fits, about the old middle", () => {
    expect(fitted(SIZE, 1, BOX)).toEqual({ x0: 50, y0: 0, x1: 450, y1: 400 });
    expect(fitted(SIZE, 1, { x0: 500, y0: 0, x1: 600, y1: 400 }).x1).toBe(600);
  });
  it("is moved no farther than the picture goes", () => {
    expect(shifted(SIZE, BOX, 900, -900)).toEqual({ x0: 300, y0: 0, x1: 600, y1: 200 });
  });
  it("without a shape moves only the edge that is held", () => {
    expect(pulled(SIZE, BOX, { x: -1, y: 0 }, -30, 50, null)).toEqual({ ...BOX, x0: 70 });
    expect(pulled(SIZE, BOX, { x: 1, y: 0 }, -900, 0, null).x1).toBe(BOX.x0 + 16);
  });
  it("keeps its shape whichever handle is pulled, and stays inside", () => {
    for (const x of [-1, 0, 1] as const)
      for (const y of [-1, 0, 1] as const)
        for (const by of [-5000, -37, 37, 5000]) {
          const one = pulled(SIZE, BOX, { x, y }, x * by, y * by, 1.5);
          expect(Math.abs((one.x1 - one.x0) / (one.y1 - one.y0) - 1.5)).toBeLessThan(0.12);
          expect(one.x0 >= 0 && one.y0 >= 0 && one.x1 <= 600 && one.y1 <= 400).toBe(true);
        }
  });
  it("is held at a corner before an edge, and inside by all of it", () => {
    expect(gripAt(BOX, 103, 98, 8)).toEqual({ x: -1, y: -1 });
    expect(gripAt(BOX, 250, 301, 8)).toEqual({ x: 0, y: 1 });
    expect(gripAt(BOX, 250, 200, 8)).toEqual({ x: 0, y: 0 });
    expect(gripAt(BOX, 20, 20, 8)).toBeNull();
  });
  it("is told as the command line is", () => {
    expect(cropWords(SIZE, BOX)).toBe("100,100,300,200");
    expect(cropWords(SIZE, wholeOf(SIZE))).toBe("whole");
    expect(ratioOf("3:2")).toBe(1.5);
    expect(ratioOf("3:0")).toBeNull();
  });
});
