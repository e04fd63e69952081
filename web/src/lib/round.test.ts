import { describe, expect, it } from "vitest";
import type { OutingSaid } from "./api";
import { NOWHERE } from "./place";
import { roundOf, stepAt, stepsOf } from "./round";

const outing = (kinds: string[]) =>
  ({ id: 7, runs: kinds.map((kind, i) => ({ id: `run-0${i + 1}`, kind })) }) as unknown as OutingSaid;

describe("a round of the bench", () => {
  const round = roundOf(outing(["single", "burst", "sweep", "burst"]))!;

  it("goes in five steps from the outing to the picture", () => {
    expect(round).toEqual({ outing: 7, burst: "run-02", sweep: "run-03" });
    expect(stepsOf(round).map((step) => step.place)).toEqual([
      {}, { outing: 7, at: "run-02" }, { outing: 7, run: "run-02" }, { outing: 7, run: "run-03" },
      { outing: 7, run: "run-03", open: "picture" },
    ]);
  });
  it("leaves out what an outing does not have", () => {
    expect(stepsOf(roundOf(outing(["single"]))!)).toHaveLength(2);
    expect(roundOf(outing([]))).toBeNull();
  });
  it("knows which step one has walked to", () => {
    const steps = stepsOf(round);
    expect(stepAt(steps, NOWHERE)).toBe(0);
    expect(stepAt(steps, { ...NOWHERE, outing: 7 })).toBe(1);
    expect(stepAt(steps, { ...NOWHERE, outing: 7, run: "run-03", frame: 4 })).toBe(3);
    expect(stepAt(steps, { ...NOWHERE, outing: 7, run: "run-03", open: "picture" })).toBe(4);
    expect(stepAt(steps, { ...NOWHERE, outing: 7, run: "run-04" })).toBe(-1);
    expect(stepAt(steps, { ...NOWHERE, room: "plan" })).toBe(-1);
  });
});
