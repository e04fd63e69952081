/** Which rows of a long list are near the screen. */

export interface Seen {
  first: number;
  /** one after the last */
  end: number;
}

/** Rows of equal height from `top` px of the list to `top + height`, and a few more either side. */
export function seenRows(
  total: number,
  rowPx: number,
  top: number,
  height: number,
  extra: number,
): Seen {
  if (total <= 0 || rowPx <= 0) return { first: 0, end: 0 };
  const first = Math.floor(Math.max(0, top) / rowPx) - extra;
  const end = Math.ceil((Math.max(0, top) + Math.max(0, height)) / rowPx) + extra;
  return {
    first: Math.min(Math.max(0, first), Math.max(0, total - 1)),
    end: Math.min(total, Math.max(end, 1)),
  };
}
