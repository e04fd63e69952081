/** A gentle sway from side to side and back. */

/** Seconds from the left to the right and back: as slowly as one breathes. */
const THERE_AND_BACK_S = 4.4;

/** Which view is shown after so many seconds, begun in the middle and moving right. */
export function sideAt(seconds: number, sides: number): number {
  const share = Math.sin((2 * Math.PI * seconds) / THERE_AND_BACK_S);
  return Math.round(((share + 1) / 2) * (sides - 1));
}

/** How long after the middle a view is first passed, so that a sway goes on from where one looks. */
export function secondsOf(side: number, sides: number): number {
  const share = sides > 1 ? (2 * side) / (sides - 1) - 1 : 0;
  return (Math.asin(share) * THERE_AND_BACK_S) / (2 * Math.PI);
}
