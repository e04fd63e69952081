import { expect, test } from "vitest";
import { goneWords, isGone } from "./words";

test("pictures that are gone are counted, and nothing is said while all are there", () => {
  expect(goneWords(0, 12)).toBe("");
  expect(goneWords(1, 12)).toMatch(/^1 of 12 pictures is not where the book noted it\./);
  expect(goneWords(3, 12)).toMatch(/^3 of 12 pictures are not where the book noted them\./);
  expect(goneWords(12, 12)).toMatch(/^The pictures are not/);
  expect(goneWords(1, 1)).toMatch(/^The picture is not/);
  expect(isGone("0-0")).toBe(true);
  expect(isGone("1f-0")).toBe(false);
});
