/** Hangs pictures on an axis: each as near as it can be to its own place, none over another. */

export interface Item {
  id: number;
  /** place along the axis, px */
  at: number;
  /** the smaller, the sooner it gets the place it wants */
  rank: number;
}

export interface Hung {
  id: number;
  /** middle along the axis, px */
  x: number;
  /** 0 is next to the axis */
  tier: number;
  /** where its thread meets the axis, px */
  anchor: number;
}

/**
 * Places pictures of one size in tiers beside an axis.
 *
 * The best come first and hang at their own place, in the tier nearest to the axis that has
 * room; where no tier has, the nearest room to either side is taken and a slanted thread tells.
 * Where gaps are too small each but large enough together, a tier closes ranks; only when all are
 * full does another one begin.
 */
export function hang(items: Item[], length: number, size: number, tiers: number): Hung[] {
  const taken: number[][] = Array.from({ length: tiers }, () => []);
  const lowest = size / 2;
  const highest = Math.max(lowest, length - size / 2);
  const free = (tier: number, x: number) =>
    (taken[tier] ?? []).every((other) => Math.abs(other - x) >= size - 1e-6);
  const hung: Hung[] = [];
  for (const item of [...items].sort((a, b) => a.rank - b.rank)) {
    const anchor = Math.min(Math.max(item.at, 0), length);
    const wish = Math.min(Math.max(anchor, lowest), highest);
    let best: { tier: number; x: number; cost: number } | null = null;
    for (let tier = 0; tier < tiers; tier++) {
      const spots = [wish, lowest, highest];
      for (const other of taken[tier] ?? []) spots.push(other - size, other + size);
      for (const x of spots) {
        if (x < lowest - 1e-6 || x > highest + 1e-6 || !free(tier, x)) continue;
        // a tier higher is dearer than a nudge, and cheaper than half a picture aside
        const cost = Math.abs(x - wish) + tier * size * 0.4;
        if (!best || cost < best.cost - 1e-9) best = { tier, x, cost };
      }
    }
    const one: Hung = { id: item.id, x: wish, tier: 0, anchor };
    const emptiest = taken.reduce((a, other, tier) => (other.length < (taken[a]?.length ?? 0) ? tier : a), 0);
    if (!best && ((taken[emptiest]?.length ?? 0) + 1) * size <= length + 1e-6) {
      one.tier = emptiest;
      hung.push(one);
      taken[emptiest] = closed(hung.filter((other) => other.tier === emptiest), size, lowest, highest);
      continue;
    }
    if (!best) {
      taken.push([]);
      best = { tier: taken.length - 1, x: wish, cost: 0 };
      tiers = taken.length;
    }
    taken[best.tier]?.push(best.x);
    hung.push({ ...one, x: best.x, tier: best.tier });
  }
  return hung;
}

/** Moves pictures of one tier apart, no farther than they must; gives their places. */
function closed(tier: Hung[], size: number, lowest: number, highest: number): number[] {
  const inOrder = [...tier].sort((a, b) => a.x - b.x);
  let edge = lowest;
  for (const one of inOrder) {
    one.x = Math.max(one.x, edge);
    edge = one.x + size;
  }
  edge = highest;
  for (const one of inOrder.reverse()) {
    one.x = Math.min(one.x, edge);
    edge = one.x - size;
  }
  return inOrder.map((one) => one.x);
}

/**
 * Ends of the axis: a frame far off the others does not squeeze them, it hangs at the end.
 *
 * Either side shows three halves of a depth of field at least, so that the band about the eye
 * always has an outside.
 */
export function ends(offsets: number[], half: number): { near: number; far: number } {
  const side = (wanted: number[]) => {
    const sizes = wanted.map(Math.abs).sort((a, b) => a - b);
    const most = sizes.at(-1) ?? 0;
    const usual = sizes[Math.floor(0.85 * (sizes.length - 1))] ?? 0;
    return Math.max(3 * half, Math.min(most, 2 * usual) * 1.04);
  };
  return {
    near: -side(offsets.filter((one) => one < 0)),
    far: side(offsets.filter((one) => one > 0)),
  };
}

/** Round numbers between two ends, about so many. */
export function ticks(near: number, far: number, about: number): number[] {
  const raw = Math.max(far - near, 1e-9) / about;
  const power = 10 ** Math.floor(Math.log10(raw));
  const step = [1, 2, 5, 10].map((one) => one * power).find((one) => one >= raw) ?? raw;
  const first = Math.ceil(near / step - 1e-9);
  const last = Math.floor(far / step + 1e-9);
  return Array.from({ length: Math.max(0, last - first + 1) }, (_, i) => (first + i) * step);
}
