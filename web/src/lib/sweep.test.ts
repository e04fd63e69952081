import { describe, expect, it } from "vitest";
import type { Grid, RunSaid } from "./api";
import { cellsOf, sharpIn, sweepOf } from "./sweep";

describe("a sweep", () => {
  const told = {
    frames: [{ name: "a" }, { name: "b" }, { name: "c" }],
    run: { frames: ["a", "b", "c"] },
    gap_words: ["nothing sharp from 0.30 to 0.60 mm"],
    gaps: {
      depth_of_field_mm: 0.2,
      planes: [
        { frame: "b", position_mm: 0.2, position_dof: 1 },
        { frame: "a", position_mm: 0, position_dof: 0 },
        { frame: "c", position_mm: null, position_dof: null },
      ],
      passes: [{ direction: "away", frames: ["a", "b"] }],
      gaps: [{ from_mm: 0.3, to_mm: 0.6, from_dof: 1.5, to_dof: 3 }],
    },
  } as unknown as RunSaid;

  it("is drawn in order of time, in millimetres, and holds its gaps", () => {
    const sweep = sweepOf(told)!;
    expect(sweep.rungs.map((rung) => [rung.plane.frame, rung.at, rung.pass])).toEqual([
      ["a", 0, 0], ["b", 0.2, 0], ["c", null, null],
    ]);
    expect([sweep.near, sweep.far, sweep.unit]).toEqual([-0.1, 0.6, "mm"]);
    expect(sweep.holes[0]?.words).toContain("nothing sharp");
  });
  it("tells near from far unless the focus ring was turned", () => {
    const turned = { ...told, gaps: { ...told.gaps!, focusing: { how: "turned" } } } as unknown as RunSaid;
    expect([sweepOf(told)!.ordered, sweepOf(turned)!.ordered]).toEqual([true, false]);
  });
  it("that was not solved is none", () => {
    expect(sweepOf({ ...told, gaps: null })).toBeNull();
  });
});

describe("cellsOf", () => {
  it("joins neighbours of a row and no others", () => {
    const grid = { columns: 4, rows: 2, index: [1, 1, 0, 1, 1, 0, 0, 0] };
    expect(cellsOf(grid, 1)).toEqual([[0, 0, 2], [3, 0, 1], [0, 1, 1]]);
  });
});

describe("sharpIn", () => {
  const grid = { columns: 2, rows: 1, cell_px: 10, crop_px: [5, 7, 25, 17], frames: ["a", "b"], index: [0, 1] } as unknown as Grid;
  const told = {
    gaps: { planes: [{ frame: "a", sharp: { size_px: 32, runs: [[2, 1, 4]] } }, { frame: "b", sharp: null }, { frame: "c", sharp: { size_px: 32, runs: [] } }] },
  } as unknown as RunSaid;

  it("lights what is in focus, as it was measured", () => {
    expect(sharpIn(told, "a", undefined)).toEqual({ patches: [[32, 64, 96, 32]], why: "focus" });
    expect(sharpIn(told, "c", grid)).toEqual({ patches: [], why: "none" });
  });
  it("falls back on what the merged picture takes, where older answers say no more", () => {
    expect(sharpIn(told, "b", grid)).toEqual({ patches: [[15, 7, 10, 10]], why: "taken" });
    expect(sharpIn(told, "b", undefined)).toEqual({ patches: [], why: "" });
  });
});
