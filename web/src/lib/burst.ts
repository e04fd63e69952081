/** A burst as the axis hangs it: each frame with what was said of it, in one unit. */
import type { FrameSaid, JudgedFrame, RunSaid, Word } from "./api";

export interface Hanging {
  frame: FrameSaid;
  judged: JudgedFrame | undefined;
  /** plane minus eye in the unit of the axis; null where it is not known */
  offset: number | null;
  /** one standard deviation, same unit */
  spread: number | null;
  faulty: boolean;
  rank: number;
}

export interface Burst {
  unit: "mm" | "depths of field";
  /** half a depth of field in that unit */
  half: number;
  frames: Hanging[];
}

/** Joins frames and judgement; millimetres where every placed frame has them. */
export function burstOf(told: RunSaid): Burst {
  const judged = new Map((told.keepers?.frames ?? []).map((one) => [one.frame, one]));
  const placed = [...judged.values()].filter((one) => one.eye_offset_dof !== null);
  const inMm = placed.length > 0 && placed.every((one) => one.eye_offset_mm !== null);
  // the frame farthest off gives the ratio with the least rounding
  const far = placed.reduce<JudgedFrame | undefined>(
    (most, one) =>
      Math.abs(one.eye_offset_dof ?? 0) > Math.abs(most?.eye_offset_dof ?? 0) ? one : most,
    undefined,
  );
  const mmPerDof =
    inMm && far?.eye_offset_dof ? (far.eye_offset_mm ?? 0) / far.eye_offset_dof : 1;
  return {
    unit: inMm ? "mm" : "depths of field",
    half: 0.5 * (inMm ? Math.abs(mmPerDof) : 1),
    frames: told.frames.map((frame, i) => {
      const one = judged.get(frame.name);
      const spread = one?.uncertainty_dof ?? null;
      return {
        frame,
        judged: one,
        offset: (inMm ? one?.eye_offset_mm : one?.eye_offset_dof) ?? null,
        spread: spread === null ? null : spread * (inMm ? Math.abs(mmPerDof) : 1),
        faulty: frame.faults !== "",
        rank: one?.rank ?? 1000 + i,
      };
    }),
  };
}

/** From the nearest plane to the farthest, unknown places last. */
export function alongAxis(frames: Hanging[]): Hanging[] {
  return [...frames].sort(
    (a, b) =>
      Number(a.offset === null) - Number(b.offset === null) ||
      (a.offset ?? 0) - (b.offset ?? 0) ||
      a.rank - b.rank,
  );
}

/** The frame to look at next: the best without a word after this one, else the best without. */
export function nextOpen(
  frames: Hanging[],
  from: number | null,
  word: (one: Hanging) => Word,
): number | null {
  const order = [...frames].sort((a, b) => a.rank - b.rank);
  const place = order.findIndex((one) => one.frame.id === from);
  const turned = [...order.slice(place + 1), ...order.slice(0, Math.max(place, 0))];
  return turned.find((one) => word(one) === "undecided")?.frame.id ?? null;
}
