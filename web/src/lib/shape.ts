/** The outline of a patch: round, or drawn corner by corner or in one stroke; picture pixels. */
import type { Corner } from "./picture";

export type Shape =
  | { kind: "round"; x: number; y: number; r: number }
  | { kind: "drawn"; points: Corner[] };

const ROUND_CORNERS = 48;
const MOST_CORNERS = 150;
export const LEAST_PX = 8;

const tenth = (value: number) => Math.round(value * 10) / 10;

/** Its corners, to a tenth of a pixel. */
export function corners(shape: Shape): Corner[] {
  if (shape.kind === "drawn") return shape.points.map(([x, y]) => [tenth(x), tenth(y)]);
  return Array.from({ length: ROUND_CORNERS }, (_, i) => {
    const turn = (2 * Math.PI * i) / ROUND_CORNERS;
    return [tenth(shape.x + shape.r * Math.cos(turn)), tenth(shape.y + shape.r * Math.sin(turn))];
  });
}

/** Whether it holds anything yet. */
export const whole = (shape: Shape) => shape.kind === "round" || shape.points.length > 2;

export function middle(shape: Shape): Corner {
  if (shape.kind === "round") return [shape.x, shape.y];
  const n = Math.max(shape.points.length, 1);
  return [
    shape.points.reduce((sum, [x]) => sum + x, 0) / n,
    shape.points.reduce((sum, [, y]) => sum + y, 0) / n,
  ];
}

/** Half its extent. */
export function reach(shape: Shape): number {
  if (shape.kind === "round") return shape.r;
  const xs = shape.points.map(([x]) => x);
  const ys = shape.points.map(([, y]) => y);
  return Math.max(Math.max(...xs) - Math.min(...xs), Math.max(...ys) - Math.min(...ys), 2 * LEAST_PX) / 2;
}

export function moved(shape: Shape, dx: number, dy: number): Shape {
  if (shape.kind === "round") return { ...shape, x: shape.x + dx, y: shape.y + dy };
  return { kind: "drawn", points: shape.points.map(([x, y]) => [x + dx, y + dy]) };
}

/** Larger or smaller about its middle. */
export function scaled(shape: Shape, factor: number): Shape {
  if (shape.kind === "round") return { ...shape, r: Math.max(LEAST_PX, shape.r * factor) };
  const [mx, my] = middle(shape);
  const f = Math.max(factor, LEAST_PX / reach(shape));
  return { kind: "drawn", points: shape.points.map(([x, y]) => [mx + (x - mx) * f, my + (y - my) * f]) };
}

/** Whether a point lies inside. */
export function holds(shape: Shape, x: number, y: number): boolean {
  if (shape.kind === "round") return Math.hypot(x - shape.x, y - shape.y) <= shape.r;
  let inside = false;
  shape.points.forEach(([ax, ay], i) => {
    const [bx, by] = shape.points[(i + 1) % shape.points.length] ?? [0, 0];
    if (ay > y !== by > y && x < ((bx - ax) * (y - ay)) / (by - ay) + ax) inside = !inside;
  });
  return inside;
}

/** The corner that one took hold of, or -1. */
export function cornerAt(shape: Shape, x: number, y: number, within: number): number {
  if (shape.kind === "round") return -1;
  return shape.points.findIndex(([cx, cy]) => Math.hypot(x - cx, y - cy) <= within);
}

/** A stroke with as few corners as keep within `slack` of it (Ramer 1972; Douglas & Peucker 1973, from memory). */
export function smoothed(stroke: Corner[], slack: number): Corner[] {
  const keep = (from: number, to: number): number[] => {
    const [ax, ay] = stroke[from] ?? [0, 0];
    const [bx, by] = stroke[to] ?? [0, 0];
    const length = Math.hypot(bx - ax, by - ay) || 1;
    let far = 0;
    let place = -1;
    for (let i = from + 1; i < to; i++) {
      const [x, y] = stroke[i] ?? [0, 0];
      const away =
        length === 1 && ax === bx && ay === by
          ? Math.hypot(x - ax, y - ay)
          : Math.abs((bx - ax) * (ay - y) - (ax - x) * (by - ay)) / length;
      if (away > far) [far, place] = [away, i];
    }
    return far > slack && place > 0 ? [...keep(from, place), ...keep(place, to).slice(1)] : [from, to];
  };
  if (stroke.length < 3) return stroke;
  const kept = keep(0, stroke.length - 1).map((i) => stroke[i] ?? [0, 0]);
  return kept.length > MOST_CORNERS ? smoothed(stroke, slack * 1.6) : (kept as Corner[]);
}

/** Whether a place lies well within what is seen, px of the picture. */
export function inSight(view: { x: number; y: number; width: number; height: number }, x: number, y: number): boolean {
  const [dx, dy] = [0.04 * view.width, 0.04 * view.height];
  return x >= view.x + dx && x <= view.x + view.width - dx && y >= view.y + dy && y <= view.y + view.height - dy;
}
