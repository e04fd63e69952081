/** A crop as it is drawn with handles: where its edges may go, and what its shape does to them. */

export interface Box {
  x0: number;
  y0: number;
  x1: number;
  y1: number;
}
/** Which edges are held: left and right as -1 and 1, top and bottom likewise; 0 and 0 is all of it. */
export interface Grip {
  x: -1 | 0 | 1;
  y: -1 | 0 | 1;
}
export type Size = readonly [number, number];

export const SHAPES = ["3:2", "4:3", "1:1", "4:5", "16:9"] as const;
const LEAST_PX = 16;

const clamp = (value: number, low: number, high: number) => Math.min(Math.max(value, low), high);

export function ratioOf(shape: string): number | null {
  const parts = /^(\d+(?:\.\d+)?):(\d+(?:\.\d+)?)$/.exec(shape);
  const ratio = parts ? Number(parts[1]) / Number(parts[2]) : NaN;
  return Number.isFinite(ratio) && ratio > 0 ? ratio : null;
}

export const wholeOf = (size: Size): Box => ({ x0: 0, y0: 0, x1: size[0], y1: size[1] });

/** The largest crop of a shape, its middle as near to the old one's as the picture allows. */
export function fitted(size: Size, ratio: number, about: Box): Box {
  const wide = Math.max(1, Math.min(size[0], Math.round(size[1] * ratio)));
  const high = Math.max(1, Math.min(size[1], Math.round(wide / ratio)));
  const x0 = clamp(Math.round((about.x0 + about.x1 - wide) / 2), 0, size[0] - wide);
  const y0 = clamp(Math.round((about.y0 + about.y1 - high) / 2), 0, size[1] - high);
  return { x0, y0, x1: x0 + wide, y1: y0 + high };
}

export function shifted(size: Size, box: Box, dx: number, dy: number): Box {
  const x = Math.round(clamp(dx, -box.x0, size[0] - box.x1));
  const y = Math.round(clamp(dy, -box.y0, size[1] - box.y1));
  return { x0: box.x0 + x, y0: box.y0 + y, x1: box.x1 + x, y1: box.y1 + y };
}

/** Moves the held edges; a shape keeps its ratio, growing about the edge or corner across. */
export function pulled(size: Size, box: Box, grip: Grip, dx: number, dy: number, ratio: number | null): Box {
  if (!grip.x && !grip.y) return shifted(size, box, dx, dy);
  let { x0, y0, x1, y1 } = box;
  if (grip.x < 0) x0 = clamp(Math.round(x0 + dx), 0, x1 - LEAST_PX);
  if (grip.x > 0) x1 = clamp(Math.round(x1 + dx), x0 + LEAST_PX, size[0]);
  if (grip.y < 0) y0 = clamp(Math.round(y0 + dy), 0, y1 - LEAST_PX);
  if (grip.y > 0) y1 = clamp(Math.round(y1 + dy), y0 + LEAST_PX, size[1]);
  if (ratio === null) return { x0, y0, x1, y1 };
  // the larger of what both edges ask for, as far as the picture goes on the free sides
  const asked = grip.x && grip.y ? Math.max(x1 - x0, (y1 - y0) * ratio) : grip.x ? x1 - x0 : (y1 - y0) * ratio;
  const middle = [(box.x0 + box.x1) / 2, (box.y0 + box.y1) / 2] as const;
  const roomX = grip.x > 0 ? size[0] - box.x0 : grip.x < 0 ? box.x1 : 2 * Math.min(middle[0], size[0] - middle[0]);
  const roomY = grip.y > 0 ? size[1] - box.y0 : grip.y < 0 ? box.y1 : 2 * Math.min(middle[1], size[1] - middle[1]);
  const wide = Math.max(1, Math.round(Math.min(asked, roomX, roomY * ratio)));
  const high = Math.max(1, Math.min(Math.round(wide / ratio), Math.floor(roomY)));
  const left = grip.x > 0 ? box.x0 : grip.x < 0 ? box.x1 - wide : Math.round(middle[0] - wide / 2);
  const top = grip.y > 0 ? box.y0 : grip.y < 0 ? box.y1 - high : Math.round(middle[1] - high / 2);
  const at = { x0: clamp(left, 0, size[0] - wide), y0: clamp(top, 0, size[1] - high) };
  return { ...at, x1: at.x0 + wide, y1: at.y0 + high };
}

/** What lies under the pointer: a corner, an edge, the inside, or nothing of the crop. */
export function gripAt(box: Box, x: number, y: number, slack: number): Grip | null {
  const inX = x > box.x0 - slack && x < box.x1 + slack;
  const inY = y > box.y0 - slack && y < box.y1 + slack;
  if (!inX || !inY) return null;
  const near = (value: number, low: number, high: number): -1 | 0 | 1 =>
    Math.abs(value - low) <= slack && Math.abs(value - low) <= Math.abs(value - high) ? -1 : Math.abs(value - high) <= slack ? 1 : 0;
  return { x: near(x, box.x0, box.x1), y: near(y, box.y0, box.y1) };
}

/** As the book is told: "X,Y,W,H", or "whole". */
export function cropWords(size: Size, box: Box): string {
  if (box.x0 === 0 && box.y0 === 0 && box.x1 === size[0] && box.y1 === size[1]) return "whole";
  return `${box.x0},${box.y0},${box.x1 - box.x0},${box.y1 - box.y0}`;
}
