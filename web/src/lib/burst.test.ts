import { describe, expect, it } from "vitest";
import type { RunSaid, Word } from "./api";
import { alongAxis, burstOf, nextOpen } from "./burst";

function told(offsets: ([number, number] | null)[]): RunSaid {
  return {
    frames: offsets.map((_, i) => ({ id: i + 1, name: `f${i}`, faults: "" })),
    keepers: {
      frames: offsets.map((one, i) => ({
        frame: `f${i}`, rank: i + 1, uncertainty_dof: 0.1,
        eye_offset_mm: one?.[0] ?? null, eye_offset_dof: one?.[1] ?? null,
      })),
    },
  } as unknown as RunSaid;
}

describe("a burst", () => {
  it("hangs in millimetres where all places have them", () => {
    const burst = burstOf(told([[0.1, 0.5], [-0.4, -2], null]));
    expect(burst.unit).toBe("mm");
    expect(burst.half).toBeCloseTo(0.1);
    expect(burst.frames.map((one) => one.offset)).toEqual([0.1, -0.4, null]);
    expect(burst.frames[0]?.spread).toBeCloseTo(0.02);
  });
  it("hangs in depths of field where the scale is unknown", () => {
    const said = told([[0.1, 0.5]]);
    said.keepers!.frames[0]!.eye_offset_mm = null;
    expect(burstOf(said)).toMatchObject({ unit: "depths of field", half: 0.5 });
  });
  it("is walked from near to far, unknown places last", () => {
    const frames = burstOf(told([[0.1, 0.5], null, [-0.4, -2]])).frames;
    expect(alongAxis(frames).map((one) => one.frame.id)).toEqual([3, 1, 2]);
  });
  it("goes on to the best frame without a word, and ends when all have one", () => {
    const frames = burstOf(told([[0, 0], [0.1, 0.5], [0.2, 1]])).frames;
    const words = new Map<number, Word>([[1, "keep"], [2, "drop"]]);
    const word = (id: number) => words.get(id) ?? "undecided";
    expect(nextOpen(frames, 1, (one) => word(one.frame.id))).toBe(3);
    words.set(3, "drop");
    expect(nextOpen(frames, 3, (one) => word(one.frame.id))).toBeNull();
  });
});
