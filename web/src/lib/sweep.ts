/** A sweep as its ladder draws it: planes over time, gaps across, all in one unit. */
import type { FrameSaid, Grid, RunSaid, Schemas } from "./api";

export interface RungSaid {
  plane: Schemas["Plane"];
  frame: FrameSaid | undefined;
  /** position in the ladder's unit; null where it could not be placed */
  at: number | null;
  pass: number | null;
}

export interface Sweep {
  unit: "mm" | "depths of field";
  half: number;
  rungs: RungSaid[];
  holes: { near: number; far: number; gap: Schemas["Gap"]; words: string }[];
  near: number;
  far: number;
  /** whether it is told which end is near; a turned ring leaves that open */
  ordered: boolean;
}

/** Puts planes in order of time and in millimetres where all of them have some. */
export function sweepOf(told: RunSaid): Sweep | null {
  const gaps = told.gaps;
  if (!gaps) return null;
  const inMm =
    gaps.depth_of_field_mm !== null &&
    gaps.planes.every((plane) => plane.position_dof === null || plane.position_mm !== null);
  const by = new Map(told.frames.map((frame) => [frame.name, frame]));
  const planes = new Map(gaps.planes.map((plane) => [plane.frame, plane]));
  const passOf = new Map(gaps.passes.flatMap((pass, i) => pass.frames.map((name) => [name, i])));
  const rungs = told.run.frames
    .map((name) => planes.get(name))
    .filter((plane) => plane !== undefined)
    .map((plane) => ({
      plane,
      frame: by.get(plane.frame),
      at: inMm ? plane.position_mm : plane.position_dof,
      pass: passOf.get(plane.frame) ?? null,
    }));
  const half = inMm ? (gaps.depth_of_field_mm ?? 0) / 2 : 0.5;
  const holes = gaps.gaps
    .map((gap, i) => ({
      near: inMm ? gap.from_mm : gap.from_dof,
      far: inMm ? gap.to_mm : gap.to_dof,
      gap,
      words: told.gap_words[i] ?? "",
    }))
    .filter((hole): hole is Sweep["holes"][number] => hole.near !== null && hole.far !== null);
  const all = [
    ...rungs.flatMap((rung) => (rung.at === null ? [] : [rung.at - half, rung.at + half])),
    ...holes.flatMap((hole) => [hole.near, hole.far]),
  ];
  return {
    unit: inMm ? "mm" : "depths of field",
    half,
    rungs,
    holes,
    near: all.length ? Math.min(...all) : -1,
    far: all.length ? Math.max(...all) : 1,
    ordered: gaps.focusing?.how !== "turned",
  };
}

/** Places as rectangles of a picture, full-size pixels: [x, y, width, height]. */
export type Patch = [number, number, number, number];

/** Where a frame is in focus, or, where that was not said, what the merged picture takes of it. */
export function sharpIn(
  told: RunSaid,
  frame: string | null,
  grid: Grid | undefined,
): { patches: Patch[]; why: "focus" | "taken" | "none" | "" } {
  const cells = told.gaps?.planes.find((plane) => plane.frame === frame)?.sharp;
  if (frame && cells) {
    const side = cells.size_px;
    const patches = cells.runs.map(([row, from, to]): Patch => [from * side, row * side, (to - from) * side, side]);
    return { patches, why: patches.length ? "focus" : "none" };
  }
  const index = frame && grid ? grid.frames.indexOf(frame) : -1;
  if (!grid || !frame) return { patches: [], why: "" };
  const [x = 0, y = 0] = grid.crop_px;
  const patches = (index < 0 ? [] : cellsOf(grid, index)).map(([column, row, many]): Patch => [
    x + column * grid.cell_px,
    y + row * grid.cell_px,
    many * grid.cell_px,
    grid.cell_px,
  ]);
  return { patches, why: patches.length ? "taken" : "none" };
}

/** Runs of equal cells of a row, as rectangles: [column, row, columns]. */
export function cellsOf(
  grid: { columns: number; rows: number; index: readonly number[] },
  wanted: number,
): [number, number, number][] {
  const found: [number, number, number][] = [];
  for (let row = 0; row < grid.rows; row++) {
    let start = -1;
    for (let column = 0; column <= grid.columns; column++) {
      const inside = column < grid.columns && grid.index[row * grid.columns + column] === wanted;
      if (inside && start < 0) start = column;
      if (!inside && start >= 0) {
        found.push([start, row, column - start]);
        start = -1;
      }
    }
  }
  return found;
}
