import { expect, test } from "vitest";
import { corners, cornerAt, holds, inSight, middle, moved, reach, scaled, smoothed, whole, type Shape } from "./shape";
import type { Corner } from "./picture";

const round: Shape = { kind: "round", x: 100, y: 50, r: 20 };
const square: Shape = { kind: "drawn", points: [[0, 0], [10, 0], [10, 10], [0, 10]] };

test("a round patch has corners all about its middle", () => {
  const found = corners(round);
  expect(found).toHaveLength(48);
  for (const [x, y] of found) expect(Math.hypot(x - 100, y - 50)).toBeCloseTo(20, 0);
});

test("a shape is moved and sized about its own middle", () => {
  expect(middle(moved(square, 5, -1))).toEqual([10, 4]);
  expect(middle(scaled(square, 3))).toEqual([5, 5]);
  expect(reach(scaled(square, 4))).toBe(20);
  expect(reach(scaled(round, 0.01))).toBe(8);
});

test("what lies inside is told from what lies outside", () => {
  expect(holds(square, 5, 5)).toBe(true);
  expect(holds(square, 11, 5)).toBe(false);
  expect(holds(round, 100, 69)).toBe(true);
  expect(holds(round, 100, 71)).toBe(false);
});

test("a corner is taken hold of where it lies", () => {
  expect(cornerAt(square, 9, 11, 2)).toBe(2);
  expect(cornerAt(square, 5, 5, 2)).toBe(-1);
});

test("two corners are no patch yet", () => {
  expect(whole({ kind: "drawn", points: [[0, 0], [4, 4]] })).toBe(false);
  expect(whole(square)).toBe(true);
});

test("a stroke keeps its bends and loses what lies straight between them", () => {
  const stroke: Corner[] = [];
  for (let i = 0; i <= 50; i++) stroke.push([i, 0]);
  for (let i = 1; i <= 50; i++) stroke.push([50, i]);
  expect(smoothed(stroke, 0.5)).toEqual([[0, 0], [50, 0], [50, 50]]);
});

test("a long wild stroke comes down to what the bench takes", () => {
  const stroke: Corner[] = Array.from({ length: 4000 }, (_, i) => [i % 7, (i * 13) % 101]);
  expect(smoothed(stroke, 0.1).length).toBeLessThanOrEqual(150);
});

test("a place near the rim of what is seen counts as out of sight", () => {
  const view = { x: 100, y: 50, width: 200, height: 100 };
  expect(inSight(view, 200, 100)).toBe(true);
  expect(inSight(view, 103, 100)).toBe(false);
  expect(inSight(view, 200, 149)).toBe(false);
  expect(inSight(view, 400, 100)).toBe(false);
});
