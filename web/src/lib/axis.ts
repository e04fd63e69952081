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
    if (!best) {
      taken.push([]);
      best = { tier: taken.length - 1, x: wish, cost: 0 };
      tiers = taken.length;
    }
    taken[best.tier]?.push(best.x);
    hung.push({ id: item.id, x: best.x, tier: best.tier, anchor });
  }
  return hung;
}

const REACHES = [0.75, 1, 1.5, 2, 3, 4, 6, 8, 12, 20];

/** Half length of the axis: the shortest that holds most of what is to hang. */
export function reach(offsets: number[], unit: number): number {
  const sizes = offsets.map((one) => Math.abs(one) / unit).sort((a, b) => a - b);
  const wanted = sizes[Math.min(sizes.length - 1, Math.ceil(0.85 * sizes.length))] ?? 1;
  return (REACHES.find((one) => one >= wanted * 1.05) ?? wanted * 1.05) * unit;
}

/** Round steps for an axis: about so many from -reach to reach. */
export function ticks(half: number, about: number): number[] {
  const raw = (2 * half) / about;
  const power = 10 ** Math.floor(Math.log10(raw));
  const step = [1, 2, 5, 10].map((one) => one * power).find((one) => one >= raw) ?? raw;
  const many = Math.floor(half / step + 1e-9);
  return Array.from({ length: 2 * many + 1 }, (_, i) => (i - many) * step);
}
